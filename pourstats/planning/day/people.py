"""Who is there on a day: names, skills and what an hour of each costs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pourstats.faults import Refusal

SKILLS = frozenset({"place", "finish", "saw"})
USUAL_PAY = 28.0
"""A wage where nobody's is known, USD/h. Common practice, no source."""
RECENT_DAYS = 60


@dataclass(frozen=True)
class Person:
    """One of the crew on a day."""

    name: str
    skills: frozenset[str]
    usd_h: float
    """Wage with burden in it."""


LATEST = 10
"""Pours that say how many place nowadays."""


def hands_lately(pours: pd.DataFrame | None, usual: int) -> int:
    """The most hands that placed any of the latest pours; ``usual`` where no pour tells."""
    if pours is None or not {"hands", "date"} <= set(pours.columns):
        return usual
    known = pours[pd.to_numeric(pours["hands"], errors="coerce") >= 1]
    latest = known.sort_values("date", kind="stable")["hands"].tail(LATEST)
    return round(float(latest.max())) if len(latest) else usual


def people_on(
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
    day: pd.Timestamp,
    off: Iterable[str] = (),
    at_least: int = 5,
) -> tuple[list[Person], list[str]]:
    """The crew of a day without those who are off, and what to say of it.

    From the crew table; without one the people of the latest crew time, each with every skill;
    without that ``at_least`` unnamed hands. Raises Refusal for somebody off who is unknown.
    """
    burden = _number(house, "burden", 0.35)
    default = _number(house, "default_pay", USUAL_PAY)
    notes = []
    crew, logged = frames.get("crew"), frames.get("crew_time")
    rows: dict[str, tuple[frozenset[str], float]] = {}
    unpaid = False
    if crew is not None and len(crew):
        own = crew.assign(since=pd.to_datetime(crew["since"]))
        own = own[own["since"].isna() | (own["since"] <= day)]
        for name, lines in own.sort_values("since", na_position="first").groupby("worker"):
            last = lines.iloc[-1]
            pay = last.get("pay")
            known = pay is not None and not pd.isna(pay)
            unpaid = unpaid or not known
            rows[str(name)] = (_skills(last.get("skills")), float(str(pay)) if known else default)
    elif logged is not None and len(logged):
        begun = pd.to_datetime(logged["start"])
        recent = logged[begun >= begun.max() - pd.Timedelta(days=RECENT_DAYS)]
        rows = {str(name): (SKILLS, default) for name in sorted(set(recent["worker"]))}
        notes.append("No crew table: those of the latest crew time are there, able to do all.")
    else:
        rows = {f"hand {place + 1}": (SKILLS, default) for place in range(at_least)}
        notes.append(
            f"No crew is known: {at_least} hands who can place, finish and saw are assumed."
        )
    if (unpaid or crew is None or not len(crew)) and house.get("default_pay") is None:
        notes.append(f"Where pay isn't known {USUAL_PAY:g} USD an hour is taken.")
    away = {name.strip() for name in off}
    strangers = away - set(rows)
    if strangers:
        raise Refusal(
            f"--off {sorted(strangers)[0]}: nobody of that name is in the crew; it has"
            f" {', '.join(rows) or 'nobody'}"
        )
    found = [
        Person(name, skills, pay * (1.0 + burden))
        for name, (skills, pay) in rows.items()
        if name not in away
    ]
    return found, notes


def logged_week(
    crew_time: pd.DataFrame | None, day: pd.Timestamp, overtime_after_h: float
) -> dict[str, float]:
    """Hours at straight time that each has logged in the week (from Monday) before a day."""
    if crew_time is None or not len(crew_time):
        return {}
    begun, ended = pd.to_datetime(crew_time["start"]), pd.to_datetime(crew_time["end"])
    monday = monday_of(day)
    rows = (begun >= monday) & (begun < day.normalize())
    hours = ((ended - begun).dt.total_seconds() / 3600.0)[rows]
    by_day = hours.groupby([crew_time["worker"][rows], begun[rows].dt.normalize()]).sum()
    straight = by_day.clip(upper=overtime_after_h).groupby(level=0).sum()
    return {str(name): float(value) for name, value in straight.items()}


def monday_of(day: pd.Timestamp) -> pd.Timestamp:
    """The Monday of a day's week."""
    return day.normalize() - pd.Timedelta(days=day.weekday())


def _skills(value: object) -> frozenset[str]:
    if value is None or value != value or not str(value).strip():
        return SKILLS
    return frozenset(word.strip() for word in str(value).split(";") if word.strip())


def _number(house: Mapping[str, Any], name: str, usual: float) -> float:
    value = house.get(name)
    return float(value) if isinstance(value, int | float) and value == value else usual
