"""`pourstats check`: a sound season has nothing wrong, and each slip put into it is named with its
row and a mend that, when done, makes it go away."""

from __future__ import annotations

import datetime as dt
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest

from pourstats.faults import Refusal
from pourstats.reporting.check import check_text, checked
from pourstats.store.database import Store
from pourstats.store.history import delete_row, undo
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder
from pourstats.store.tapping import Tap, tap

NOW = dt.datetime(2025, 11, 5, 12, 0)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sound") / "s.duckdb"
    assert load(Store(path), sorted(sample_folder().glob("*.csv"))).status == 0
    return path


@pytest.fixture
def store(sound: Path, tmp_path: Path) -> Store:
    shutil.copy(sound, tmp_path / "s.duckdb")
    return Store(tmp_path / "s.duckdb")


def group(found: dict[str, Any], name: str) -> list[dict[str, Any]]:
    return next((g["findings"] for g in found["groups"] if g["name"] == name), [])


def loaded(store: Store, folder: Path, table: str, text: str) -> None:
    folder.mkdir(exist_ok=True)
    (folder / f"{table}.csv").write_text(text)
    load(store, [folder / f"{table}.csv"])


def test_a_sound_season_has_nothing_wrong_and_nothing_strange(store: Store) -> None:
    found = checked(store, NOW)
    assert {g["grave"] for g in found["groups"]} <= {"doubtful", "missing"}
    assert not group(found, "strange")
    assert found["rows"]["pours"] == 84
    # By hand from jobs.csv: three jobs of 2025-10-31, none of them in pours.csv.
    assert {f["pour_id"] for f in group(found, "jobs")} == {"B294", "B295", "B300"}
    assert not group(checked(store, dt.datetime(2025, 10, 1)), "no_pay")
    text = check_text(found)
    assert "nothing wrong in the figures" in text
    assert len(text.splitlines()) < 30
    assert max(map(len, text.splitlines())) <= 110


def test_a_clock_set_back_does_not_hide_jobs_past(store: Store, tmp_path: Path) -> None:
    """The log's own latest day counts then."""
    loaded(store, tmp_path / "log", "pours",
           "pour_id,date,site,slab_type,area,thickness\nB905,2025-11-03,Elm,garage,617,4\n")  # fmt: skip
    back = group(checked(store, dt.datetime(1999, 1, 1)), "jobs")
    assert {f["pour_id"] for f in back} == {"B294", "B295", "B300"}


SLIPS: list[tuple[str, str, str, str, str, str]] = [
    # group, table, header, row, where the mend must point, words
    ("times", "passes", "pour_id,pass_no,start,end", "B266,9,2025-08-14 02:00,2025-08-14 02:20",
     "passes.csv, line 2", "pass 9 of B266"),
    ("times", "crew_time", "pour_id,worker,task,start,end",
     "B266,XX,saw,2025-08-14 15:00,2025-08-14 15:00", "crew_time.csv, line 2", "no length"),
    ("times", "crew_time", "pour_id,worker,task,start,end",
     "B266,XX,wait,2025-08-14 19:00,2025-08-14 23:59", "crew_time.csv, line 2",
     "to 2025-08-14 23:59, though the last of the crew left at"),
    ("strange", "trucks", "pour_id,ticket,volume", "B266,77001,95", "trucks.csv, line 2", "95"),
    ("strange", "weather", "site,time,air_temp,humidity,wind", "Alder Bench,2025-08-01 03:30,70,0.5,4",
     "weather.csv, line 2", "percent"),
    ("look_alike", "weather", "site,time,air_temp,humidity,wind",
     "alder bench,2025-08-01 03:30,70,50,4", "pourstats table pours", "look alike"),
    ("waiting", "trucks", "pour_id,ticket,volume", "Z999,1,9", "Z999", "trucks.csv, line 2"),
    ("set_aside", "pours", "pour_id,date,site,slab_type,area,thickness",
     "B900,2025-08-01,Alder Bench,garge,600,4", "line 2 of pours.csv", "garage"),
    ("no_hours", "pours", "pour_id,date,site,slab_type,area,thickness",
     "B901,2025-08-01,Alder Bench,garage,617,4", "pours.csv, line 2", "B901"),
    ("weather", "pours",
     "pour_id,date,site,slab_type,area,thickness,hands,place_start,place_end",
     "B902,2025-08-01,Nowhere,garage,617,4,3,7:00,8:00", "Nowhere", "no weather at Nowhere"),
    ("bids", "bids", "pour_id,bid_date,bid_hours,won", "B903,2025-01-02,40,yes", "bids.csv, line 2",
     "B903"),
    ("no_pay", "crew_time", "pour_id,worker,task,start,end",
     "B266,YY,saw,2025-08-14 15:00,2025-08-14 16:00", "add YY", "YY"),
    ("times", "callbacks", "callback_id,pour_id,reported,defect", "C99,B266,2025-01-01,dusting",
     "callbacks.csv, line 2", "before B266 was poured"),
    ("times", "trucks", "pour_id,ticket,volume,batched,arrived,pour_start",
     "B266,77002,9,,2025-08-14 09:00,2025-08-14 08:00", "trucks.csv, line 2", "before it arrived"),
    ("times", "pours", "pour_id,date,site,slab_type,area,thickness",
     "B904,2015-08-01,Alder Bench,garage,617,4", "pours.csv, line 2", "over a year from every"),
    ("times", "pours", "pour_id,date,site,slab_type,area,thickness,place_start,place_end,passes_done",
     "B906,2025-08-01,Elm,garage,631,4,7:00,9:00,8:30", "pours.csv, line 2",
     "before placing had ended"),
    ("times", "passes", "pour_id,pass_no,start,end", "B906,1,2025-08-01 10:00,2025-08-01 11:00",
     "passes.csv, line 2", "after the last pass was off"),
]  # fmt: skip


@pytest.fixture(scope="module")
def spoiled(sound: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Any, Any]:
    """What is found before the slips, with all of them, and once every load is taken back."""
    folder = tmp_path_factory.mktemp("spoiled")
    shutil.copy(sound, folder / "s.duckdb")
    store = Store(folder / "s.duckdb")
    before = checked(store, NOW)
    for number, (_, table, head, row, _, _) in enumerate(SLIPS):
        loaded(store, folder / str(number), table, f"{head}\n{row}\n")
    spoiled = checked(store, NOW)
    for _ in SLIPS:
        undo(store)
    return before, spoiled, checked(store, NOW)


def test_taking_the_slips_back_leaves_what_was_found_before(spoiled: tuple[Any, Any, Any]) -> None:
    before, _, after = spoiled
    assert after == before


@pytest.mark.parametrize("slip", SLIPS, ids=[f"{s[0]}-{s[1]}" for s in SLIPS])
def test_each_slip_is_named_with_its_row_and_the_mend(
    spoiled: tuple[Any, Any, Any], slip: tuple[str, str, str, str, str, str]
) -> None:
    name, _, _, _, where, words = slip
    before = {f["what"] for f in group(spoiled[0], name)}
    fresh = [f for f in group(spoiled[1], name) if f["what"] not in before]
    named = [f for f in fresh if where in f["mend"] + f["what"] and words in f["what"] + f["mend"]]
    assert len(named) == 1, fresh


def test_sawn_before_placed_and_one_floor_twice(store: Store, tmp_path: Path) -> None:
    with store.read() as connection:
        row = connection.execute(
            "SELECT date, site, slab_type, area, thickness, place_start, place_end FROM pours"
            " WHERE pour_id = 'B266'"
        ).fetchone()
    assert row is not None
    day, site, kind, area, thick, start, end = row
    loaded(
        store, tmp_path / "log", "pours",
        "pour_id,date,site,slab_type,area,thickness,place_start,place_end,saw_start\n"
        f"B266-2,{day},{site},{kind},{area},{thick},{start},{end},{end - dt.timedelta(hours=1)}\n",
    )  # fmt: skip
    found = checked(store, NOW)
    (twice,) = group(found, "same_pour")
    assert twice["mend"] == "if it was one floor: `pourstats delete B266-2`"
    assert [f["column"] for f in group(found, "times")] == ["saw_start"]


def test_one_callback_under_two_ids_goes_by_the_command_that_it_names(
    store: Store, tmp_path: Path
) -> None:
    assert not group(checked(store, NOW), "same_call")
    loaded(store, tmp_path / "log", "pours",
           "pour_id,date,site,slab_type,area,thickness\nX1,2025-08-01,Alder Bench,garage,617,4\n")  # fmt: skip
    loaded(store, tmp_path / "log", "callbacks",
           "callback_id,pour_id,reported,defect,hours,cost\n"
           "q 1,X1,2025-09-01,dusting,3,80\nq 2,X1,2025-09-01,dusting,3,80\n")  # fmt: skip
    (found,) = group(checked(store, NOW), "same_call")
    assert found["what"] == "q 1 and q 2 of X1: both dusting, reported 2025-09-01"
    assert found["mend"] == "if it was one call: `pourstats delete X1 callbacks 'q 2'`"
    words = shlex.split(found["mend"].split("`")[1])
    assert delete_row(store, words[2], words[3], words[4:]) == {"callbacks": 1}
    assert not group(checked(store, NOW), "same_call")


def test_the_same_ticket_on_two_pours_goes_by_the_command_that_it_names(
    store: Store, tmp_path: Path
) -> None:
    pours = ("pour_id,date,site,slab_type,area,thickness\n"
             "X 1,2025-08-01,Alder Bench,garage,617,4\nX2,2025-08-01,Mill Flats,garage,811,4\n")  # fmt: skip
    loaded(store, tmp_path / "log", "pours", pours)
    loaded(store, tmp_path / "log", "trucks",
           "pour_id,ticket,volume\nX2,88001,9\nX 1,88001,9\n")  # fmt: skip
    (found,) = group(checked(store, NOW), "same_ticket")
    assert found["mend"] == "if it was one load: `pourstats delete 'X 1' trucks 88001`"
    words = shlex.split(found["mend"].split("`")[1])
    assert words[:2] == ["pourstats", "delete"]
    assert delete_row(store, words[2], words[3], words[4:]) == {"trucks": 1}
    assert not group(checked(store, NOW), "same_ticket")
    loaded(store, tmp_path / "log", "trucks",
           "pour_id,ticket,volume\nX2,88001,9\nX 1,88001,9\n")  # fmt: skip
    assert not group(checked(store, NOW), "same_ticket")  # met again unchanged it stays deleted
    undo(store)
    assert len(group(checked(store, NOW), "same_ticket")) == 1


def test_one_row_goes_and_comes_back_and_others_stay(store: Store) -> None:
    with store.read() as connection:
        before = connection.execute("SELECT * FROM crew_time ORDER BY _seq").fetchall()
        worker, start = connection.execute(
            """SELECT worker, "start" FROM crew_time WHERE pour_id = 'B266' AND task = 'place'"""
        ).fetchall()[0]
    counts = delete_row(
        store, "B266", "crew_time", [worker, "place", start.isoformat(timespec="minutes")]
    )
    assert counts == {"crew_time": 1}
    with store.read() as connection:
        assert connection.execute("SELECT count(*) FROM crew_time").fetchone() == (len(before) - 1,)
    undo(store)
    with store.read() as connection:
        assert connection.execute("SELECT * FROM crew_time ORDER BY _seq").fetchall() == before
    for bad in (["B266", "pours", []], ["B266", "trucks", []], ["B266", "trucks", ["none"]]):
        with pytest.raises(Refusal):
            delete_row(store, *bad)  # type: ignore[arg-type]


def test_links_and_doubles_that_no_load_can_make_are_found_too(store: Store) -> None:
    """What only a fault of the program or a hand in the file could do."""
    with store.write() as connection:
        connection.execute("INSERT INTO trucks SELECT * FROM trucks LIMIT 1")
        connection.execute("UPDATE passes SET pour_id = 'gone' WHERE pour_id = 'B266'")
    found = checked(store, NOW)
    assert [g["name"] for g in found["groups"]][:2] == ["links", "twice"]
    assert all(f["pour_id"] == "gone" for f in group(found, "links"))
    assert len(group(found, "twice")) == 1


def test_a_pour_begun_by_taps_is_told_once_it_is_old(store: Store) -> None:
    tap(store, "T1", Tap("first_concrete", "", NOW), Tap("hands", "3", NOW))
    assert not group(checked(store, NOW), "open")
    (found,) = group(checked(store, NOW + dt.timedelta(days=3)), "open")
    assert found["pour_id"] == "T1"
    assert "still without" in found["what"]


def test_many_findings_of_a_kind_are_no_flood(store: Store, tmp_path: Path) -> None:
    rows = "\n".join(f"Q{i},2025-08-01,Alder Bench,garge,600,4" for i in range(500))
    loaded(store, tmp_path / "log", "pours",
           f"pour_id,date,site,slab_type,area,thickness\n{rows}\n")  # fmt: skip
    found = checked(store, NOW)
    assert len(check_text(found).splitlines()) < 45
    assert "(500)" in check_text(found)
    assert check_text(found, whole=True).count("is no slab type") == 500
