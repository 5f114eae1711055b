"""This week: what got done, against usual; what stood out and why."""

from datetime import date, timedelta

import kept
import look
import streamlit as st
import words
from words import say

from pourstats.reporting.charts import figure_rows, week_control, week_floors
from pourstats.reporting.page_html import week_html
from pourstats.reporting.sheet_week import week_pdf
from pourstats.reporting.week import week_text
from pourstats.reporting.week_sentences import against_lines, day_text, reason_text, standout_text
from pourstats.reporting.week_trend import because_text


def step(days: int, span: dict[str, str]) -> None:
    """To the week before or after; the latest has the bare address, so that it stays the latest."""
    wanted = date.fromisoformat(span["start"]) + timedelta(days=days)
    if wanted + timedelta(days=6) >= date.fromisoformat(span["latest_pour"]):
        st.query_params.pop("week", None)
    else:
        st.query_params["week"] = wanted.isoformat()


def week_of() -> date | None:
    """The week in the address, so that a reload shows it again; None for the latest."""
    try:
        asked = date.fromisoformat(st.query_params["week"])
    except (KeyError, ValueError):
        return None
    # No log has days outside these (as the reader takes dates).
    return asked if 1970 <= asked.year <= 2199 else None


def on_pages(text: str) -> str:
    """An advice that names a command, with the name of its page instead."""
    for name in ("plan", "trucks", "finishing", "callbacks"):
        text = text.replace(f"`pourstats {name}`", say("week.page", name=say(f"nav.{name}")))
    return text.replace("`", "")


def to_do(review: dict, units: str) -> None:
    """What to change next week and why, and whether the crew is getting better."""
    if review["changes"]:
        st.subheader(say("week.changes"), anchor=False)
    for place, change in enumerate(review["changes"], 1):
        st.markdown(f"{place}\\. **{look.plain(on_pages(change['do']))}**")
        because = because_text(change["why"], units)
        st.caption(look.plain(say("week.because", why=because)))
    if review["trend"]:
        st.subheader(say("week.better"), anchor=False)
        trend = review["trend"]
        st.markdown(f"**{look.plain(trend['answer'])}.** {look.plain(trend['sentence'])}")


def figures(rows: list[dict[str, str]]) -> list[dict[str, object]]:
    """The week's figures: where one is off stands in the week's own column, and how many weeks a
    usual rests on in a narrow one, for a phone's sake; no usual, no columns of it."""
    judged = any(row["usual"] for row in rows)
    told: list[dict[str, object]] = []
    for row in rows:
        off = f" ({row['']})" if row[""] else ""
        usual, _, rests = row["usual"].partition(" (of ")
        line: dict[str, object] = {say("week.figure"): row["figure"],
                                   say("week.this_week"): row["this week"] + off}  # fmt: skip
        if judged:
            weeks = rests.removesuffix(")").removesuffix(" weeks")
            line |= {say("week.usual"): usual, say("week.weeks"): weeks}
        told.append(line)
    return told


def show() -> None:
    """The page."""
    units = words.units()
    review = kept.week(kept.needed(), week_of())
    span = review["week"]
    look.answer(
        f"{say('nav.week')}: {day_text(span['start'])} – {day_text(span['end'], year=True)}",
        review["headline"]["sentence"],
    )
    with st.container(horizontal=True, vertical_alignment="center"):
        look.link("log_pour.py", "week.log")
        st.button(say("week.before"), on_click=step, args=(-7, span))
        if span["end"] < span["latest_pour"]:
            st.button(say("week.after"), on_click=step, args=(7, span))
    look.draw(week_floors(review, units, look.ink()))
    against = against_lines(review, units)
    for line in against:
        st.caption(look.plain(line))
    if any(line.startswith("Par:") for line in against):
        st.caption(say("week.par"))
    st.subheader(say("week.stood_out"), anchor=False)
    if not review["stands_out"]:
        st.write(say("week.nothing"))
    for place, item in enumerate(review["stands_out"], 1):
        ordinary = "" if item["news"] else say("week.ordinary") + " "
        st.markdown(f"{place}\\. {ordinary}{look.plain(standout_text(item, units))}")
        because = reason_text(item, units)
        if because:
            st.caption(look.plain(because))
    to_do(review, units)
    for pour in review["unfinished"]:
        st.info(look.plain(say("week.open", pour_id=pour["pour_id"],
                               missing=", ".join(pour["missing"]).replace("_", " "))))  # fmt: skip
    if review["set_aside"]["rows"]:
        st.info(say("week.aside", rows=review["set_aside"]["rows"]))
    rows = figure_rows(review, units)
    if rows:
        judged = any(row["usual"] for row in rows)
        head = say("week.figures" if judged else "week.figures_alone")
        st.subheader(head, anchor=False)
        look.table(figures(rows), head)
    look.draw(week_control(review, look.ink()))
    with st.expander(say("week.whole")):
        st.code(week_text(review, units=units), language=None)
    with st.container(horizontal=True):
        named = f"week_{span['start']}"
        st.download_button(say("week.pdf"), lambda: week_pdf(review, units), f"{named}.pdf",
                           "application/pdf", on_click="ignore")  # fmt: skip
        st.download_button(say("week.html"), lambda: week_html(review, units), f"{named}.html",
                           "text/html", on_click="ignore")  # fmt: skip


if kept.mark() is None or kept.frame(kept.needed(), "pours").empty:
    look.empty(say("nav.week"))
else:
    show()
