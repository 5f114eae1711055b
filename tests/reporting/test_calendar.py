"""The calendar where clocks change, and where a day is planned anew."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from dateutil.tz import tzical

from pourstats.reporting.calendar import calendar_bytes
from tests.commands import Run


def day_of(date: str, *tasks: tuple[str, str, str]) -> dict[str, Any]:
    """A day of one person at one slab."""
    pour = {"pour_id": "A1", "site": "Oak", "place_start": f"{date}T05:00",
            "first_pass": {"p10": f"{date}T09:00", "p90": f"{date}T10:00"}}  # fmt: skip
    return {"date": date, "pours": [pour], "tasks": [
        {"worker": "JB", "pour_id": "A1", "task": task, "start": f"{date}T{start}",
         "end": f"{date}T{end}"} for task, start, end in tasks
    ]}  # fmt: skip


# Hours from UTC before and after the change, by the IANA time zone database.
@pytest.mark.parametrize(
    ("zone", "date", "before", "after"),
    [
        ("America/Boise", "2026-11-01", -6.0, -7.0),
        ("Europe/Madrid", "2026-10-25", 2.0, 1.0),
        ("Australia/Sydney", "2026-10-04", 10.0, 11.0),
        ("Australia/Lord_Howe", "2026-04-05", 11.0, 10.5),
        ("Asia/Kolkata", "2026-11-01", 5.5, 5.5),
    ],
)
def test_times_are_right_on_the_night_the_clocks_change(
    zone: str, date: str, before: float, after: float
) -> None:
    plan = {"days": [day_of(date, ("set_up", "00:30", "01:30"), ("finish", "05:00", "09:00"))]}
    written = calendar_bytes(plan, {"Oak": zone})
    # The file's own VTIMEZONE, read by another library.
    read = tzical(io.StringIO(written.decode().replace("\r\n", "\n"))).get()
    night, morning = icalendar.Calendar.from_ical(written).walk("VEVENT")
    for event, hours in ((night, before), (morning, after)):
        start = event["DTSTART"].dt
        assert start.utcoffset() == timedelta(hours=hours)
        assert start.replace(tzinfo=read).utcoffset() == timedelta(hours=hours)
    assert morning["DTSTART"].dt.replace(tzinfo=None) == datetime.fromisoformat(f"{date}T05:00")


def test_a_day_planned_anew_takes_the_mornings_place() -> None:
    date = "2031-06-03"
    morning = day_of(
        date, ("set_up", "07:00", "08:00"), ("place", "08:00", "10:00"),
        ("clean_up", "10:00", "10:20"), ("finish", "12:00", "14:00"), ("saw", "16:00", "17:00"),
    )  # fmt: skip
    again = day_of(
        date, ("place", "09:15", "11:00"), ("clean_up", "11:00", "11:20"),
        ("finish", "13:00", "15:00"), ("saw", "17:00", "18:00"),
    )  # fmt: skip

    def names(day: dict[str, Any]) -> list[str]:
        calendar = icalendar.Calendar.from_ical(calendar_bytes({"days": [day]}, {}))
        return [str(event["UID"]) for event in calendar.walk("VEVENT")]

    assert names(again) == names(morning)
    assert len(set(names(morning))) == 3


def test_no_calendar_of_a_day_on_which_nothing_is_planned(run: Run, tmp_path: Path) -> None:
    # RFC 5545, 3.6: a calendar has at least one component.
    jobs, sky, out = tmp_path / "jobs.csv", tmp_path / "sky.csv", tmp_path / "day.ics"
    jobs.write_text(
        "pour_id,date,site,slab_type,area,thickness,finish,earliest_start,latest_end\n"
        "A1,2031-06-03,Oak,garage,700,4,trowel,12:00,11:00\n", encoding="utf-8",
    )  # fmt: skip
    sky.write_text(
        "site,time,air_temp,humidity,wind\nOak,2031-06-03 06:00,60,50,5\n"
        "Oak,2031-06-03 12:00,75,40,5\n", encoding="utf-8",
    )  # fmt: skip
    found = run("plan", str(jobs), "--forecast", str(sky), "--calendar", str(out))
    assert "nothing is planned" in found.err
    assert not out.exists()
