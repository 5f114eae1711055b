"""Trucks: what waiting has cost, and how far apart to order loads."""

import ahead
import kept
import look
import streamlit as st
from words import amounts, say

from pourstats.reporting.answers import trucks_answer
from pourstats.reporting.charts_ahead import truck_spacing, waits_sentence
from pourstats.reporting.charts_rates import (
    WAITS_BY,
    past_waits_rows,
    past_waits_sentence,
    waits_by,
)
from pourstats.reporting.trucks import loads_told, order_rows, trucks_text


def so_far() -> dict | None:
    """The waits of the loads logged; None without any."""
    mark = kept.mark()
    return None if mark is None else kept.answer(mark, "waits")["past"]


def past() -> None:
    """What waits have been and cost so far."""
    found = so_far()
    if found is None:
        return
    st.subheader(say("trucks.so_far"), anchor=False)
    look.table(past_waits_rows(found), say("trucks.so_far"))
    by = st.segmented_control(say("trucks.by"), list(WAITS_BY), default="plant", required=True,
                              format_func=WAITS_BY.get)  # fmt: skip
    drawn = waits_by(found, by, look.ink())
    look.draw(drawn)
    if drawn is None:
        st.write(say("trucks.one_group"))


head = st.container()
chosen = ahead.jobs("trucks")
pressed, asked = ahead.work_out("trucks", chosen, None, required=False)
if pressed:
    ahead.keep("trucks", asked, trucks_answer(kept.store(), chosen))
answer = ahead.answer_to("trucks", asked)
with head:
    told = "" if answer is None else waits_sentence(answer.result)
    look.answer(say("nav.trucks"), told or past_waits_sentence(so_far()) or say("trucks.answer"))
if answer is not None:
    for note in answer.notes:
        st.warning(look.plain(amounts(note)))
    for job in answer.result["jobs"]:
        order = amounts(f"{job['order_yd3']:g} yd³")
        st.subheader(look.plain(f"{job['pour_id']}: {order}, {loads_told(job)}"), anchor=False)
        rows = [{name: amounts(cell) for name, cell in row.items()} for row in order_rows(job)]
        look.table(rows, order)
        look.draw(truck_spacing(job, look.ink()))
    with st.expander(say("all.as_text")):
        st.code(amounts(trucks_text(answer.result)), language=None)
past()
