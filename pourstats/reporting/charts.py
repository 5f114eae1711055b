"""How every chart looks, and the weekly review's charts.

Charts are Altair charts of what commands print. Colours are Okabe and Ito's (2008), which people
with the common kinds of colour blindness tell apart; shape or a word always says the same again.
Each chart comes with its finding as title and a text that says what it shows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from pourstats.reporting.week_sentences import day_text, floor_word, hours_text, shown, unit_text
from pourstats.reporting.week_words import number_text
from pourstats.units import System

BLUE, SKY, GREEN, ORANGE, VERMILLION, PURPLE, YELLOW = (
    "#0072B2", "#56B4E9", "#009E73", "#E69F00", "#D55E00", "#CC79A7", "#F0E442",
)  # fmt: skip
"""Okabe and Ito 2008, jfly.uni-koeln.de/color."""


@dataclass(frozen=True)
class Ink:
    """Colours that depend on whether the page is light or dark; contrast at least 4.5 to 1."""

    text: str
    quiet: str
    band: str
    line: str
    mark: str


LIGHT = Ink(text="#1B1F23", quiet="#565C63", band="#CBD3DA", line="#E2E2DD", mark=BLUE)
DARK = Ink(text="#ECEBE6", quiet="#B4B9BE", band="#4A545D", line="#353B41", mark=SKY)


@dataclass(frozen=True)
class Drawn:
    """A chart, the finding that it shows, how to read it, and all of it in words for those who
    can't see it. The title stands outside the picture, where it wraps on a phone."""

    chart: alt.TopLevelMixin
    title: str
    reading: str
    words: str


def ink(dark: bool) -> Ink:
    """The page's ink."""
    return DARK if dark else LIGHT


def over(rows: Sequence[Mapping[str, Any]]) -> alt.Chart:
    """A chart over plain rows; times in them are local ISO text."""
    return alt.Chart(alt.Data(values=list(rows)))  # type: ignore[no-untyped-call]


def clock_axis(**more: Any) -> alt.Axis:
    """An axis of hours and minutes whose labels keep apart, however long the day and narrow the
    page."""
    return alt.Axis(format="%H:%M", labelOverlap=True, labelSeparation=10, **more)


def dressed(chart: alt.TopLevelMixin, page: Ink) -> alt.TopLevelMixin:
    """The chart in the page's ink, on no ground of its own."""
    found: alt.TopLevelMixin = (
        chart.properties(background="transparent", padding={"left": 0, "right": 8, "top": 4,
                                                            "bottom": 0})
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=page.text, titleColor=page.quiet, gridColor=page.line, domainColor=page.line,
            tickColor=page.line, labelFontSize=12, titleFontSize=12, titleFontWeight="normal",
            labelLimit=320, labelPadding=7,
        )
        .configure_axisXQuantitative(tickCount=alt.ExprRef("ceil(width / 90)"))
        .configure_text(color=page.text, fontSize=12)
        .configure_header(labelColor=page.text, titleColor=page.quiet)
    )  # fmt: skip
    return found


VERDICTS = {
    None: "no usual yet", "usual": "as usual", "slow": "over", "far_slow": "far over",
    "fast": "under", "far_fast": "far under",
}  # fmt: skip


def week_floors(review: Mapping[str, Any], system: System, dark: bool = False) -> Drawn | None:
    """Each floor's hours on the range that such floors usually take; None without hours."""
    page = ink(dark)
    rows = []
    for pour in review["pours"]:
        if pour["labor_h"] is None:
            continue
        area = number_text(shown(pour["area_ft2"], "ft2", system), 0)
        rows.append({
            "floor": f"{day_text(pour['date'])[:3]}  {area} {unit_text('ft2', system)}"
            f" {floor_word(pour['slab_type'])}, {pour['pour_id']}",
            "spent": pour["labor_h"], "usual": pour["usual_h"], "low": pour["usual_low_h"],
            "high": pour["usual_high_h"], "verdict": VERDICTS.get(pour["verdict"], "as usual"),
            "label": f"{hours_text(pour['labor_h'])} h",
        })  # fmt: skip
    if not rows:
        return None
    judged = [row for row in rows if row["usual"] is not None]
    off = [row for row in judged if row["verdict"] != "as usual"]
    title = (
        f"{_floors(len(rows))}: hours, with no usual to hold them against yet"
        if not judged
        else "Every floor took what such floors usually take"
        if not off
        else f"{len(off)} of {_floors(len(judged))} took other than usual"
    )
    subtitle = "Dot: labor-hours spent."
    if judged:
        subtitle += " Bar: eight such floors in ten; tick: the middle."
    names = [row["floor"] for row in rows]
    y = alt.Y("floor:N", sort=names, title=None, axis=alt.Axis(ticks=False, domain=False))
    most = max(max(row["spent"], row["high"] or 0.0) for row in rows)
    # Room for the label behind the longest bar, on a phone too.
    x = alt.X("spent:Q", title="labor-hours", scale=alt.Scale(domain=[0, 1.3 * most]))
    base = over(rows)
    layers: list[Any] = []
    if judged:
        layers.append(base.mark_bar(height=14, color=page.band, cornerRadius=3)
                      .encode(y=y, x=alt.X("low:Q", title="labor-hours"), x2="high:Q"))  # fmt: skip
        layers.append(base.mark_tick(thickness=2, size=18, color=page.quiet)
                      .encode(y=y, x="usual:Q"))  # fmt: skip
    colour = alt.Color(
        "verdict:N", legend=None,
        scale=alt.Scale(
            domain=list(VERDICTS.values()),
            range=[page.quiet, page.mark, ORANGE, VERMILLION, GREEN, GREEN],
        ),
    )  # fmt: skip
    shape = alt.Shape(
        "verdict:N", legend=None,
        scale=alt.Scale(
            domain=list(VERDICTS.values()),
            range=["circle", "circle", "triangle-right", "triangle-right", "triangle-left",
                   "triangle-left"],
        ),
    )  # fmt: skip
    layers.append(
        base.mark_point(filled=True, size=150, opacity=1).encode(
            y=y, x=x, color=colour, shape=shape,
            tooltip=[alt.Tooltip("floor:N"), alt.Tooltip("label:N", title="spent"),
                     alt.Tooltip("verdict:N", title="against usual")],
        )
    )  # fmt: skip
    for row in rows:
        beyond = [value for value in (row["spent"], row["high"]) if value is not None]
        row["right"] = max(beyond)
        row["told"] = row["label"] if row["verdict"] in ("as usual", "no usual yet") else (
            f"{row['label']}, {row['verdict']}")  # fmt: skip
    layers.append(
        base.mark_text(align="left", dx=10, fontSize=12, color=page.text).encode(
            y=y, x="right:Q", text="told:N"
        )
    )
    chart = alt.layer(*layers).properties(height=36 * len(rows), width="container")
    words = f"{title}. " + "; ".join(
        f"{row['floor']}: {row['label']}"
        + (f", usually {hours_text(row['low'])} to {hours_text(row['high'])}" if row["low"] else "")
        for row in rows
    )  # fmt: skip
    return Drawn(dressed(chart, page), title, subtitle, words)


def _floors(count: int) -> str:
    return f"{count} floor" if count == 1 else f"{count} floors"


def week_control(review: Mapping[str, Any], dark: bool = False) -> Drawn | None:
    """Hours over usual, floor after floor, with the range of ordinary ups and downs."""
    control = review["control"]
    if not control or not control["points"]:
        return None
    page = ink(dark)
    points = [
        {"order": i, "date": p["date"], "ratio": p["ratio"], "pour": p["pour_id"],
         "when": "this week" if p["in_week"] else "earlier",
         "beyond": not control["lower"] <= p["ratio"] <= control["upper"]}
        for i, p in enumerate(control["points"])
    ]  # fmt: skip
    now = [p for p in points if p["when"] == "this week"]
    out = [p for p in now if p["beyond"]]
    title = (
        "This week stayed within the crew's ordinary ups and downs"
        if not out
        else f"{len(out)} of this week's {_floors(len(now))} lies beyond ordinary ups and downs"
    )
    subtitle = (
        f"Hours spent over usual hours, floor after floor; band: {control['lower']:.2f} to "
        f"{control['upper']:.2f} times, from the last {control['pours']} floors."
    )
    base = over(points)
    band = (
        over([{"low": control["lower"], "high": control["upper"]}])
        .mark_rect(color=page.band, opacity=0.55)
        .encode(y=alt.Y("low:Q", title="times the usual hours"), y2="high:Q")
    )
    middle = (
        over([{"at": control["centre"]}])
        .mark_rule(color=page.quiet, strokeDash=[4, 3])
        .encode(y="at:Q")
    )
    x = alt.X("order:Q", title=None, axis=None, scale=alt.Scale(nice=False, padding=12))
    dots = base.mark_point(filled=True, opacity=1).encode(
        x=x, y=alt.Y("ratio:Q"),
        color=alt.Color("when:N", legend=None, scale=alt.Scale(
            domain=["earlier", "this week"], range=[page.quiet, page.mark])),
        size=alt.condition("datum.when == 'this week'", alt.value(150), alt.value(38)),
        shape=alt.condition("datum.beyond", alt.value("triangle-up"), alt.value("circle")),
        tooltip=[alt.Tooltip("pour:N"), alt.Tooltip("date:N"),
                 alt.Tooltip("ratio:Q", format=".2f", title="times usual")],
    )  # fmt: skip
    names = (
        base.transform_filter("datum.beyond")
        .mark_text(dy=-13, fontSize=11, color=page.text)
        .encode(x=x, y="ratio:Q", text="pour:N")
    )
    chart = alt.layer(band, middle, dots, names).properties(height=210, width="container")
    return Drawn(dressed(chart, page), title, subtitle, f"{title}. {subtitle}")


def figure_rows(review: Mapping[str, Any], system: System) -> list[dict[str, str]]:
    """The week's figures as a table for people: what, this week, usual, and where it is off."""
    from pourstats.reporting.week_sentences import figure_label, figure_span, figure_value
    from pourstats.reporting.week_words import FIGURE_ROWS

    rows = []
    for group in FIGURE_ROWS:
        for name in group.figures:
            figure = review["figures"].get(name)
            if figure is None or figure["value"] is None:
                continue
            usual = figure_span(name, figure, system)
            rows.append({
                "figure": figure_label(name, review["figures"], system),
                "this week": figure_value(name, figure, len(review["pours"]), system),
                "usual": f"{usual} (of {figure['usual_count']} {figure['usual_of']})"
                if usual else "",
                "": figure["verdict"] if figure["verdict"] in ("above", "below") else "",
                "about": group.title,
            })  # fmt: skip
    return rows
