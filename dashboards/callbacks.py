"""Callbacks: which floors come back, what they cost, what to do."""

import calls
import kept
import look
import streamlit as st
from words import amounts, say, units

from pourstats.learning.callbacks.rare import LEAST_GAPS
from pourstats.reporting.callbacks import (
    SHOWN_BY,
    callbacks_text,
    coming_sentence,
    cost_sentence,
    run_sentence,
    year_sentence,
)
from pourstats.reporting.charts_record import callback_groups, calls_apart, calls_apart_rows
from pourstats.reporting.week_sentences import count_text


def headline(picture: dict) -> str:
    """How many floors came back, of all and of those that count: two numbers that look as if they
    disagreed where they stand apart. Empty before one has."""
    whole, called = picture["whole"], picture["risk"]["called_back"]
    if not called or not whole["pours"]:
        return ""
    count = count_text(called, say("callbacks.floor"), say("callbacks.floors"))
    return say("callbacks.came_back", count=count, pours=whole["pours"],
               called=whole["pours_called_back"])  # fmt: skip


def show() -> None:
    """The page."""
    picture = kept.callbacks(kept.needed())
    if picture["state"] == "no_pours":
        look.empty(say("nav.callbacks"))
        return
    head, cost = headline(picture), amounts(cost_sentence(picture))
    look.answer(say("nav.callbacks"), head or cost)
    told = (
        cost if head else "",
        year_sentence(picture["this_year"]),
        run_sentence(picture["watch"]),
        coming_sentence(picture),
    )
    for line in told:
        if line:
            st.write(look.plain(amounts(line)))
    st.subheader(say("callbacks.do"), anchor=False)
    for advice in picture["advice"]:
        do, because = amounts(advice["do"]), amounts(advice["because"])
        st.markdown(f"- **{look.plain(do)}** {look.plain(because)} "
                    f"({look.plain(advice['source'])})")  # fmt: skip
    st.subheader(say("callbacks.run"), anchor=False)
    apart = calls_apart(picture, look.ink())
    look.draw(apart)
    if apart is None:
        st.write(say("callbacks.few", count=picture["risk"]["called_back"], least=LEAST_GAPS + 1))
    else:
        with st.expander(say("all.behind")):
            look.table(calls_apart_rows(picture), say("callbacks.run"))
    groups = [name for name in picture["by"] if name in SHOWN_BY]
    if groups:
        st.subheader(say("callbacks.by"), anchor=False)
        by = st.pills(say("callbacks.by"), groups, default=groups[0], required=True,
                      label_visibility="collapsed",
                      format_func=lambda name: SHOWN_BY[name].partition(", lb")[0])  # fmt: skip
        drawn = callback_groups(picture, by, units(), look.ink())
        look.draw(drawn)
        if drawn is None:
            st.write(say("callbacks.one_group"))
    calls.log()
    with st.expander(say("all.as_text")):
        st.code(callbacks_text(picture, units()), language=None)


if kept.mark() is None:
    look.empty(say("nav.callbacks"))
else:
    show()
