"""The weekly review of a store: what it reads, in one place."""

from __future__ import annotations

from datetime import date
from typing import Any

from pourstats.planning import scored
from pourstats.reporting.week import week_review
from pourstats.store import kept, openpours, reading, schema
from pourstats.store.database import Store

FRAMES = (
    "pours", "trucks", "passes", "crew_time", "callbacks", "bids", "settings", "pour_output",
    "day_output", "truck_times", "pass_intervals", "pour_weather",
)  # fmt: skip


def review(store: Store, ending: date | None) -> dict[str, Any]:
    """The week that holds ``ending`` (None: the latest pour's). Raises Refusal without a store."""
    with store.read() as connection:
        frames = reading.frames(connection, *FRAMES)
        house = schema.house(connection)
        aside = reading.frame(connection, "set_aside")
        unfinished = openpours.unfinished(connection)
        frames["forecasts"] = reading.frame(connection, "forecasts")
        lately = scored.lately_lines(scored.scored(frames, scored.LATELY))
        marked = kept.read(connection, "floors_to_look_at")
    found = week_review(
        frames, house, ending, open_pours=unfinished, set_aside=aside, lately=lately
    )
    found["lately"] += _to_look_at(marked, found)
    return found


def _to_look_at(marked: tuple[Any, bool] | None, review: dict[str, Any]) -> list[dict[str, Any]]:
    """The week's floors that `pourstats callbacks` marked when it last looked."""
    floors = marked[0] if marked is not None else []
    poured = {pour["pour_id"] for pour in review["pours"]}
    return [
        {
            "text": f"{floor['pour_id']} is worth a look while it is young:"
            f" {'; '.join(reason['words'] for reason in floor['reasons'])}"
            " (`pourstats callbacks`)."
        }
        for floor in floors
        if floor["pour_id"] in poured
    ]
