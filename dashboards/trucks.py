"""Trucks: what waiting has cost, and how far apart to order loads."""

import ahead
import kept
import look
import streamlit as st
from words import say

from pourstats.reporting.answers import trucks_answer
from pourstats.reporting.charts_ahead import truck_spacing, waits_sentence
from pourstats.reporting.trucks import trucks_text

head = st.container()
chosen = ahead.jobs("trucks")
if st.button(say("trucks.work_out"), type="primary", disabled=not chosen):
    st.session_state.trucks = trucks_answer(kept.store(), chosen)
answer = st.session_state.get("trucks")
with head:
    told = "" if answer is None else waits_sentence(answer.result)
    look.answer(say("nav.trucks"), told or say("trucks.answer"))
if answer is not None:
    for note in answer.notes:
        st.warning(look.plain(note))
    for job in answer.result["jobs"]:
        look.draw(truck_spacing(job, look.ink()))
    st.code(trucks_text(answer.result), language=None)
