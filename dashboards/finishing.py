"""Finishing and weather: tomorrow's clock, and what weather has done to our intervals."""

import ahead
import kept
import look
import streamlit as st
from words import amounts, say, units

from pourstats.reporting.answers import finishing_answer
from pourstats.reporting.charts_ahead import cautions_of, finishing_clock
from pourstats.reporting.charts_record import weather_effects
from pourstats.reporting.finishing import finishing_text


def clock(head) -> None:
    """The clock of the jobs asked about."""
    chosen = ahead.jobs("finishing")
    sky = ahead.weather("finishing", chosen, required=True)
    pressed, asked = ahead.work_out("finishing", chosen, sky)
    if pressed:
        ahead.keep("clock", asked, finishing_answer(kept.store(), chosen, sky))
    answer = ahead.answer_to("clock", asked)
    with head:
        if answer is None:
            look.answer(say("nav.finishing"), say("finishing.answer"))
            return
        drawn = [finishing_clock(job, look.ink()) for job in answer.result["jobs"]]
        look.answer(say("nav.finishing"), told(answer.result["jobs"]) or drawn[0].title)
    for note in answer.notes:
        st.warning(look.plain(amounts(note)))
    for each in drawn:
        look.draw(each)
    for line in cautions_of(answer.result):
        st.markdown(f"- {look.plain(amounts(line))}")
    with st.expander(say("all.as_text")):
        st.code(amounts(finishing_text(answer.result)), language=None)


def told(jobs: list[dict]) -> str:
    """When each of several slabs takes the machine; of one its chart says it all."""
    if len(jobs) < 2:
        return ""
    return "; ".join(
        say("finishing.on_it", pour_id=job["pour_id"], time=job["first_pass"]["p50"][11:16])
        for job in jobs
    )


def past() -> None:
    """What weather did, from the crew's own log."""
    mark = kept.mark()
    if mark is None:
        return
    found = kept.patterns(mark)
    st.subheader(say("finishing.past"), anchor=False)
    for name in ("first_pass", "gaps"):
        if found[name]["says"]:
            st.write(look.plain(amounts(found[name]["says"])))
        look.draw(weather_effects(found, name, units(), look.ink()))
    for advice in found["start_earlier"]:
        do, because = amounts(advice["do"]), amounts(advice["because"])
        st.markdown(f"- **{look.plain(do)}** {look.plain(because)}")


clock(st.container())
past()
