"""Price a job: hours as odds, the price line by line, what-ifs, and the rate card."""

import ahead
import kept
import look
import streamlit as st
import words
from words import say

from pourstats.logs.forms import form_fields
from pourstats.logs.tables import JOBS
from pourstats.reporting.answers import bid_answer
from pourstats.reporting.bid import bid_text, dollars_text, rates_text
from pourstats.reporting.charts_ahead import bid_hours, part_rows, price_rows
from pourstats.reporting.charts_rates import rate_card_chart, rate_rows

# What a what-if may change, with the choices of the log.
WHAT_IFS = ("placement", "finish", "reinforcement", "exposure")


def typed() -> tuple[str, ...]:
    """A job by form: the least that a price needs."""
    fields = {each.name: each for each in form_fields("jobs", words.language())}
    with st.container(horizontal=True, key="job-form"):
        kind = st.selectbox(
            fields["slab_type"].label,
            fields["slab_type"].choices,
            index=1,
            format_func=lambda value: words.word("slab_type", value),
            width=170,
        )
        area = st.number_input(ahead.with_unit(JOBS.column("area")), min_value=0.0, value=None,
                               format="%.6g", width=150)  # fmt: skip
        thick = st.number_input(ahead.with_unit(JOBS.column("thickness")), min_value=0.0,
                                value=None, width=150, format="%.6g")  # fmt: skip
        hands = st.number_input(fields["hands"].label, min_value=0, value=None, width=190,
                                key="job-hands")  # fmt: skip
        place = st.selectbox(
            fields["placement"].label,
            fields["placement"].choices,
            index=None,
            placeholder="",
            format_func=lambda value: words.word("placement", value),
            width=150,
        )
        finish = st.selectbox(
            fields["finish"].label,
            fields["finish"].choices,
            index=None,
            placeholder="",
            format_func=lambda value: words.word("finish", value),
            width=150,
        )
    if not area or not thick:
        return ()
    return ahead.typed_job({"slab_type": kind, "area": area, "thickness": thick, "hands": hands,
                            "placement": place, "finish": finish})  # fmt: skip


def asked() -> tuple[str, ...]:
    """The job or jobs to price."""
    ways = (say("price.form"), say("price.planned"))
    if len(ahead.stored_jobs()):
        ways = ways[::-1]
    way = st.segmented_control(say("price.which"), ways, default=ways[0], required=True,
                               label_visibility="collapsed")  # fmt: skip
    return typed() if way == say("price.form") else ahead.jobs("price")


def what_ifs() -> dict[str, str]:
    """Changes to hold beside the job as it is."""
    sets: dict[str, str] = {}
    with st.expander(say("price.what_if")), st.container(horizontal=True):
        for name in WHAT_IFS:
            column = JOBS.column(name)
            label = column.spanish if words.language() == "es" else column.english
            value = st.selectbox(
                label,
                column.choices,
                index=None,
                placeholder="",
                key=f"if-{name}",
                width=170,
                format_func=lambda value, name=name: words.word(name, value),
            )
            if value:
                sets[name] = value
        label = JOBS.column("hands")
        label = label.spanish if words.language() == "es" else label.english
        hands = st.number_input(label, min_value=0, value=None, width=190,
                                key="if-hands")  # fmt: skip
        if hands:
            sets["hands"] = str(hands)
    return sets


def price(chosen: tuple[str, ...], head) -> None:
    """The answer."""
    tenths = st.slider(say("price.confidence"), 5, 9, 7, format="%d")
    st.caption(say("price.tenths"))
    sets = what_ifs()
    # Looked at, it is a what-if; kept for scoring only once the button says so.
    result = kept.bid(kept.mark(), chosen, tenths / 10, tuple(sets.items()))
    asks = [
        say("price.ask", pour_id=job["pour_id"], price=dollars_text(job["price_usd"]))
        for job in result["jobs"]
    ]
    with head:
        look.answer(say("nav.price"), "; ".join(asks))
    for job in result["jobs"]:
        look.draw(bid_hours(job, tenths / 10, look.ink()))
        left, right = st.columns([3, 2])
        rows = price_rows(job)
        if rows:
            # The amount first, so that a phone shows it.
            with left:
                amount_first = [{"amount": row["amount"], "line": row["line"]} for row in rows]
                look.table(amount_first, say("price.lines", pour_id=job["pour_id"]))
        else:
            left.info(say("price.no_rate"))
        with right:
            look.table(part_rows(job), say("price.parts", pour_id=job["pour_id"]))
    with st.expander(say("all.as_text")):
        st.code(bid_text(result, words.units()), language=None)
    if not sets and st.button(say("price.keep")):
        bid_answer(kept.store(), chosen, None, tenths / 10)
        st.success(say("price.kept"))


def card() -> None:
    """Rates by kind of floor."""
    mark = kept.mark()
    if mark is not None and len(kept.frame(mark, "pours")):
        found = kept.rates(mark)
        st.subheader(say("price.card"), anchor=False)
        look.draw(rate_card_chart(found, words.units(), look.ink()))
        st.dataframe(rate_rows(found, words.units()), hide_index=True)
        with st.expander(say("all.as_text")):
            st.code(rates_text(found, words.units()), language=None)


head = st.container()
chosen = asked()
if chosen:
    price(chosen, head)
else:
    with head:
        look.answer(say("nav.price"), say("price.answer"))
card()
