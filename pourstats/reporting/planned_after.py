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
                f"Done in the day: told {_tenths(one['told'])} on average, it was {one['done']} of"
                f" {one['pours']} floors."
            )
            continue
        lean = one["late_min"]
        between = "" if lean["low"] is None else f" ({lean['low']:.0f} to {lean['high']:.0f})"
        ranged = (
            f"; {one['within']} of {one['ranged']} within the eight-in-ten range"
            if one["ranged"]
            else ""
        )
        lines.append(
            f"{one['what'].capitalize()}, {one['pours']} floors: {_late(lean['mean'])} on"
            f" average{between}{ranged}."
        )
    lines += floor_lines(found["pours"][-LATEST:])
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
            odds = f"; done in time told {_tenths(pour['chance_done'])}, {word}"
        lines.append(f"{pour['pour_id']}: {'; '.join(parts)}{odds}.")
    return lines


def day_lines(day: Mapping[str, Any]) -> list[str]:
    """A line of a day's hours and dollars, where both are known."""
    parts = []
    hours, dollars = day["paid_h"], day["labor_usd"]
    if None not in (hours["planned"], hours["happened"]):
        parts.append(f"{hours['planned']:.0f} paid hours planned, {hours['happened']:.0f} logged")
    if None not in (dollars["planned"], dollars["happened"]):
        parts.append(
            f"${dollars['planned']:.0f} of labor planned, ${dollars['happened']:.0f} logged"
            " (without overtime)"
        )
    return [f"{day['date']}: {'; '.join(parts)}."] if parts else []


def _late(minutes: float) -> str:
    return f"{abs(minutes):.0f} min {'late' if minutes > 0 else 'early'}" if minutes else "on time"


def _tenths(chance: float) -> str:
    return f"{10 * chance:.0f} times in ten"
