"""Punches of a time clock → crew time: pairs, midnight, tasks, and the pour they were for."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from pourstats.logs import foreign, intake
from pourstats.logs.checked import Checked
from pourstats.logs.mapping import Known
from pourstats.logs.proposal import Wish
from pourstats.logs.proposing import proposed
from pourstats.logs.tables import TABLES
from pourstats.logs.timesheets import task, way
from pourstats.logs.translating import translated

POURS = Known(pours=(
    ("B1", "Mill Flats", dt.date(2031, 6, 3)), ("B2", "Mill Flats", dt.date(2031, 6, 17)),
    ("B3", "Mill Flats", dt.date(2031, 6, 17)), ("B4", "Oak", dt.date(2031, 6, 20)),
))  # fmt: skip
PLACE = Wish(given={"task": "place"})
Row = tuple[str | None, str | None, str | None, str | None, str | None]


def read(text: str, wish: Wish = PLACE, known: Known = POURS) -> Checked:
    (sheet,) = foreign.sheets(text.encode(), "hours.csv")
    found = proposed(sheet, wish, known)
    assert found.mapping.table == "crew_time"
    assert found.questions == []
    ours, written = translated(sheet, found.mapping, known)
    return intake.checked(ours, TABLES["crew_time"], written)


def rows(checked: Checked) -> list[Row]:
    """The whole rows: pour, worker, task, start, end."""
    columns: list[list[Any]] = [
        checked.columns[name].to_pylist() for name in ("pour_id", "worker", "task", "start", "end")
    ]
    return [
        (p, w, t, s and f"{s:%m-%d %H:%M}", e and f"{e:%m-%d %H:%M}")
        for ok, p, w, t, s, e in zip(checked.whole, *columns, strict=True) if ok
    ]  # fmt: skip


def told(checked: Checked) -> list[tuple[int | None, str | None, str | None]]:
    return [(f.line, f.column, f.value) for _, f in checked.faults]


def test_in_and_out_in_one_row_with_a_date_beside() -> None:
    checked = read(
        "Pay period 6/1 to 6/14\nEmployee,Date,Job,Time In,Time Out,Cost Code\n"
        "Jo,06/03/2031,Mill Flats,6:40 AM,2:15 PM,Placing\n"
        "Ray,06/20/2031,oak,10:00 PM,1:30 AM,Finishing\n"
        "Jo,06/03/2031,Mill Flats,2:15 PM,,Saw cutting\n"
        "Ray,06/03/2031,Mill Flats,,2:15 PM,Clean Up\n"
    )
    assert rows(checked) == [
        ("B1", "Jo", "place", "06-03 06:40", "06-03 14:15"),
        ("B4", "Ray", "finish", "06-20 22:00", "06-21 01:30"),
    ]
    assert told(checked) == [(5, "Time Out", None), (6, "Time In", None)]
    assert "Jo came in and no time out" in checked.faults[0][1].reason


def test_whole_times_in_and_out() -> None:
    checked = read(
        "worker,clock in,clock out,pour\nJo,2031-06-03 06:40,2031-06-03 14:15,B1\n"
        "Ray,2031-06-03 22:00,2031-06-04 15:00,B1\n"
    )
    assert rows(checked) == [("B1", "Jo", "place", "06-03 06:40", "06-03 14:15")]
    assert told(checked) == [(3, "clock out", "2031-06-04 15:00")]
    assert "over 16 h" in checked.faults[0][1].reason


def test_clock_times_alone_rest_on_the_pours_day() -> None:
    (sheet,) = foreign.sheets(b"who,in,out,pour id\nJo,6:40 AM,2:15 PM,B1\n", "hours.csv")
    found = proposed(sheet, PLACE, POURS)
    ours, _ = translated(sheet, found.mapping, POURS)
    assert [c.to_pylist() for c in ours.columns] == [
        ["B1"], ["Jo"], ["place"], ["06:40:00"], ["14:15:00"],
    ]  # fmt: skip


PUNCHES = "Badge,Punch,When,Job\n"


def test_a_punch_a_row_with_in_and_out() -> None:
    checked = read(
        f"{PUNCHES}JB,IN,2031-06-03 06:40,B1\nRD,IN,2031-06-03 06:45,B1\nJB,OUT,2031-06-03 12:00,B1\n"
        "JB,IN,2031-06-03 12:30,B1\nRD,OUT,2031-06-03 15:10,B1\nJB,OUT,2031-06-03 15:30,B1\n"
    )
    assert rows(checked) == [
        ("B1", "JB", "place", "06-03 06:40", "06-03 12:00"),
        ("B1", "RD", "place", "06-03 06:45", "06-03 15:10"),
        ("B1", "JB", "place", "06-03 12:30", "06-03 15:30"),
    ]
    assert list(checked.lines) == [2, 3, 5]
    assert checked.raw[0].as_py() == "JB,IN,2031-06-03 06:40,B1\nJB,OUT,2031-06-03 12:00,B1"


def test_pairs_go_over_midnight_and_a_forgotten_punch_is_set_aside() -> None:
    checked = read(
        f"{PUNCHES}JB,in,2031-06-03 20:00,B1\nJB,out,2031-06-04 02:30,B1\n"
        "JB,in,2031-06-17 06:00,B2\nJB,in,2031-06-18 06:00,B2\nJB,out,2031-06-18 09:00,B2\n"
        "RD,out,2031-06-03 15:00,B1\nAL,in,2031-06-03 07:00,B1\nAL,out,2031-06-04 07:00,B1\n"
        "JB,lunch,2031-06-03 12:00,B1\n"
    )
    assert rows(checked) == [
        ("B1", "JB", "place", "06-03 20:00", "06-04 02:30"),
        ("B2", "JB", "place", "06-18 06:00", "06-18 09:00"),
    ]
    assert told(checked) == [
        (4, "When", "2031-06-17 06:00"), (7, "When", "2031-06-03 15:00"),
        (8, "When", "2031-06-03 07:00"), (9, "When", "2031-06-04 07:00"), (10, "Punch", "lunch"),
    ]  # fmt: skip
    reasons = [f.reason for _, f in checked.faults]
    assert "no punch out follows" in reasons[0]
    assert "no punch in stands before it" in reasons[1]
    assert all("load it again" in reason for reason in reasons[:4])
    assert checked.read == 7


def test_punches_that_alternate() -> None:
    """10 hours a day, 4 days: by hand 40 h, whatever the order of the lines."""
    lines = [
        f"Jo,6/{day}/2031 {clock}" for day in (13, 14, 15, 16)
        for clock in ("6:00", "12:00", "12:30", "16:30")
    ]  # fmt: skip
    for order in (lines, lines[::-1], sorted(lines, key=lambda line: line[-2:])):
        checked = read("Name,Timestamp\n" + "\n".join(order))
        starts, ends = checked.columns["start"].to_pylist(), checked.columns["end"].to_pylist()
        hours = (
            sum(((e - s).total_seconds() for s, e in zip(starts, ends, strict=True)), 0.0) / 3600
        )
        assert (len(starts), hours) == (8, 40.0)


def test_a_switch_ends_one_stretch_and_begins_the_next() -> None:
    checked = read(
        "worker,type,timestamp,task,job\nJB,in,2031-06-03 06:00,place,B1\n"
        "JB,switch,2031-06-03 10:00,finish,B1\nJB,out,2031-06-03 15:00,finish,B1\n", Wish(),
    )  # fmt: skip
    assert rows(checked) == [
        ("B1", "JB", "place", "06-03 06:00", "06-03 10:00"),
        ("B1", "JB", "finish", "06-03 10:00", "06-03 15:00"),
    ]


def test_offsets_and_utc_are_put_on_the_sites_clock() -> None:
    text = f"{PUNCHES}JB,in,2031-06-03T12:40:00Z,B1\nJB,out,2031-06-03T15:00:00-05:00,B1\n"
    checked = read(text, Wish(given={"task": "place"}, zone="America/Denver"))
    assert rows(checked) == [("B1", "JB", "place", "06-03 06:40", "06-03 14:00")]


@pytest.mark.parametrize(
    ("job", "day", "clock", "pour", "words"),
    [
        ("Mill Flats", "2031-06-03", "06:40", "B1", ""),
        ("mill_flats", "2031-06-03", "06:40", "B1", ""),
        ("Mill Flats", "2031-06-04", "01:00", "B1", ""),  # after midnight, of the day before
        ("Mill Flats", "2031-06-04", "06:00", None, "no pour at 'Mill Flats' on 2031-06-04"),
        ("Mill Flats", "2031-06-17", "06:40", None, "2 pours at 'Mill Flats' on 2031-06-17 (B2, B3)"),
        ("Depot", "2031-06-03", "06:40", None, "no pour at 'Depot' on 2031-06-03"),
    ],
)  # fmt: skip
def test_the_pour_is_found_by_site_and_day(
    job: str, day: str, clock: str, pour: str | None, words: str
) -> None:
    checked = read(f"worker,site,start,end\nJB,{job},{day} {clock},{day} 06:50\n" if clock < "06:50"
                   else f"worker,site,start,end\nJB,{job},{day} {clock},{day} 23:00\n")  # fmt: skip
    if pour:
        assert [row[0] for row in rows(checked)] == [pour]
        return
    ((_, fault),) = checked.faults
    assert (fault.column, fault.value) == ("site", job)
    assert words in fault.reason


def test_without_a_site_the_day_alone_may_do() -> None:
    checked = read("worker,start,end\nJB,2031-06-03 06:40,2031-06-03 15:00\n"
                   "JB,2031-06-17 06:40,2031-06-17 15:00\n")  # fmt: skip
    assert [row[0] for row in rows(checked)] == ["B1"]
    assert "2 pours on 2031-06-17" in checked.faults[0][1].reason


def test_first_and_last_names_are_one() -> None:
    checked = read(
        "First Name,Last Name,In,Out,Job\nJo,Berg,2031-06-03 06:40,2031-06-03 15:00,B1\n"
    )
    assert [row[1] for row in rows(checked)] == ["Jo Berg"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [("IN", "in"), ("Clock Out", "out"), ("I", "in"), ("O", "out"), ("Entrada", "in"),
     ("salida", "out"), ("Break Start", "out"), ("End Lunch", "in"), ("Transfer", "switch"),
     ("Punch", None), ("", None)],
)  # fmt: skip
def test_in_or_out(text: str, expected: str | None) -> None:
    assert way(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [("Placing", "place"), ("SAW CUT", "saw"), ("set-up", "set_up"), ("Drive", "travel"),
     ("limpieza", "clean_up"), ("Return Visit", "return_visit"), ("office", None)],
)  # fmt: skip
def test_tasks_by_other_names(text: str, expected: str | None) -> None:
    assert task(text) == expected
