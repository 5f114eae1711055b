"""Answers kept until the store changes: each is asked for again only when its counter has moved.

The store is opened for each reading and closed at once, so that a load elsewhere can go on. Every
visit is given the same objects: pages read them and change nothing in them.
"""

from pathlib import Path
from typing import Any, NamedTuple

import streamlit as st

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.reporting import ready
from pourstats.store import kept, schema
from pourstats.store.database import Store

# What a table holds beside the log itself changes by every tap; the log doesn't.
BESIDE = ("stamps", "forecasts", "changes", "set_aside", "history")
LOG = tuple(name for name in TABLES if name not in BESIDE)


class Mark(NamedTuple):
    """What a store is at: its path, its file, its change counter, and what its log holds."""

    path: str
    file: int
    counter: int
    log: str


def store() -> Store:
    """The store that these pages show."""
    return Store()


def mark() -> Mark | None:
    """What the store is at; None without a store."""
    record = store()
    if not record.exists():
        return None
    found = record.path.stat()
    seen = st.session_state.get("seen")
    stamp = (str(record.path), found.st_ino, found.st_mtime_ns, found.st_size)
    if seen is not None and seen[0] == stamp:
        return seen[1]
    with record.read() as connection:
        counter = schema.meta_number(connection, "change_counter")
        now = Mark(str(record.path), found.st_ino, counter, kept.state(connection, *LOG))
    st.session_state.seen = (stamp, now)
    return now


def needed() -> Mark:
    """The same, where a page can't do without a store. Raises Refusal."""
    found = mark()
    if found is None:
        raise Refusal("no store", 1)
    return found


def week(at: Mark, ending: Any) -> dict[str, Any]:
    """The weekly review; the latest week's is kept ready."""
    return answer(at, "week") if ending is None else earlier_week(at, ending)


@st.cache_resource(max_entries=40, show_spinner="…")
def earlier_week(at: Mark, ending: Any) -> dict[str, Any]:
    """The review of an earlier week."""
    from pourstats.reporting.week_record import review

    return review(Store(Path(at.path)), ending)


def answer(at: Mark, name: str) -> dict[str, Any]:
    """An answer over the whole record: week, rates, callbacks, patterns."""
    with st.spinner("…"):
        return ready.answer(Store(Path(at.path)), name)


def frame(at: Mark, name: str) -> Any:
    """A log table, book or measure, whole."""
    return _frame(at.path, at.file, at.counter if name in BESIDE else at.log, name)


@st.cache_resource(max_entries=40, show_spinner=False)
def _frame(path: str, file: int, state: object, name: str) -> Any:
    from pourstats.store import reading

    with Store(Path(path)).read() as connection:
        return reading.frame(connection, name)


@st.cache_resource(max_entries=60, show_spinner=False)
def pour(at: Mark, pour_id: str) -> dict[str, Any]:
    """One pour, whole."""
    from pourstats.reporting.pour import pour_whole

    return pour_whole(Store(Path(at.path)), pour_id)


@st.cache_resource(max_entries=60, show_spinner=False)
def people_frame(frame: Any, name: str, system: Any) -> Any:
    """A frame as people read it: units in the heads, numbers rounded."""
    import pandas as pd

    from pourstats.reporting.columns import columns

    shown = columns(frame, name, "plain", system)
    rounded = {
        column.header: [
            round(cell, 2 if abs(cell) < 100 else 0) if isinstance(cell, float) else cell
            for cell in column.cells
        ]
        for column in shown
    }
    return pd.DataFrame(rounded)


def patterns(at: Mark) -> dict[str, Any]:
    """What weather did to the crew's intervals."""
    return answer(at, "patterns")


def callbacks(at: Mark) -> dict[str, Any]:
    """The picture of callbacks."""
    return answer(at, "callbacks")


def rates(at: Mark) -> dict[str, Any]:
    """The rate card. Raises Refusal without pours."""
    return answer(at, "rates")


def bid(
    at: Mark | None, jobs: tuple[str, ...], confidence: float, sets: tuple[tuple[str, str], ...]
) -> dict[str, Any]:
    """Hours and price of jobs, not kept for scoring; those of the next planned jobs are ready."""
    if at is not None and confidence == ready.CONFIDENCE and not sets:
        coming = ready.next_jobs({name: frame(at, name) for name in ("jobs", "pours")})
        if jobs and jobs == tuple(coming["pour_id"].head(ready.NEXT_JOBS)):
            return answer(at, "bid")
    return _bid(None if at is None else (at.path, at.file, at.log), jobs, confidence, sets)


@st.cache_resource(max_entries=60, show_spinner="…")
def _bid(
    at: tuple[str, int, str] | None, jobs: tuple[str, ...], confidence: float,
    sets: tuple[tuple[str, str], ...],
) -> dict[str, Any]:  # fmt: skip
    from pourstats.planning.bid import FRAMES
    from pourstats.planning.bid import bid as worked_out
    from pourstats.reporting.answers import asked

    call = asked(store() if at is None else Store(Path(at[0])), jobs, None, FRAMES)
    return worked_out(call.jobs, call.record, call.house, confidence, None, dict(sets) or None)


@st.cache_resource(max_entries=4, show_spinner=False)
def guarded(at: Mark | None) -> bool:
    """Whether a passcode is set."""
    from pourstats.store import access

    return at is not None and access.guarded(Store(Path(at.path)))
