"""Answers kept until the store changes: each is asked for again only when its counter has moved.

The store is opened for each reading and closed at once, so that a load elsewhere can go on. Every
visit is given the same objects: pages read them and change nothing in them.
"""

from pathlib import Path
from typing import Any

import streamlit as st

from pourstats.faults import Refusal
from pourstats.store import schema
from pourstats.store.database import Store

Mark = tuple[str, int, int]


def store() -> Store:
    """The store that these pages show."""
    return Store()


def mark() -> Mark | None:
    """What the store is at: its path, its file, its change counter; None without a store."""
    record = store()
    if not record.exists():
        return None
    found = record.path.stat()
    seen = st.session_state.get("seen")
    if seen is not None and seen[:2] == (str(record.path), (found.st_ino, found.st_mtime_ns)):
        return seen[2]
    with record.read() as connection:
        counter = schema.meta_number(connection, "change_counter")
    now = (str(record.path), found.st_ino, counter)
    st.session_state.seen = (str(record.path), (found.st_ino, found.st_mtime_ns), now)
    return now


def needed() -> Mark:
    """The same, where a page can't do without a store. Raises Refusal."""
    found = mark()
    if found is None:
        raise Refusal("no store", 1)
    return found


@st.cache_resource(max_entries=40, show_spinner="…")
def week(at: Mark, ending: Any) -> dict[str, Any]:
    """The weekly review."""
    from pourstats.reporting.week_record import review

    return review(Store(Path(at[0])), ending)


@st.cache_resource(max_entries=40, show_spinner=False)
def frame(at: Mark, name: str) -> Any:
    """A log table, book or measure, whole."""
    from pourstats.store import reading

    with Store(Path(at[0])).read() as connection:
        return reading.frame(connection, name)


@st.cache_resource(max_entries=60, show_spinner=False)
def pour(at: Mark, pour_id: str) -> dict[str, Any]:
    """One pour, whole."""
    from pourstats.reporting.pour import pour_whole

    return pour_whole(Store(Path(at[0])), pour_id)


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


@st.cache_resource(max_entries=10, show_spinner="…")
def patterns(at: Mark) -> dict[str, Any]:
    """What weather did to the crew's intervals."""
    from pourstats.reporting.answers import patterns_answer

    return patterns_answer(Store(Path(at[0]))).result


@st.cache_resource(max_entries=10, show_spinner="…")
def callbacks(at: Mark) -> dict[str, Any]:
    """The picture of callbacks."""
    from pourstats.reporting.answers import callbacks_answer

    return callbacks_answer(Store(Path(at[0]))).result


@st.cache_resource(max_entries=10, show_spinner="…")
def rates(at: Mark) -> dict[str, Any]:
    """The rate card."""
    from pourstats.reporting.answers import rate_card_answer

    return rate_card_answer(Store(Path(at[0]))).result


@st.cache_resource(max_entries=60, show_spinner="…")
def bid(
    at: Mark | None, jobs: tuple[str, ...], confidence: float, sets: tuple[tuple[str, str], ...]
) -> dict[str, Any]:
    """Hours and price of jobs, not kept for scoring."""
    from pourstats.planning.bid import FRAMES
    from pourstats.planning.bid import bid as worked_out
    from pourstats.reporting.answers import asked

    call = asked(store() if at is None else Store(Path(at[0])), jobs, None, FRAMES)
    return worked_out(call.jobs, call.record, call.house, confidence, None, dict(sets) or None)


@st.cache_resource(max_entries=4, show_spinner=False)
def guarded(at: Mark | None) -> bool:
    """Whether a passcode is set."""
    from pourstats.store import access

    return at is not None and access.guarded(Store(Path(at[0])))
