"""How past forecasts and bids did, for people."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from pourstats.faults import Refusal
from pourstats.reporting.bid import proof_text
from pourstats.reporting.planned_after import after_lines
from pourstats.store import reading, schema
from pourstats.store.database import Store

WIDTH = 92

MOST_WAITING = 8
"""Pours awaited that are named; the others are counted."""


def score(store: Store) -> dict[str, Any]:
    """Both halves: ``forecasts`` that were kept against what was logged, and ``hours``, what the
    tool would have bid on the crew's own past (None with the reason in ``hours_missing``).

    Raises Refusal without a store, or (1) with nothing to score at all.
    """
    from pourstats.planning import bid, proof, scored
    from pourstats.planning.day import afterwards

    with store.read() as connection:
        names = dict.fromkeys((*scored.FRAMES, *bid.FRAMES, *afterwards.FRAMES))
        frames = reading.frames(connection, *names)
        house = schema.house(connection)
    found: dict[str, Any] = {"forecasts": scored.scored(frames), "hours": None}
    found["plans"] = afterwards.plans_and_log(frames)
    try:
        found["hours"] = proof.hours_proof(frames, house)
    except Refusal as error:
        found["hours_missing"] = str(error)
        if not found["forecasts"]["targets"]:
            raise Refusal(f"nothing to score yet: {error}", 1) from None
    return found


def score_text(found: Mapping[str, Any]) -> str:
    """The score for a terminal."""
    lines = ["TOLD AHEAD, AND WHAT HAPPENED"]
    told = found["forecasts"]
    for name, target in told["targets"].items():
        held, nine = target["held_80"], target["held_90"]
        off = _amount(target["mean_abs_error"], target["unit"])
        lines += _wrapped(
            f"{target['what']}, {target['pours']} pours: off by {off} on average;"
            f" {_lean(name, target)}. Within the eight-in-ten range {_tenths(held)}, within the"
            f" nine-in-ten range {_tenths(nine)}{_verdict(held, 0.8)}."
        )
    if not told["targets"]:
        lines += _wrapped(
            "No forecast has met its pour yet. `pourstats finishing` and `pourstats bid` keep what"
            " they tell; log the pour under the same pour_id, and it is scored here."
        )
    if told["waiting"]:
        more = len(told["waiting"]) - MOST_WAITING
        shown = ", ".join(told["waiting"][:MOST_WAITING]) + (
            f" and {more} more" if more > 0 else ""
        )
        lines += _wrapped(f"Still waiting for their pour: {shown}.")
    planned = after_lines(found["plans"])
    if planned:
        lines += ["", "PLANNED DAYS, AND WHAT HAPPENED"]
        for line in planned:
            lines += _wrapped(line)
    lines.append("")
    if found["hours"] is not None:
        lines.append(proof_text(found["hours"]).rstrip())
    else:
        lines += _wrapped(f"Hours: {found['hours_missing']}.")
    return "\n".join(lines) + "\n"


LEANS = {
    "since_placed_min": ("short", "long"),
    "first_pass_min": ("early", "late"),
    "last_pass_end_min": ("early", "late"),
}
"""In which words a target was told too low or too high; hours are few or many."""


def _lean(name: str, target: Mapping[str, Any]) -> str:
    """Which way it was told wrong, where that is more than chance (19 times in 20)."""
    bias, unit = target["bias"], target["unit"]
    value, low, high = bias["value"], bias["low"], bias["high"]
    if low is None or high is None:
        return "too few to say which way"
    if low <= 0 <= high:
        return "neither way for sure"
    few, many = LEANS.get(name, ("few", "many"))
    between = sorted((abs(low), abs(high)))
    return (
        f"told {_amount(abs(value), unit)} too {few if value < 0 else many}"
        f" ({_number(between[0], unit)} to {_number(between[1], unit)})"
    )


def _verdict(held: Mapping[str, float | None], said: float) -> str:
    low, high = held["low"], held["high"]
    if high is not None and high < said:
        return ": less often than it said"
    if low is not None and low > said:
        return ": more often than it said"
    return ""


def _amount(value: float, unit: str) -> str:
    return f"{_number(value, unit)} {unit}"


def _number(value: float, unit: str) -> str:
    return f"{value:.0f}" if unit == "min" else f"{value:.1f}"


def _tenths(share: Mapping[str, float | None]) -> str:
    value, low, high = share["value"], share["low"], share["high"]
    if value is None:
        return "unknown"
    between = (
        f" ({low * 10:.1f} to {high * 10:.1f})" if low is not None and high is not None else ""
    )
    return f"{value * 10:.1f} times in ten{between}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
