"""What pages about jobs ahead ask for: which jobs, and the weather to come."""

import datetime as dt
import hashlib
import tempfile
from pathlib import Path
from typing import Any

import kept
import pandas as pd
import streamlit as st
import words
from words import language, say, units, word

from pourstats.logs.forms import header
from pourstats.logs.tables import JOBS, WEATHER, Column
from pourstats.reporting import ready
from pourstats.units import unit_in

# What a phone's weather page shows, hour by hour.
BY_HAND = ("site", "time", "air_temp", "humidity", "wind", "cloud")


def folder() -> Path:
    """A folder of this visit's own for files that a page makes; gone with the server."""
    if "folder" not in st.session_state:
        st.session_state.folder = tempfile.mkdtemp(prefix="pourstats_")
    return Path(st.session_state.folder)


def saved(file) -> Path:
    """An uploaded file, under its own name."""
    path = folder() / Path(file.name).name
    path.write_bytes(file.getvalue())
    return path


def stored_jobs() -> pd.DataFrame:
    """Jobs that the store has, without those that are poured: the days to come first."""
    mark = kept.mark()
    if mark is None:
        return pd.DataFrame({"pour_id": [], "date": [], "site": [], "slab_type": [], "area": []})
    return ready.next_jobs({name: kept.frame(mark, name) for name in ("jobs", "pours")})


def jobs(key: str) -> tuple[str, ...]:
    """The jobs asked about: stored ones by label, or a file's."""
    known = stored_jobs()
    names = {
        row.pour_id: f"{row.pour_id} · {words.day(row.date.date(), dt.date.today())} · "
        f"{row.site} · {word('slab_type', row.slab_type)}"
        for row in known.itertuples()
    }
    chosen: list[str] = []
    if names:
        chosen = st.multiselect(
            say("ahead.jobs"), list(names), default=list(names)[: ready.NEXT_JOBS],
            format_func=names.get, key=f"{key}-jobs",
        )  # fmt: skip
    given = None
    with st.expander(say("ahead.jobs_file"), expanded=not names):
        given = st.file_uploader(say("ahead.file"), type=["csv", "xlsx"], key=f"{key}-file",
                                 label_visibility="collapsed")  # fmt: skip
        st.caption(say("ahead.jobs_columns"))
    return (str(saved(given)),) if given is not None else tuple(chosen)


def weather(key: str, chosen: tuple[str, ...], required: bool) -> Path | None:
    """The forecast: a file, or a few rows by hand."""
    ways = (say("ahead.by_hand"), say("ahead.by_file"))
    if not required:
        ways = (say("ahead.no_weather"), *ways)
    way = st.segmented_control(say("ahead.weather"), ways, default=ways[0], key=f"{key}-way",
                               required=True)  # fmt: skip
    if way == say("ahead.by_file"):
        given = st.file_uploader(say("ahead.file"), type=["csv", "xlsx"], key=f"{key}-sky",
                                 label_visibility="collapsed")  # fmt: skip
        return None if given is None else saved(given)
    if way != say("ahead.by_hand"):
        return None
    columns = {name: header(WEATHER.column(name), shown_unit(name)) for name in BY_HAND}
    edited = st.data_editor(
        blank(chosen).rename(columns=columns), num_rows="dynamic", hide_index=True,
        key=f"{key}-rows-{'-'.join(chosen)[:60]}-{units()}",
        column_config={head: by_hand(name) for name, head in columns.items()},
    )  # fmt: skip
    st.caption(say("ahead.by_hand_hint"))
    filled = edited[edited[columns["air_temp"]].astype(str).str.strip().ne("")].dropna(how="all")
    if filled.empty:
        return None
    path = folder() / f"{key}_weather.csv"
    filled.to_csv(path, index=False)
    return path


def work_out(name: str, chosen: tuple[str, ...], sky: Path | None, *more: object,
             required: bool = True) -> tuple[bool, object]:  # fmt: skip
    """The button that asks for an answer, and what the answer is for: jobs, weather, and more.

    Where something is missing it is said, rather than only a dead button shown.
    """
    asked = (chosen, sky.read_bytes() if sky else None, *more)
    lacks = "jobs" if not chosen else "weather" if required and sky is None else None
    pressed = st.button(say(f"{name}.work_out"), type="primary", disabled=lacks is not None)
    if lacks:
        st.caption(say(f"ahead.first_{lacks}"))
    return pressed, asked


def keep(name: str, asked: object, answer: object) -> None:
    """Keep an answer with what it was asked for."""
    st.session_state[name] = (asked, answer)


def answer_to(name: str, asked: object) -> Any:
    """The answer, if it was asked for that; what was worked out for other jobs or another sky is
    shown no more."""
    before, answer = st.session_state.get(name, (None, None))
    if answer is not None and before != asked:
        st.info(say("ahead.changed"))
        return None
    return answer


def shown_unit(name: str) -> str | None:
    """The unit in which a column of the weather is asked for."""
    unit = WEATHER.column(name).unit
    return unit_in(unit, units()) if unit else None


def by_hand(name: str) -> str:
    """What the table to fill in calls a column of the weather."""
    column = WEATHER.column(name)
    label = column.spanish if language() == "es" else column.english
    return words.with_unit(label, column.unit) if column.unit else label


def blank(chosen: tuple[str, ...]) -> pd.DataFrame:
    """Five rows to fill in, with site and hours of the first job."""
    known = stored_jobs()
    mine = known[known["pour_id"].isin(chosen)]
    site, day = ("", "")
    if len(mine):
        site, day = str(mine.iloc[0]["site"]), f"{mine.iloc[0]['date']:%Y-%m-%d}"
    hours = ("06:00", "09:00", "12:00", "15:00", "18:00")
    rows = [{"site": site, "time": f"{day} {hour}".strip(), "air_temp": "", "humidity": "",
             "wind": "", "cloud": ""} for hour in hours]  # fmt: skip
    return pd.DataFrame(rows, dtype=str)


def with_unit(column: Column) -> str:
    """A column's label with the unit in which it is asked for."""
    label = column.spanish if language() == "es" else column.english
    return words.with_unit(label, column.unit or "")


def typed_job(about: dict[str, object]) -> tuple[str, ...]:
    """A job given by a form, as a jobs file whose heads carry the units."""
    job = {"pour_id": say("price.this_job"), "date": f"{dt.date.today():%Y-%m-%d}", "site": "-"}
    heads = [
        header(
            JOBS.column(name), unit_in(unit, units()) if (unit := JOBS.column(name).unit) else ""
        )
        for name in about
    ]
    row = [*job.values(), *("" if value is None else str(value) for value in about.values())]
    # A name by its content, so that the same job is worked out once.
    mark = hashlib.md5("|".join([*heads, *row]).encode()).hexdigest()[:12]
    path = folder() / f"job_{mark}.csv"
    pd.DataFrame([row], columns=[*job, *heads]).to_csv(path, index=False)
    return (str(path),)
