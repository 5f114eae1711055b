"""Plan the day: who goes where, when each pour starts, and the ready windows behind."""

import ahead
import kept
import look
import streamlit as st
import tapping
import words
from words import amounts, say

from pourstats.reporting.charts_day import day_chart
from pourstats.reporting.day import plan_text
from pourstats.reporting.planned import (
    MACHINES,
    machines_in_force,
    plan_answer,
    set_machines,
    write_calendar,
)
from pourstats.reporting.sheet_day import day_pdf
from pourstats.settings import RULES


def counts() -> dict[str, int | None]:
    """Trowels, saws and vehicles for this plan; as the house has them until they are changed."""
    own = machines_in_force(kept.store())
    given: dict[str, int | None] = {}
    with st.container(horizontal=True, key="machines"):
        for name in MACHINES:
            rule = RULES[name]
            of_house, usual = own[name]
            given[name] = st.number_input(
                say(f"plan.{name}"), min_value=int(rule.low or 0), max_value=int(rule.high or 50),
                value=usual if of_house is None else of_house, step=1, width=170,
                key=f"machines-{name}-{of_house}",
            )  # fmt: skip
            if of_house is None and given[name] == usual:
                given[name] = None
    if given["vehicles"] is None:
        st.caption(say("plan.by_people"))
    if given != {name: of_house for name, (of_house, _) in own.items()}:
        st.caption(say("plan.what_if"))
        if st.session_state.get("role") == "office":
            st.button(say("plan.set"), on_click=set_machines, args=(kept.store(), given))
    return given


head = st.container()
chosen = ahead.jobs("plan")
sky = ahead.weather("plan", chosen, required=True)
crew = tapping.crew()
off = tuple(st.pills(say("plan.off"), crew, selection_mode="multi", format_func=look.plain)
            if crew else ())  # fmt: skip
machines = counts()
pressed, asked = ahead.work_out("plan", chosen, sky, off, tuple(machines.values()))
if pressed:
    with st.spinner(say("plan.wait")):
        told = plan_answer(kept.store(), chosen, sky, off, machines=machines)
        ahead.keep("plan", asked, told)
answer = ahead.answer_to("plan", asked)
drawn = [day_chart(day, look.ink()) for day in answer.result["days"]] if answer else []
titles = [each.title for each in drawn if each is not None]
with head:
    look.answer(say("nav.plan"), "; ".join(titles) or say("plan.answer"))
if answer is not None:
    for note in answer.notes:
        st.warning(look.plain(amounts(note)))
    # What the second best plan costs more, and why, is the office's alone to read.
    office = st.session_state.get("role") == "office"
    for place, (day, each) in enumerate(zip(answer.result["days"], drawn, strict=True)):
        for line in day["too_much"] if office else day["too_much"][:1]:
            st.warning(look.plain(amounts(line)))
        for out in day["unplanned"]:
            st.warning(look.plain(say("plan.unplanned", reason=amounts(out["reason"]))))
        # A day has more on its line than a phone is wide: it scrolls sideways.
        with st.container(key=f"wide-{place}"):
            look.draw(each)
    file = ahead.folder() / "day.ics"
    write_calendar(kept.store(), answer.result, file)
    with st.container(horizontal=True):
        st.download_button(say("plan.calendar"), file.read_bytes(), "day.ics", "text/calendar")
    text = amounts(plan_text(answer.result, costs=office))
    with st.container(horizontal=True):
        st.download_button(say("plan.pdf"), lambda: day_pdf(answer.result, words.units()),
                           "day.pdf", "application/pdf", on_click="ignore")  # fmt: skip
        st.download_button(say("plan.sheet"), text, "day.txt")
    look.text(text)
