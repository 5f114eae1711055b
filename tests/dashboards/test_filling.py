"""A pour filled in as a form: from taps, from the record, new; held to the checks of a load."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from pourstats.faults import Refusal
from pourstats.store import filling, reading
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.loading import load
from pourstats.store.tapping import Tap, take_back, tap

ROOT = Path(__file__).resolve().parents[2]
SIX = dt.datetime(2031, 6, 3, 6, 0)
ABOUT = "date=2031-06-03;site=Oak;slab_type=garage;area=600;thickness=4"
POUR = {"pour_id": "N1", "date": "2031-06-03", "site": "Oak", "slab_type": "garage",
        "area": "600", "thickness": "4", "place_start": "7:00", "crew_out": "13:30"}  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / "s.duckdb")
    with made.write():
        pass
    return made


def after(minutes: float) -> dt.datetime:
    return SIX + dt.timedelta(minutes=minutes)


def tapped(store: Store) -> None:
    tap(store, "P1", Tap("describe", ABOUT, SIX), Tap("hands", "4", SIX),
        Tap("first_concrete", "", after(60)), Tap("load_in", "load-1", after(55)),
        Tap("load_empty", "load-1", after(90)), Tap("machine_on", "", after(270)))  # fmt: skip


def table(store: Store, name: str) -> Any:
    with store.read() as connection:
        return reading.frame(connection, name)


def faults(store: Store, found: filling.Filled, rows: dict, system: Any = "us") -> dict:
    report = filling.look_over(store, found, rows, system)
    return {(fault.sheet, fault.line, fault.column): fault.reason for fault in report.set_aside}


def test_a_new_pour_with_its_tickets_and_passes_goes_in_as_a_load_would_take_it(
    store: Store,
) -> None:
    rows = {"pours": [POUR | {"saw_end": "1:15"}],
            "trucks": [{"pour_id": "N1", "ticket": "7", "volume": "9", "arrived": "6:50"}],
            "passes": [{"pour_id": "N1", "pass_no": "1", "start": "10:00"}]}  # fmt: skip
    found = filling.known(store, "N1")
    assert faults(store, found, rows) == {}
    assert table(store, "pours").empty, "looked over, not stored"
    filling.fill_in(store, found, rows, "us")
    (row,) = table(store, "pours").to_dict("records")
    assert row["place_start"] == after(60)
    # Past midnight, by the rule for bare clock times of the log format page.
    assert row["saw_end"] == dt.datetime(2031, 6, 4, 1, 15)
    assert table(store, "trucks")["volume"].tolist() == [9.0]
    assert table(store, "passes")["start"].tolist() == [after(240)]


def test_metric_fields_are_stored_in_house_units(store: Store) -> None:
    # 1 ft = 0.3048 m and 1 in = 25.4 mm exactly (NIST SP 811, appendix B): 100 m2, 100 mm.
    rows = {"pours": [POUR | {"area": "100", "thickness": "100"}]}
    filling.fill_in(store, filling.known(store, "N1"), rows, "metric")
    (row,) = table(store, "pours").to_dict("records")
    assert row["area"] == pytest.approx(100 / 0.3048**2, rel=1e-9)
    assert row["thickness"] == pytest.approx(100 / 25.4, rel=1e-9)


def test_what_a_load_would_set_aside_is_told_beside_its_field(store: Store) -> None:
    rows = {"pours": [POUR | {"thickness": "90", "place_end": "5:00", "area": ""}],
            "trucks": [{"pour_id": "N1", "ticket": "7", "volume": "120"},
                       {"pour_id": "N1", "ticket": "7", "volume": "9"}]}  # fmt: skip
    told = faults(store, filling.known(store, "N1"), rows)
    assert told["pours", 1, "area"] == "is blank; every row of pours needs it"
    assert told["pours", 1, "thickness"].startswith("'90' is above 60 in")
    assert told["trucks", 1, "volume"].startswith("'120' is above 100 yd3")
    assert told["trucks", 2, "ticket"].startswith("'7' stands twice")
    # Its loads wait for a pour that is set aside; that is no fault of theirs.
    assert not any(column == "pour_id" for _, _, column in told)
    assert table(store, "pours").empty and table(store, "set_aside").empty


def test_the_record_is_mended_and_its_history_kept(store: Store, tmp_path: Path) -> None:
    (tmp_path / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness,lead\nN1,2031-06-03,Oak,garage,600,4,Al\n"
    )
    load(store, [tmp_path / "pours.csv"])
    found = filling.known(store, "N1")
    assert found.rows["pours"][0]["area"] == "600" and not found.tapped
    filling.fill_in(store, found, {"pours": [found.rows["pours"][0] | {"area": "640"}]}, "us")
    (row,) = table(store, "pours").to_dict("records")
    assert (row["area"], row["lead"]) == (640, "Al")
    assert "replaced" in set(table(store, "history")["action"])


def test_a_tapped_pour_stays_one_of_taps(store: Store) -> None:
    tapped(store)
    found = filling.known(store, "P1")
    assert found.tapped and found.labels == {"trucks": ["load-1"], "passes": []}
    pour = found.rows["pours"][0] | {"lead": "Al; B=2", "machine_on": "10:20", "slump": "4.5"}
    rows = {"pours": [pour],
            "trucks": [found.rows["trucks"][0] | {"ticket": "4711", "volume": "9.5"},
                       {"pour_id": "P1", "ticket": "4712", "volume": "8"}],
            "passes": [{"pour_id": "P1", "pass_no": "1", "start": "10:20"}]}  # fmt: skip
    assert faults(store, found, rows) == {}
    filling.fill_in(store, found, rows, "us")
    assert table(store, "pours").empty, "the crew is not gone yet"
    (last,) = tap(store, "P1", Tap("gone", "", after(500)))
    (row,) = table(store, "pours").to_dict("records")
    assert (row["lead"], row["slump"], row["hands"]) == ("Al; B=2", 4.5, 4)
    assert row["machine_on"] == after(260) and row["crew_out"] == after(500)
    loads = table(store, "trucks").set_index("ticket")
    assert loads["volume"].to_dict() == {"4711": 9.5, "4712": 8.0}
    assert loads.loc["4711", "arrived"] == after(55), "as tapped"
    assert loads.loc["4712", "arrived"] is None or loads["arrived"].isna()["4712"]
    assert table(store, "passes")["start"].tolist() == [after(260)]
    # Filled in once more, nothing is changed.
    stamps = len(table(store, "stamps"))
    again = filling.known(store, "P1")
    filling.fill_in(store, again, again.rows, "us")
    assert len(table(store, "stamps")) == stamps
    take_back(store, last)
    assert table(store, "pours").empty


def test_gone_and_the_arrival_can_be_filled_in(store: Store) -> None:
    tap(store, "P1", Tap("describe", ABOUT, SIX), Tap("first_concrete", "", after(60)))
    found = filling.known(store, "P1")
    pour = found.rows["pours"][0] | {"crew_in": "5:40", "hands": "3", "crew_out": "0:30"}
    filling.fill_in(store, found, {"pours": [pour]}, "us")
    (row,) = table(store, "pours").to_dict("records")
    assert (row["crew_in"], row["hands"]) == (after(-20), 3)
    assert row["crew_out"] == dt.datetime(2031, 6, 4, 0, 30)
    gone = filling.known(store, "P1")
    blank = {"pours": [gone.rows["pours"][0] | {"crew_out": ""}]}
    assert "stays open" in faults(store, gone, blank)["pours", 1, "crew_out"]


def test_a_tapped_load_or_pass_that_was_never_there_goes_and_the_others_stay(
    store: Store,
) -> None:
    tapped(store)
    tap(store, "P1", Tap("load_in", "load-2", after(95)), Tap("load_in", "load-3", after(130)),
        Tap("load_empty", "load-3", after(150)), Tap("pass_on", "1", after(270)),
        Tap("pass_on", "2", after(300)), Tap("pass_off", "2", after(320)))  # fmt: skip
    tap(store, "P1", Tap("load_in", "load-2;ticket=4711;volume=9", after(200)))
    found = filling.known(store, "P1")
    assert found.labels == {"trucks": ["load-1", "load-2", "load-3"],
                            "passes": ["pass-1", "pass-2"]}  # fmt: skip
    filling.take_out(store, found, "trucks", 1)
    left = filling.known(store, "P1")
    assert left.labels["trucks"] == ["load-1", "load-3"]
    assert left.rows["trucks"][0]["arrived"] == "2031-06-03 06:55:00"
    filling.take_out(store, left, "passes", 1)
    assert filling.known(store, "P1").labels["passes"] == ["pass-1"]
    with pytest.raises(Refusal, match="gone already"):
        filling.take_out(store, found, "trucks", 1)
    # One change, of as many taps as it had.
    undo(store)
    undo(store)
    assert filling.known(store, "P1").rows == found.rows


def test_a_load_of_the_record_goes_and_can_be_brought_back(store: Store) -> None:
    rows = {"pours": [POUR], "trucks": [{"pour_id": "N1", "ticket": "7", "volume": "9"},
                                        {"pour_id": "N1", "ticket": "8", "volume": "5"}]}  # fmt: skip
    filling.fill_in(store, filling.known(store, "N1"), rows, "us")
    filling.take_out(store, filling.known(store, "N1"), "trucks", 0)
    assert table(store, "trucks")["ticket"].tolist() == ["8"]
    undo(store)
    assert sorted(table(store, "trucks")["ticket"]) == ["7", "8"]


# The page ---------------------------------------------------------------------------------------


@pytest.fixture
def _found() -> Iterator[None]:
    sys.path.insert(0, str(ROOT / "dashboards"))
    yield
    sys.path.remove(str(ROOT / "dashboards"))


def form(store: Store, monkeypatch: pytest.MonkeyPatch, **query: str) -> AppTest:
    monkeypatch.setenv("POURSTATS_STORE", str(store.path))
    app = AppTest.from_file(str(ROOT / "dashboards" / "app.py"), default_timeout=60)
    app.query_params["language"] = query.pop("language", "en")
    app.run()
    app.switch_page("log_pour.py")
    for name, value in {"form": "1", **query}.items():
        app.query_params[name] = value
    return app.run()


def save(app: AppTest) -> AppTest:
    return next(b for b in app.button if b.label in ("Save", "Guardar")).click().run()


@pytest.mark.usefixtures("_found")
def test_the_form_tells_faults_in_spanish_and_stores_what_is_right(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    tapped(store)
    app = form(store, monkeypatch, pour="P1", language="es")
    assert not app.exception
    assert "llenado después" in app.header[0].value
    number = {each.key.rpartition("-")[2]: each for each in app.number_input}
    assert number["area"].value == 600
    number["thickness"].set_value(90)
    next(t for t in app.time_input if t.key == "fill-P1-place_end").set_value(dt.time(5, 0))
    save(app)
    assert not app.exception
    told = [each.value.replace("\\", "") for each in app.error]
    assert any("por corregir" in line for line in told)
    assert any(line.startswith("'90' es más de 60 in") for line in told)
    assert any("queda antes de «Primer concreto»" in line or "h después de" in line
               or "más de" in line for line in told)  # fmt: skip
    assert not [line for line in told if " is " in line]
    next(n for n in app.number_input if n.key == "fill-P1-thickness").set_value(5)
    next(t for t in app.time_input if t.key == "fill-P1-place_end").set_value(dt.time(8, 0))
    save(app)
    assert not app.exception and not app.error
    assert filling.known(store, "P1").rows["pours"][0]["thickness"] == "5"


@pytest.mark.usefixtures("_found")
def test_a_new_pour_by_form(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    (store.path.parent / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness\nA1,2031-06-02,Oak,garage,600,4\n"
    )
    load(store, [store.path.parent / "pours.csv"])
    app = form(store, monkeypatch)
    save(app)
    told = [each.value.replace("\\", "") for each in app.error]
    assert sum("needs it" in line for line in told) == 5  # name, site, type, area, thickness
    app.text_input[0].set_value("N1")
    for key, value in (("area", 600.0), ("thickness", 4.0)):
        next(n for n in app.number_input if n.key == f"fill-None-{key}").set_value(value)
    next(s for s in app.selectbox if s.key == "fill-None-slab_type").select("garage")
    next(s for s in app.selectbox if s.key == "fill-None-site").select("Oak")
    save(app)
    assert not app.exception, app.exception
    assert not app.error, [each.value for each in app.error]
    assert list(table(store, "pours")["pour_id"]) == ["A1", "N1"]


@pytest.mark.usefixtures("_found")
def test_the_form_takes_a_load_out(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    tapped(store)
    tap(store, "P1", Tap("load_in", "load-2", after(95)))
    app = form(store, monkeypatch, pour="P1")
    assert [b.label for b in app.button if b.label.startswith("Load ")] == [
        "Load load\\-1", "Load load\\-2"]  # fmt: skip
    next(b for b in app.button if b.label.endswith("2")).click().run()
    assert not app.exception
    assert any("load\\-2" in each.value for each in app.success)
    assert filling.known(store, "P1").labels["trucks"] == ["load-1"]


@pytest.mark.usefixtures("_found")
def test_a_description_is_read_as_it_was_written() -> None:
    import tapping

    def taps(*subjects: tuple[str, str]) -> list[dict[str, Any]]:
        return [{"event": event, "subject": text, "at": SIX} for event, text in subjects]

    said = taps(("describe", "site=Lot 4%3B rear;lead=A%3DB 5%25"), ("load_in", "load-1;slump=6"))
    now = tapping.State(said, {}, [])
    assert (now.described("site"), now.described("lead")) == ("Lot 4; rear", "A=B 5%")
    assert now.described("slump") is None, "a load's slump is not the pour's"
