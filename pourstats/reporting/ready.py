"""What pages show of the whole record, ready before it is asked for.

Each answer is worked out once for what the log holds, and kept in the store as JSON beside a
mark of that; a page, or another process, takes it from there. Taps of a pour under way leave them
valid.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import importlib
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.store import kept, openpours, reading, schema
from pourstats.store.database import Store

LOOK_S = 1.0
"""How often a server looks whether the store has changed."""

QUIET_S = 3.0
"""How long the store must be left alone before answers are worked out ahead."""


MODULES = (
    "pandas", "altair", "pourstats.reporting.charts", "pourstats.reporting.week_text",
)  # fmt: skip
"""What the first page needs."""


@dataclass(frozen=True)
class Kind:
    """An answer: the log tables that it rests on, and what works it out."""

    tables: tuple[str, ...]
    make: Callable[[Store], dict[str, Any]]


def _week(store: Store) -> dict[str, Any]:
    from pourstats.reporting.week_record import review

    return review(store, None)


def _patterns(store: Store) -> dict[str, Any]:
    from pourstats.reporting.answers import patterns_answer

    return patterns_answer(store).result


def _callbacks(store: Store) -> dict[str, Any]:
    from pourstats.reporting.answers import callbacks_answer

    return callbacks_answer(store).result


def _rates(store: Store) -> dict[str, Any]:
    from pourstats.reporting.answers import rate_card_answer

    return rate_card_answer(store).result


def _waits(store: Store) -> dict[str, Any]:
    """What waits of the loads logged have been and cost; ``past`` is None without any."""
    from pourstats.planning.truck_waits import past_waits
    from pourstats.planning.trucks import FRAMES, rate_usd_min

    with store.read() as connection:
        frames, house = reading.frames(connection, *FRAMES), schema.house(connection)
    return {"past": past_waits(frames, house, rate_usd_min(house))}


NEXT_JOBS = 3
"""How many of the planned jobs a page about jobs ahead begins with."""

CONFIDENCE = 0.7
"""What the price page begins with."""


def next_jobs(frames: Mapping[str, Any], today: dt.date | None = None) -> Any:
    """Rows of `jobs` that are not poured yet; needs `jobs` and `pours`.

    Today's first, then the days to come; those whose day has passed come last, the latest first.
    """
    import pandas as pd

    jobs = frames["jobs"]
    jobs = jobs[~jobs["pour_id"].isin(frames["pours"]["pour_id"])].sort_values(
        "date", kind="stable"
    )
    gone = pd.to_datetime(jobs["date"]) < pd.Timestamp(today or dt.date.today())
    return pd.concat([jobs[~gone], jobs[gone].sort_values("date", ascending=False, kind="stable")])


def _bid(store: Store) -> dict[str, Any]:
    """Hours and price of the next planned jobs. Raises Refusal (1) without any."""
    from pourstats.planning.bid import FRAMES, bid

    with store.read() as connection:
        frames = reading.frames(connection, *FRAMES, "jobs")
        house = schema.house(connection)
    return bid(next_jobs(frames).head(NEXT_JOBS), frames, house, CONFIDENCE)


# Planned jobs, taps of pours under way and what was forecast change no answer but the week's.
_AHEAD = {"stamps", "forecasts", "jobs"}
_RECORD = tuple(name for name in TABLES if name not in _AHEAD)
KINDS: dict[str, Kind] = {
    "week": Kind((*_RECORD, "forecasts"), _week),
    "bid": Kind((*_RECORD, "jobs"), _bid),
    "rates": Kind(_RECORD, _rates),
    "waits": Kind(_RECORD, _waits),
    "callbacks": Kind(_RECORD, _callbacks),
    "patterns": Kind(_RECORD, _patterns),
}

_KNOWN: dict[tuple[Path, str], tuple[str, dict[str, Any]]] = {}
_MAKING: dict[tuple[Path, str], threading.Lock] = {}
_GUARD = threading.Lock()


def answer(store: Store, name: str) -> dict[str, Any]:
    """The answer of that name (:data:`KINDS`) for the log as it is; not to be changed.

    From this process's memory, else from the store, else worked out and kept. KeyError for another
    name. Raises Refusal as the answer itself does, and without a store.
    """
    place = (store.path.resolve(), name)
    with _GUARD:
        lock = _MAKING.setdefault(place, threading.Lock())
    with lock:
        with store.read() as connection:
            now = _state(connection, name)
            if place in _KNOWN and _KNOWN[place][0] == now:
                return _live(connection, name, _KNOWN[place][1])
            found = kept.read(connection, f"page_{name}")
            counter = schema.meta_number(connection, "change_counter")
        if found is None or not isinstance(found[0], dict) or found[0].get("state") != now:
            result = KINDS[name].make(store)
            kept.keep(store, f"page_{name}", {"state": now, "result": result}, counter)
        else:
            result = found[0]["result"]
        _KNOWN[place] = (now, result)
        with store.read() as connection:
            return _live(connection, name, result)


def _state(connection: Any, name: str) -> str:
    found = kept.state(connection, *KINDS[name].tables)
    if name == "week":
        # It repeats which floors `callbacks` marked when it last looked.
        marked = schema.first_row(
            connection.execute("SELECT md5(content) FROM kept WHERE name = 'floors_to_look_at'")
        )
        found += f" {marked[0] if marked else ''}"
    # Which jobs are next changes at midnight.
    return f"{found} {dt.date.today()}" if name == "bid" else found


def _live(connection: Any, name: str, result: dict[str, Any]) -> dict[str, Any]:
    """With what changes by the tap: pours under way, and rows set aside."""
    if name != "week":
        return result
    from pourstats.reporting.week import week_review

    now = week_review(
        {}, {}, open_pours=openpours.unfinished(connection),
        set_aside=reading.frame(connection, "set_aside"),
    )  # fmt: skip
    return {**result, "unfinished": now["unfinished"], "set_aside": now["set_aside"]}


def ready(store: Store) -> None:
    """Every answer worked out, if it is not yet; what can't be is left to the page that asks."""
    # The week again, since it repeats what callbacks found.
    for name in (*KINDS, "week"):
        with contextlib.suppress(Refusal):
            answer(store, name)


def watch(store: Store, ended: threading.Event) -> None:
    """Keep every answer ready, whoever changes the store, until ``ended`` is set.

    Modules that pages need are loaded first. A store that is being written is left alone until it
    has been quiet for a moment.
    """
    for module in MODULES:
        importlib.import_module(module)
    seen: object = None
    done: int | None = None
    while not ended.is_set():
        now = _seen(store)
        if now is not None and now != seen and (seen is None or _quiet(store, now, ended)):
            seen = now
            with contextlib.suppress(Refusal):
                with store.read() as connection:
                    counter = schema.meta_number(connection, "change_counter")
                if counter != done:
                    ready(store)
                    done = counter
        ended.wait(LOOK_S)


def _seen(store: Store) -> tuple[int, int, int] | None:
    try:
        found = store.path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size


def _quiet(store: Store, seen: object, ended: threading.Event) -> bool:
    deadline = time.monotonic() + QUIET_S
    while time.monotonic() < deadline:
        if ended.wait(QUIET_S / 6) or _seen(store) != seen:
            return False
    return True
