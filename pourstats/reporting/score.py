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
    for target in told["targets"].values():
        unit = target["unit"]
        held, nine = target["held_80"], target["held_90"]
        lean = target["bias"]["value"]
        word = "early or low" if lean < 0 else "late or high"
        lines += _wrapped(
            f"{target['what']}, {target['pours']} pours: within the eight-in-ten range"
            f" {_tenths(held)}, within the nine-in-ten range {_tenths(nine)}; off by"
            f" {target['mean_abs_error']:.3g} {unit} on average, {abs(lean):.3g} {unit} {word}."
        )
    if not told["targets"]:
        lines += _wrapped(
            "No forecast has met its pour yet. `pourstats finishing` and `pourstats bid` keep what"
            " they tell; log the pour under the same pour_id, and it is scored here."
        )
    if told["waiting"]:
        shown = ", ".join(told["waiting"][:8])
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
