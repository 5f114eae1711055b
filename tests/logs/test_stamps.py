"""Taps become rows once a pour is whole, and stay apart until then."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pourstats.logs import stamps
from pourstats.store import openpours
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.loading import load
from pourstats.store.reading import frame


def tap(
    event: str, clock: str, subject: str | None = None, undone: str | None = None
) -> dict[str, object]:
    at = dt.datetime.fromisoformat(f"2031-06-03 {clock}")
    return {"event": event, "subject": subject, "at": at, "undone": undone}


SHORT = [
    tap("hands", "06:05", "4"), tap("first_concrete", "07:00"), tap("strike_off_done", "08:10"),
    tap("bull_float_done", "08:30"), tap("machine_on", "10:00"), tap("last_pass_off", "12:40"),
    tap("saw_done", "14:00"), tap("gone", "14:20"),
]  # fmt: skip
JOB = {
    "date": dt.date(2031, 6, 3),
    "site": "Mill",
    "slab_type": "garage",
    "area": 600.0,
    "thickness": 4.0,
}


def test_eight_taps_of_a_planned_job_make_a_whole_pour() -> None:
    found = stamps.derived("B1", SHORT, JOB)
    assert found.whole
    (pour,) = found.rows["pours"]
    assert pour["crew_in"] == "2031-06-03 06:05:00"
    assert pour["place_end"] == "2031-06-03 08:10:00"
    assert pour["saw_end"] == "2031-06-03 14:00:00"
    assert pour["hands"] == "4"
    assert pour["site"] == "Mill"


def test_a_pour_without_gone_or_description_stays_open() -> None:
    assert stamps.derived("B1", SHORT[:-1], JOB).missing == ["gone"]
    lacking = stamps.derived("B1", SHORT, None).missing
    assert lacking == ["site", "slab_type", "area", "thickness"]
    undone = [*SHORT[:-1], tap("gone", "14:20", undone="yes")]
    assert stamps.derived("B1", undone, JOB).missing == ["gone"]


def test_loads_without_a_ticket_are_numbered_and_wait_for_their_volume() -> None:
    taps = [
        *SHORT, tap("load_in", "06:50"), tap("load_unloading", "07:00"),
        tap("load_empty", "07:20", "load-1;volume=9.5;ticket=48113"), tap("load_in", "07:25"),
    ]  # fmt: skip
    found = stamps.derived("B1", taps, JOB)
    (load_1,) = found.rows["trucks"]
    assert load_1["ticket"] == "48113"
    assert load_1["volume"] == "9.5"
    assert load_1["arrived"] == "2031-06-03 06:50:00"
    assert found.waiting == ["load-2 waits for its volume"]


def test_people_place_until_they_go_to_finish() -> None:
    taps = [
        *SHORT[1:],
        tap("arrives", "06:30", "Bo"),
        tap("to_finish", "07:50", "Bo"),
        tap("leaves", "13:00", "Bo"),
    ]
    rows = stamps.derived("B1", taps, JOB).rows["crew_time"]
    assert [(r["task"], r["start"][11:16], r["end"][11:16]) for r in rows] == [
        ("set_up", "06:30", "07:00"), ("place", "07:00", "07:50"), ("finish", "07:50", "13:00"),
    ]  # fmt: skip


def test_where_only_some_of_the_crew_tapped_the_head_count_stands() -> None:
    taps = [*SHORT, tap("arrives", "06:30", "Bo")]
    assert "crew_time" not in stamps.derived("B1", taps, JOB).rows


def _write(folder: Path, taps: list[dict[str, object]], pour: str = "B1") -> None:
    folder.mkdir(exist_ok=True)
    lines = ["stamp_id,pour_id,event,subject,at,undone"]
    lines += [
        f"{pour}-{i},{pour},{t['event']},{t['subject'] or ''},{t['at']},{t['undone'] or ''}"
        for i, t in enumerate(taps)
    ]
    (folder / "stamps.csv").write_text("\n".join(lines) + "\n")


DESCRIBE = tap("describe", "05:00", "site=Mill;slab_type=garage;area=600;thickness=4")


def test_an_open_pour_is_outside_the_measures_and_named(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    _write(tmp_path / "log", [DESCRIBE, *SHORT[:4]])
    assert load(store, [tmp_path / "log"]).status == 0
    with store.read() as connection:
        assert frame(connection, "pour_output").empty
        (unfinished,) = openpours.unfinished(connection)
    assert unfinished["pour_id"] == "B1"
    assert unfinished["site"] == "Mill"
    assert unfinished["missing"] == ["gone"]
    _write(tmp_path / "log", [DESCRIBE, *SHORT])
    load(store, [tmp_path / "log"])
    with store.read() as connection:
        output = frame(connection, "pour_output")
        assert openpours.unfinished(connection) == []
    assert list(output["pour_id"]) == ["B1"]
    # Four hands from 06:05 to strike-off at 08:10, the same four until 14:20: 4 x 8.25 h.
    assert round(float(output["labor_h"].iloc[0]), 6) == 33.0
    undo(store)
    with store.read() as connection:
        assert frame(connection, "pours").empty


def test_a_pour_corrected_by_hand_keeps_the_correction(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    _write(tmp_path / "log", [DESCRIBE, *SHORT])
    load(store, [tmp_path / "log"])
    fixed = tmp_path / "pours.csv"
    fixed.write_text(
        "pour_id,date,site,slab_type,area,thickness\nB1,2031-06-03,Mill,garage,640,4\n"
    )
    load(store, [fixed])
    _write(tmp_path / "log", [DESCRIBE, *SHORT, tap("saw_on", "13:20")])
    load(store, [tmp_path / "log"])
    with store.read() as connection:
        assert frame(connection, "pours")["area"].tolist() == [640.0]


def test_what_a_device_took_from_its_job_gives_way_to_the_job_as_it_is_now() -> None:
    taken = tap("describe", "05:00", "planned;site=Mill;slab_type=garage;area=500;thickness=4")
    said = tap("describe", "05:10", "thickness=5")
    (alone,) = stamps.derived("B1", [taken, said, *SHORT], None).rows["pours"]
    assert (alone["area"], alone["thickness"], alone["date"]) == ("500", "5", "2031-06-03")
    (known,) = stamps.derived("B1", [taken, said, *SHORT], JOB).rows["pours"]
    # The job says 600 ft2 by now; what somebody said on the slab stands all the same.
    assert (known["area"], known["thickness"]) == ("600.0", "5")


def test_a_job_that_slipped_is_dated_on_the_day_that_it_was_tapped() -> None:
    slipped = JOB | {"date": dt.date(2031, 5, 30)}
    eve = tap("describe", "05:00", "finish=broom") | {"at": dt.datetime(2031, 6, 2, 19, 0)}
    (pour,) = stamps.derived("B1", [eve, *SHORT], slipped).rows["pours"]
    assert pour["date"] == "2031-06-03"
    (said,) = stamps.derived("B1", [tap("describe", "15:00", "date=2031-06-04"), *SHORT],
                             slipped).rows["pours"]  # fmt: skip
    assert said["date"] == "2031-06-04"
    (only,) = stamps.derived("B1", [eve], slipped).rows["pours"]
    assert only["date"] == "2031-05-30", "nothing is poured yet"


def test_a_value_may_hold_the_marks_that_part_values() -> None:
    said = tap("describe", "05:00", "site=A %3B B %3D 100%25 %253B;area=600")
    (pour,) = stamps.derived("B1", [said, *SHORT], None).rows["pours"]
    assert pour["site"] == "A ; B = 100% %3B"
    assert pour["area"] == "600"


def test_a_log_given_out_again_takes_back_what_its_first_one_said(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    on = [tap("load_in", "06:55", "load-1;volume=9"), tap("load_in", "07:20", "load-2;volume=8")]
    _write(tmp_path / "log", [DESCRIBE, *SHORT, *on])
    load(store, [tmp_path / "log"])
    undone = [*SHORT[:4], {**SHORT[4], "undone": "yes"}, *SHORT[5:], {**on[0], "undone": "yes"}]
    _write(tmp_path / "log", [DESCRIBE, *undone, on[1]])
    load(store, [tmp_path / "log"])
    with store.read() as connection:
        pours, trucks = frame(connection, "pours"), frame(connection, "trucks")
    assert pours["machine_on"].isna().all()
    assert trucks["ticket"].tolist() == ["load-2"]
    again = load(store, [tmp_path / "log"])
    assert again.tables["stamps"]["unchanged"] == again.tables["stamps"]["read"]
    with store.read() as connection:
        assert len(frame(connection, "changes")) == 2


def test_a_phones_log_is_known_by_its_header_whatever_a_message_calls_it(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    _write(tmp_path / "log", [DESCRIBE, *SHORT])
    named = (tmp_path / "log" / "stamps.csv").rename(tmp_path / "log" / "IMG 2 (1).csv")
    assert load(store, [named]).tables["stamps"]["added"] == 9
    with store.read() as connection:
        assert frame(connection, "pours")["pour_id"].tolist() == ["B1"]
