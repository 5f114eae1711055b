"""What commands and pages about jobs ahead share: read the jobs, the record and the forecast, ask
planning, keep what was forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats.faults import Refusal
from pourstats.store import ahead, forecasts, reading, schema
from pourstats.store import kept as kept_results
from pourstats.store.database import Store
from pourstats.store.rules import in_force

if TYPE_CHECKING:
    import pandas as pd

Frames = Mapping[str, "pd.DataFrame"]


@dataclass
class Answer:
    """What a command prints: the result, messages beside it, and the exit status."""

    result: dict[str, Any]
    notes: list[str] = field(default_factory=list)
    status: int = 0


@dataclass
class Asked:
    """The jobs of a call and what is known for them."""

    jobs: pd.DataFrame
    forecast: pd.DataFrame | None
    record: Frames | None
    house: dict[str, Any]
    notes: list[str]
    status: int


def asked(
    store: Store, jobs: tuple[str, ...], forecast: Path | None, names: tuple[str, ...]
) -> Asked:
    """Jobs, forecast, the store's frames of those names and the house rules. Raises Refusal.

    Without a store, or with one that is held, the record is None and a note says so.
    """
    wanted = ahead.jobs_ahead(store, jobs)
    sky = ahead.forecast_ahead(store, forecast) if forecast is not None else None
    parts = [wanted] if sky is None else [wanted, sky]
    notes = [f"set aside: {fault}" for part in parts for fault in part.set_aside]
    notes += [line for part in parts for line in part.warnings]
    record, house = known(store, names, notes)
    return Asked(
        wanted.rows, sky.rows if sky is not None else None, record, house, notes,
        max(part.status for part in parts),
    )  # fmt: skip


def known(
    store: Store, names: tuple[str, ...], notes: list[str]
) -> tuple[Frames | None, dict[str, Any]]:
    """The store's frames and its house rules; without a store None and the defaults, and a note."""
    if not store.exists():
        notes.append(f"no store at {store.path}: this rests on published values alone")
        return None, {name: rule["value"] for name, rule in in_force(store).items()}
    with store.read() as connection:
        return reading.frames(connection, *names), dict(schema.house(connection))


def bid_answer(
    store: Store,
    jobs: tuple[str, ...],
    forecast: Path | None = None,
    confidence: float | None = None,
    sets: Mapping[str, str] | None = None,
) -> Answer:
    """Hours and price of jobs ahead; kept for scoring unless it is a what-if. Raises Refusal."""
    from pourstats.planning.bid import FRAMES, bid

    call = asked(store, jobs, forecast, FRAMES)
    result = bid(call.jobs, call.record, call.house, confidence, call.forecast, sets or None)
    if not sets and call.record is not None:
        told = [
            forecasts.Told(job["pour_id"], target, LEVELS[name], value)
            for job in result["jobs"]
            for target in ("labor_h", "crew_h")
            for name, value in job[target].items()
        ] + [
            forecasts.Told(job["pour_id"], "bid_hours", result["confidence"], job["bid_hours"])
            for job in result["jobs"]
        ]
        call.notes += kept(store, "bid", told)
    return Answer(result, call.notes, call.status)


def finishing_answer(store: Store, jobs: tuple[str, ...], forecast: Path) -> Answer:
    """The finishing clock of jobs ahead; kept for scoring. Raises Refusal."""
    from pourstats.planning.finishing import FRAMES, finishing, kept_numbers

    call = asked(store, jobs, forecast, FRAMES)
    result = finishing(call.jobs, call.forecast, call.record, call.house)
    if call.record is not None:
        told = [forecasts.Told(*row) for row in kept_numbers(result)]
        call.notes += kept(store, "finishing", told)
    return Answer(result, call.notes, call.status)


def trucks_answer(store: Store, jobs: tuple[str, ...], forecast: Path | None = None) -> Answer:
    """Loads, spacing and waits of jobs ahead; kept for scoring. Raises Refusal."""
    from pourstats.planning.trucks import FRAMES, trucks

    call = asked(store, jobs, forecast, FRAMES)
    result = trucks(call.jobs, call.record, call.house, call.forecast)
    if call.record is not None:
        told = [
            forecasts.Told(job["pour_id"], target, LEVELS[name], value)
            for job in result["jobs"]
            for target in ("wait_min", "starved_min")
            for name, value in (job[target] or {}).items()
            if name in LEVELS
        ]
        call.notes += kept(store, "trucks", told)
    return Answer(result, call.notes, call.status)


def callbacks_answer(store: Store) -> Answer:
    """The picture of callbacks. Raises Refusal without a store."""
    from pourstats.learning.callbacks.record import FRAMES
    from pourstats.planning.callbacks import callback_picture

    with store.read() as connection:
        frames, house = reading.frames(connection, *FRAMES), schema.house(connection)
        counter = schema.meta_number(connection, "change_counter")
    picture = callback_picture(frames, house)
    marked = [floor for floor in picture.get("floors", []) if floor["look_at"]]
    kept_results.keep(store, "floors_to_look_at", marked, counter)
    return Answer(picture)


def patterns_answer(store: Store) -> Answer:
    """What weather did to the crew's intervals. Raises Refusal without a store."""
    from pourstats.learning.patterns import patterns

    with store.read() as connection:
        frames = reading.frames(
            connection, "pours", "passes", "weather", "sites", "crew", "trucks", "crew_time"
        )
        house = schema.house(connection)
    return Answer(patterns(frames, house))


def rate_card_answer(store: Store) -> Answer:
    """The crew's own rates by kind of floor. Raises Refusal (1) without pours."""
    from pourstats.planning.bid import FRAMES
    from pourstats.planning.rates import rate_card

    notes: list[str] = []
    record, house = known(store, FRAMES, notes)
    return Answer(rate_card(record, house), notes)


LEVELS = {
    "p05": 0.05, "p10": 0.1, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p90": 0.9, "p95": 0.95,
}  # fmt: skip


def kept(store: Store, command: str, told: list[forecasts.Told]) -> list[str]:
    """Keep what was told for scoring; a line that says why where it can't be."""
    try:
        why = forecasts.keep(store, command, told)
    except Refusal as error:
        why = str(error)
    return [why] if why else []
