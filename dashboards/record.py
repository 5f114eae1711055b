"""The record: every pour, one pour whole, what is set aside, and what can be taken back."""

import kept
import look
import streamlit as st
import words
from words import say

from pourstats.faults import Refusal
from pourstats.reporting.charts_pour import pour_day, pour_weather
from pourstats.reporting.pour import pour_text
from pourstats.reporting.sheet_pour import pour_pdf
from pourstats.reporting.week_sentences import count_text
from pourstats.store import history

# What the list of pours shows; the one pour shows all.
LISTED = (
    "pour_id", "date", "site", "slab_type", "area_ft2", "placed_yd3", "labor_h", "crew_h",
    "ft2_per_labor_h", "yd3_per_crew_h",
)  # fmt: skip


def choose(pour_id: str | None) -> None:
    """To one pour, or back to all."""
    if pour_id is None:
        st.query_params.pop("pour", None)
    else:
        st.query_params["pour"] = pour_id


def picked(frame) -> None:
    """The row that was clicked."""
    selected = st.session_state.pours_list["selection"]
    rows = [*selected["rows"], *(row for row, _ in selected["cells"])]
    if rows:
        choose(str(frame["pour_id"].iloc[rows[0]]))


def every() -> None:
    """The list, to search."""
    frame = kept.frame(kept.needed(), "pour_output")
    aside = kept.frame(kept.needed(), "set_aside")
    if frame.empty and aside.empty:
        look.empty(say("nav.record"))
        changes()
        return
    look.answer(
        say("nav.record"),
        say("record.count", pours=count_text(len(frame), say("record.pour"), say("record.pours"))),
    )
    wanted = st.text_input(say("record.search"), key="search", placeholder=say("record.hint"))
    newest = frame.sort_values(["date", "pour_id"], ascending=False)
    if wanted:
        text = newest[["pour_id", "date", "site", "slab_type"]].astype(str).agg(" ".join, axis=1)
        newest = newest[text.str.contains(wanted, case=False, regex=False)]
    if newest.empty:
        st.write(say("record.no_hit", wanted=look.plain(wanted)))
        changes()
        return
    shown = newest[[name for name in LISTED if name in newest]]
    people = kept.people_frame(shown, "pour_output", words.units())
    st.dataframe(
        people, hide_index=True, key="pours_list", on_select=lambda: picked(newest),
        selection_mode=["single-row", "single-cell"], row_height=44,
        height=420 if len(people) > 8 else "content",
        column_config={name: name.replace("_", " ") for name in people.columns},
    )  # fmt: skip
    st.caption(say("record.choose"))
    if len(aside):
        st.subheader(say("record.aside", rows=len(aside)), anchor=False)
        st.dataframe(aside[["file", "line", "column", "value", "reason"]], hide_index=True)
        st.caption(say("record.mend"))
        look.link("upload.py", "all.upload_link")
    changes()


def changes() -> None:
    """What was done to the store, the last first, and the last one back."""
    done = kept.frame(kept.needed(), "changes")
    standing = done[done["undone_at"].isna()]
    if len(done):
        st.subheader(say("record.changes"), anchor=False)
    if len(standing):
        last = standing.iloc[-1]
        what = f"{last['command']} {last['detail']}"
        with st.popover(look.plain(say("record.undo", what=what))):
            st.write(say("record.undo_sure"))
            st.button(say("record.undo_it"), on_click=take_back, type="primary")
    if "undone" in st.session_state:
        st.success(look.plain(st.session_state.pop("undone")))
    if len(done):
        names = ("noted_at", "command", "detail", "undone_at")
        listed = done.iloc[::-1][list(names)].head(50)
        for name in ("noted_at", "undone_at"):
            listed[name] = [f"{at:%Y-%m-%d %H:%M}" if at == at else "" for at in listed[name]]
        st.dataframe(
            listed, hide_index=True, height=240 if len(done) > 5 else "content",
            column_config={name: say(f"record.{name}") for name in names},
        )  # fmt: skip


def take_back() -> None:
    """The last change back."""
    st.session_state.undone = history.undo(kept.store())


def delete(pour_id: str) -> None:
    """A pour away with its rows."""
    counts = history.delete(kept.store(), pour_id)
    rows = ", ".join(f"{count} {name}" for name, count in counts.items())
    st.session_state.undone = say("record.deleted", pour_id=pour_id, rows=rows)
    choose(None)


def one(pour_id: str) -> None:
    """One pour, whole."""
    units = words.units()
    st.button(say("record.back"), on_click=choose, args=(None,))
    try:
        found = kept.pour(kept.needed(), pour_id)
    except Refusal as error:
        look.answer(say("nav.record"), say("record.unknown", pour_id=pour_id))
        st.error(look.plain(error))
        return
    text = pour_text(found, units)
    look.answer(say("nav.record"), text.splitlines()[0])
    look.draw(pour_day(found, units, look.ink()))
    look.draw(pour_weather(found, kept.frame(kept.needed(), "weather"), units, look.ink()))
    look.text("\n".join(text.splitlines()[1:]).strip(), fixed=("LOADS", "PASSES"))
    st.download_button(say("record.pdf"), lambda: pour_pdf(found, units), f"pour_{pour_id}.pdf",
                       "application/pdf", on_click="ignore")  # fmt: skip
    with st.popover(say("record.delete")):
        st.write(say("record.sure"))
        st.button(say("record.delete_it"), on_click=delete, args=(pour_id,), type="primary")


if kept.mark() is None:
    look.empty(say("nav.record"))
elif st.query_params.get("pour"):
    one(st.query_params["pour"])
else:
    every()
