"""The weekly review of a store: what it reads, in one place."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from pourstats.planning import scored
from pourstats.planning.day import afterwards
from pourstats.reporting.planned_after import day_lines, floor_lines, moved_lines
from pourstats.reporting.week import week_review
from pourstats.reporting.week_figures import Frames
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
        marked = kept.read(connection, "floors_to_look_at")
    found = week_review(frames, house, ending, open_pours=unfinished, set_aside=aside)
    found["lately"] = [{"text": line} for line in _told_ahead(frames, found["week"]["end"])]
    found["plans"] = _planned(frames, found)
    found["lately"] += [
        {"text": line}
        for line in (
            *floor_lines(found["plans"]["pours"]),
            *moved_lines(found["plans"]["moved"]),
            *(line for day in found["plans"]["days"] for line in day_lines(day)),
        )
    ]
    found["look_at"] = _to_look_at(marked, found)
    return found


def _told_ahead(frames: Frames, end: str | None) -> list[str]:
    """How well the forecasts of the latest pours did, as of the week's last day."""
    pours = frames["pours"]
    if end is not None:
        poured = pours.loc[pd.to_datetime(pours["date"]) <= pd.Timestamp(end), "pour_id"]
        frames = {name: frame[frame["pour_id"].isin(poured)] for name, frame in frames.items()
                  if name in scored.FRAMES}  # fmt: skip
    return scored.lately_lines(scored.scored(frames, scored.LATELY))


def _planned(frames: Frames, review: dict[str, Any]) -> dict[str, Any]:
    """The week's floors whose day was planned, beside what happened."""
    poured = [pour["pour_id"] for pour in review["pours"]]
    own = frames["pours"][frames["pours"]["pour_id"].isin(poured)]
    return afterwards.plans_and_log({**frames, "pours": own})


def _to_look_at(marked: tuple[Any, bool] | None, review: dict[str, Any]) -> list[dict[str, Any]]:
    """The week's floors that `pourstats callbacks` marked when it last looked."""
    floors = marked[0] if marked is not None else []
    poured = {pour["pour_id"] for pour in review["pours"]}
    return [
        {
            "pour_id": floor["pour_id"],
            "text": f"{floor['pour_id']}: {'; '.join(each['words'] for each in floor['reasons'])}",
        }
        for floor in floors
        if floor["pour_id"] in poured
    ]
