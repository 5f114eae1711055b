"""Plans beside what happened, in words: for the score and for the week."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

LATEST = 6
"""Floors that are told one by one."""


def after_lines(found: Mapping[str, Any]) -> list[str]:
    """A line a moment over all plans, the odds, and the latest floors and days one by one."""
    lines = []
    for key, one in found["summary"].items():
        if key == "done":
            lines.append(
                f"Done in the day: told {_odds(one['told'])} on average, it was {one['done']} of"
                f" {_floors(one['pours'])}."
            )
            continue
        lean = one["late_min"]
        between = ""
        if lean["low"] is not None and lean["low"] != lean["high"]:
            between = f" ({_late(lean['low'])} to {_late(lean['high'])})"
        ranged = (
            f"; {one['within']} of {one['ranged']} within the eight-in-ten range"
            if one["ranged"]
            else ""
        )
        lines.append(
            f"{one['what'].capitalize()}, {_floors(one['pours'])}: {_late(lean['mean'])} on"
            f" average{between}{ranged}."
        )
    lines += floor_lines(found["pours"][-LATEST:])
    lines += moved_lines(found["moved"][-LATEST:])
    lines += [line for day in found["days"][-LATEST:] for line in day_lines(day)]
    return lines


def floor_lines(pours: list[dict[str, Any]]) -> list[str]:
    """A line a floor: planned and happened, moment by moment."""
    lines = []
    for pour in pours:
        parts = [
            f"{one['what']} {one['planned']} planned, {one['happened']}"
            for one in pour["moments"].values()
            if one["happened"] is not None
        ]
        if not parts:
            continue
        odds = ""
        if pour["done"] is not None and pour["chance_done"] is not None:
            word = "it was" if pour["done"] else "it wasn't"
            odds = f"; done in time, told {_odds(pour['chance_done'])}: {word}"
        lines.append(f"{pour['pour_id']}: {'; '.join(parts)}{odds}.")
    return lines


def moved_lines(moved: list[dict[str, Any]]) -> list[str]:
    """A line a floor that was placed on another day than planned."""
    return [
        f"{one['pour_id']}: planned for {one['planned']}, placed on {one['date']}; its times aren't"
        " compared."
        for one in moved
    ]


def day_lines(day: Mapping[str, Any]) -> list[str]:
    """A line of a day's hours and dollars, where both are known."""
    parts = []
    hours, dollars = day["paid_h"], day["labor_usd"]
    if None not in (hours["planned"], hours["happened"]):
        parts.append(f"{hours['planned']:.0f} paid hours planned, {hours['happened']:.0f} logged")
    if None not in (dollars["planned"], dollars["happened"]):
        over = day["overtime_h"] or 0.0
        with_it = f" with {over:.0f} h of overtime" if over >= 0.5 else ""
        parts.append(
            f"${dollars['planned']:.0f} of labor planned{with_it}, ${dollars['happened']:.0f}"
            " logged (overtime not in it)"
        )
    if day["missing"]:
        parts.append(
            f"planned with {', '.join(day['missing'])}, not logged on that day: hours and dollars"
            " aren't compared"
        )
    return [f"{day['date']}: {'; '.join(parts)}."] if parts else []


def _late(minutes: float) -> str:
    return f"{abs(minutes):.0f} min {'late' if minutes > 0 else 'early'}" if minutes else "on time"


def _floors(count: int) -> str:
    return "one floor" if count == 1 else f"{count} floors"


def _odds(chance: float) -> str:
    if chance >= 0.985:
        return "almost sure"
    return "hardly ever" if chance <= 0.015 else _tenths(chance)


def _tenths(chance: float) -> str:
    return f"{10 * chance:.0f} times in ten"
