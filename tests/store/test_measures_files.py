"""The SQL files: their headers, what they read, and that another engine could take them."""

from importlib.resources import files

import duckdb
import pytest
import sqlglot
from sqlglot import exp

from pourstats.logs.tables import TABLES
from pourstats.store import measures

UNIT_SUFFIXES = {
    "ft2": "_ft2", "yd3": "_yd3", "in": "_in", "h": "_h", "min": "_min", "USD": "_usd",
    "degF": "_f", "mph": "_mph", "W/m2": "_w_m2", "lb/ft2/h": "_lb_ft2_h",
    "percent": "_pct",
}  # fmt: skip


def test_every_file_has_a_place_in_the_order():
    names = {
        path.name.removesuffix(".sql")
        for path in files("pourstats.store").joinpath("sql").iterdir()
    }
    assert names == set(measures.ORDER)


@pytest.mark.parametrize("name", measures.ORDER)
def test_the_header_names_the_real_columns(log, name):
    measures.define(log.connection)
    described = log.connection.execute(f"describe {name}").fetchall()
    assert [column.name for column in measures.header(name).columns] == [
        row[0] for row in described
    ]
    assert list(measures.frame(log.connection, name).columns) == [row[0] for row in described]


@pytest.mark.parametrize("name", measures.ORDER)
def test_the_header_is_whole(name):
    header = measures.header(name)
    assert header.name == name
    assert header.title
    assert header.grain
    assert header.key
    assert {column.name for column in header.columns} >= set(header.key)
    assert all(column.meaning for column in header.columns)


@pytest.mark.parametrize("name", measures.MEASURES)
def test_a_unit_stands_in_the_name_too(name):
    for column in measures.header(name).columns:
        suffix = UNIT_SUFFIXES.get(column.unit)
        if suffix and column.name != "evaporation_class":
            assert column.name.endswith(suffix) or column.name == "hours", column.name


@pytest.mark.parametrize("name", measures.ORDER)
def test_money_that_gives_pay_away_is_private(name):
    for column in measures.header(name).columns:
        gives_away = "USD" in column.unit and column.name != "wait_charge_usd"
        assert column.private == gives_away, column.name


@pytest.mark.parametrize("name", measures.ORDER)
def test_the_header_names_what_is_read(name):
    tree = sqlglot.parse_one(measures.sql(name), read="duckdb")
    own = {cte.alias for cte in tree.find_all(exp.CTE)}
    read = {table.name for table in tree.find_all(exp.Table)} - own
    assert read == set(measures.header(name).reads)
    assert read <= {*TABLES, "house", *measures.ORDER}
    place = measures.ORDER.index(name)
    assert not read & set(measures.ORDER[place:]), "reads a measure that comes later"


@pytest.mark.parametrize("name", measures.ORDER)
def test_another_engine_can_take_it(name):
    (tree,) = sqlglot.parse(measures.sql(name), read="duckdb")
    assert isinstance(tree, exp.Query)
    assert not list(tree.find_all(exp.Lambda, exp.Qualify))
    assert all(isinstance(star.parent, exp.Count) for star in tree.find_all(exp.Star))
    assert not any(join.args.get("method") == "ASOF" for join in tree.find_all(exp.Join))
    spark = tree.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
    assert isinstance(sqlglot.parse_one(spark, read="spark"), exp.Query)


def test_a_store_opened_to_read_only_can_be_measured(tmp_path, log):
    path = tmp_path / "store.duckdb"
    log.pour(hands=2, place_start="7:00", place_end="9:00", crew_out="12:00")
    log.connection.execute(f"attach '{path}' as saved")
    log.connection.execute("copy from database memory to saved")
    log.connection.execute("detach saved")
    with duckdb.connect(path, read_only=True) as connection:
        for name in measures.ORDER:
            measures.frame(connection, name)
        assert len(measures.frame(connection, "pour_output")) == 1


def test_an_empty_log_gives_empty_measures(log):
    for name in measures.ORDER:
        assert log.frame(name).empty


def test_a_name_that_is_no_measure_is_refused(log):
    with pytest.raises(KeyError, match="no measure is called 'pours'; there are truck_times"):
        measures.frame(log.connection, "pours")


def test_defining_again_takes_up_what_was_written_since(log):
    log.pour("A")
    assert len(measures.frame(log.connection, "pour_output")) == 1
    log.pour("B")
    measures.define(log.connection)
    assert len(measures.frame(log.connection, "pour_output")) == 2


def test_only_what_a_measure_rests_on_is_needed():
    assert measures.needed("truck_times") == ("truck_times",)
    assert measures.needed("day_output") == ("crew_shares", "pour_output", "day_output")
    assert measures.needed() == ()


def test_rows_come_in_the_order_of_their_key(log):
    for pour_id in ("C", "A", "B"):
        log.pour(pour_id)
    assert list(log.frame("pour_output")["pour_id"]) == ["A", "B", "C"]
