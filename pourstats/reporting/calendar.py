"""The plan as iCalendar (RFC 5545): an entry a person and stay at a slab, in the site's zone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from pourstats.reporting.listing import quiet

TASKS = {
    "set_up": "set up", "place": "place", "finish": "finish", "saw": "saw", "clean_up": "clean up",
}  # fmt: skip
GAP_MIN = 3


def calendar_bytes(plan: Mapping[str, Any], zones: Mapping[str, str | None]) -> bytes:
    """The calendar file of a plan.

    ``zones`` gives the IANA zone of each site (or pour_id); the key "" is the house's. Where none
    is known the times float: they are then the local ones of whoever reads them. Times that a clock
    change makes ambiguous are taken as the first of the two.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//pourstats//day plan//EN")
    calendar.add("version", "2.0")
    stamp = datetime.now(UTC).replace(microsecond=0)
    for day in plan["days"]:
        pours = {pour["pour_id"]: pour for pour in day["pours"]}
        for stay in stays(day):
            pour = pours[stay["pour_id"]]
            zone = zones.get(pour["site"]) or zones.get(pour["pour_id"]) or zones.get("")
            event = Event()
            words = ", ".join(stay["tasks"])
            # RFC 5545 lets no control character into a text (3.3.11).
            event.add("summary", quiet(f"{stay['worker']}: {pour['pour_id']} {words}"))
            event.add("dtstart", _aware(stay["start"], zone))
            event.add("dtend", _aware(stay["end"], zone))
            event.add("dtstamp", stamp)
            event.add("uid", _uid(stay, day["date"]))
            if pour["site"]:
                event.add("location", quiet(pour["site"]))
            event.add(
                "description",
                f"First load {pour['place_start'][11:]}; first pass"
                f" {pour['first_pass']['p10'][11:]} to {pour['first_pass']['p90'][11:]}",
            )
            calendar.add_component(event)
    if plan["days"]:
        dates = [datetime.fromisoformat(day["date"]).date() for day in plan["days"]]
        year = timedelta(days=370)
        calendar.add_missing_timezones(min(dates) - year, max(dates) + year)
    return bytes(calendar.to_ical())


def stays(day: Mapping[str, Any]) -> list[dict[str, Any]]:
    """A person's unbroken stretches at one slab: worker, pour_id, tasks, start, end."""
    found: list[dict[str, Any]] = []
    for task in day["tasks"]:
        if task["task"] == "travel":
            continue
        last = found[-1] if found else None
        words = TASKS.get(task["task"])
        if (
            last is not None
            and (last["worker"], last["pour_id"]) == (task["worker"], task["pour_id"])
            and _minutes(last["end"], task["start"]) <= GAP_MIN
        ):
            last["end"] = task["end"]
            if words and words not in last["tasks"]:
                last["tasks"].append(words)
        else:
            found.append(
                {
                    "worker": task["worker"], "pour_id": task["pour_id"],
                    "tasks": [words] if words else [], "start": task["start"], "end": task["end"],
                }
            )  # fmt: skip
    return [stay for stay in found if stay["tasks"]]


def _minutes(one: str, other: str) -> float:
    return (datetime.fromisoformat(other) - datetime.fromisoformat(one)).total_seconds() / 60.0


def _aware(time: str, zone: str | None) -> datetime:
    moment = datetime.fromisoformat(time)
    return moment if not zone else moment.replace(tzinfo=ZoneInfo(zone))


def _uid(stay: Mapping[str, Any], date: str) -> str:
    # By the last of the work done there: a day planned anew, its set-up over, then takes the
    # morning's place in a calendar.
    done = [words for words in TASKS.values() if words in stay["tasks"] and words != "clean up"]
    text = f"{date}|{stay['worker']}|{stay['pour_id']}|{done[-1] if done else 'clean up'}"
    return f"{sha256(text.encode()).hexdigest()[:24]}@pourstats"
