"""Charts of what the record says: callbacks by group and in order, what weather did to gaps."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from pourstats.reporting.amounts import in_system
from pourstats.reporting.callbacks import SHOWN_BY, share_text
from pourstats.reporting.callbacks_sentences import counted, in_part_words
from pourstats.reporting.charts import VERMILLION, Drawn, dressed, ink, over
from pourstats.units import System


def callback_groups(
    picture: Mapping[str, Any], by: str, system: System = "us", dark: bool = False
) -> Drawn | None:
    """Shares called back by group, with intervals and counts; None where there are no two."""
    rows = [
        {"group": _group(row["group"], by, system), "rate": 100 * row["rate"],
         "low": 100 * row["rate_p05"], "high": 100 * row["rate_p95"],
         "label": f"{row['pours_called_back']} of {row['pours']}", "told": share_text(row)}
        for row in picture["by"].get(by, [])
        if row["pours"] and row["group"] != "unknown"
    ]  # fmt: skip
    if len(rows) < 2:
        return None
    page = ink(dark)
    y = alt.Y("group:N", sort=[row["group"] for row in rows], title=None,
              axis=alt.Axis(ticks=False, domain=False))  # fmt: skip
    x = alt.X("low:Q", title="of a hundred floors called back", scale=alt.Scale(domain=[0, 100]))
    chart = alt.layer(
        over(rows).mark_bar(height=10, cornerRadius=3, color=page.band)
        .encode(y=y, x=x, x2="high:Q"),
        over(rows).mark_point(filled=True, size=130, color=page.mark, opacity=1)
        .encode(y=y, x="rate:Q"),
        over(rows).mark_text(align="left", dx=8, color=page.text)
        .encode(y=y, x="high:Q", text="label:N"),
    ).properties(height=32 * len(rows), width="container")  # fmt: skip
    told = "; ".join(f"{row['group']} {row['label']}" for row in rows[:3])
    title = f"By {SHOWN_BY[by].partition(',')[0]}: {told}"
    reading = (
        "Dot: share of the floors old enough to count. Bar: the true share lies in it nine times"
        " in ten. Where bars overlap the record can't tell the groups apart."
    )
    words = "; ".join(f"{row['group']}: {row['told']}" for row in rows)
    return Drawn(dressed(chart, page), title, reading, words)


def _group(group: object, by: str, system: System) -> str:
    """A group's name; a class of drying with its bounds in the units shown."""
    text = str(group).replace("_", " ")
    if by != "evaporation_class":
        return text
    return re.sub(r"\d\.\d+", lambda one: in_system(f"{one[0]} lb/ft²/h", system), text)


MOST_DRAWN = 40
"""The latest floors that are drawn; the middle and luck's limit are from all of them."""
TICKS = (0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def calls_apart(picture: Mapping[str, Any], dark: bool = False) -> Drawn | None:
    """The g chart: good floors before each one that came back, in order, with the middle and luck's
    limit, and the latest run. None while too few have come back for one."""
    watch = picture["watch"]
    if not watch:
        return None
    page, floors, run = ink(dark), watch["g"], watch["bad_run"]
    count, first = len(floors["gaps"]), max(0, len(floors["gaps"]) - MOST_DRAWN)
    latest = count - run["calls"] if run else count
    now = "bad run" if run and run["told"] else "latest"
    rows = [
        {"place": place, "gap": gap, "pour": pour, "told": f"{gap:.0f}",
         "run": now if place >= latest else "earlier"}
        for place, (gap, pour) in enumerate(zip(floors["gaps"], floors["pour_ids"], strict=True))
        if place >= first
    ]  # fmt: skip
    highest = max(floors["upper"], *(row["gap"] for row in rows), run["apart"] if run else 0.0)
    most = 1.25 * highest
    # Room on the left and right for the lines' names; below, so that dots at zero are whole.
    x = alt.X("place:Q", axis=None, scale=alt.Scale(domain=[first, count - 1], padding=62,
                                                    nice=False, zero=False))  # fmt: skip
    # By square roots, as short gaps are those that matter.
    y = alt.Y(
        "gap:Q", title="good floors in between",
        axis=alt.Axis(values=[tick for tick in TICKS if tick <= most]),
        scale=alt.Scale(type="sqrt", domain=[-0.005 * most, most], nice=False),
    )  # fmt: skip
    kinds = ["earlier", "latest", "bad run"]
    colour = alt.Color("run:N", legend=None, scale=alt.Scale(
        domain=kinds, range=[page.quiet, page.mark, VERMILLION]))  # fmt: skip
    shape = alt.Shape("run:N", legend=None, scale=alt.Scale(
        domain=kinds, range=["circle", "circle", "triangle-down"]))  # fmt: skip
    limits = [
        {"gap": floors["median"], "name": f"middle: {floors['median']:.0f}"},
        {"gap": floors["upper"], "name": f"luck seldom goes over {floors['upper']:.0f}"},
    ]
    layers = [
        over([{"gap": 0, "high": floors["upper"]}]).mark_rect(color=page.band, opacity=0.4)
        .encode(y=y, y2="high:Q"),
        over(limits).mark_rule(color=page.quiet, strokeDash=[4, 3]).encode(y=y),
        over(limits).mark_text(align="left", dy=-8, dx=3, color=page.text)
        .encode(y=y, x=alt.value(0), text="name:N"),
        over(rows).mark_line(color=page.quiet, opacity=0.5).encode(x=x, y=y),
    ]  # fmt: skip
    if run:
        above = run["apart"] >= run["told_under"]
        layers += _run_line(run["apart"], now, max(latest, first), count - 1,
                            f"latest {run['calls']}", -7 if above else 8, x, y, colour)  # fmt: skip
        layers += _run_line(run["told_under"], "bad run", max(latest, first), count - 1,
                            "bad below", 8 if above else -7, x, y, colour, [2, 3])  # fmt: skip
    layers.append(
        over(rows).mark_point(filled=True, size=90, opacity=1)
        .encode(x=x, y=y, color=colour, shape=shape,
                tooltip=[alt.Tooltip("pour:N", title="floor"),
                         alt.Tooltip("told:N", title="good floors before it")])
    )  # fmt: skip
    chart = alt.layer(*layers).properties(height=240, width="container")
    title, said = apart_title(watch), ", ".join(row["told"] for row in rows)
    lines = f"The middle is {floors['median']:.0f}; luck seldom goes over {floors['upper']:.0f}."
    if run:
        lines += f" It is a bad run below {run['told_under']:.1f}."
    words = f"{title}. Good floors before each, in order: {said}. {lines}"
    return Drawn(dressed(chart, page), title, _apart_reading(watch, len(rows)), words)


def _run_line(
    gap: float, kind: str, begins: int, ends: int, name: str, below_px: int,
    x: alt.X, y: alt.Y, colour: alt.Color, dash: Sequence[int] = (1, 0),
) -> list[alt.Chart]:  # fmt: skip
    """A line along the latest run, named at its right end."""
    line = over([{"place": begins - 0.3, "to": ends + 0.3, "gap": gap, "run": kind, "name": name}])
    return [
        line.mark_rule(strokeWidth=2 if dash[1] else 4, strokeDash=list(dash))
        .encode(x=x, x2="to:Q", y=y, color=colour),
        line.mark_text(align="left", dx=4, dy=below_px).encode(
            x=alt.X("to:Q", axis=None), y=y, text="name:N"),
    ]  # fmt: skip


def _apart_reading(watch: Mapping[str, Any], drawn: int) -> str:
    floors, run = watch["g"], watch["bad_run"]
    latest = f" The latest {drawn} are drawn." if drawn < len(floors["gaps"]) else ""
    said = (
        "Each dot is a floor that came back, in the order of pouring; its height is the good floors"
        f" before it, so low dots in a row are bad.{latest}"
        f" {counted(round(floors['since']), 'good one', 'good ones')} since."
    )
    if run:
        said += (
            f" Thick line: the latest {run['calls']} on average, with those since; below the"
            f" dotted line ({run['told_under']:.1f}) it is a bad run."
        )
    if floors["in_part"]:
        said += f" {in_part_words(floors)}."
    return said


def apart_title(watch: Mapping[str, Any]) -> str:
    """What the chart of calls apart shows: a bad run, none, or too few to tell one."""
    floors, run = watch["g"], watch["bad_run"]
    if not run:
        came = counted(len(floors["gaps"]) + 1, "floor", "floors")
        return f"{came} came back: too few to tell a bad run from luck"
    apart = (
        f"the latest {run['calls']} of {len(floors['gaps']) + 1} came back"
        f" {counted(round(run['apart']), 'good floor', 'good floors')} apart, earlier ones"
        f" {run['usual_apart']:.0f}"
    )
    if run["told"]:
        return f"A bad run: {apart}"
    if floors["since"] > floors["upper"]:
        return f"A good stretch: {floors['since']:.0f} good floors since the latest came back"
    return f"No bad run: {apart}"


def calls_apart_rows(picture: Mapping[str, Any]) -> list[dict[str, str]]:
    """The table behind the chart, the latest first: floor, good floors before it."""
    floors = picture["watch"]["g"]
    rows = [
        {"came back": pour, "good floors before it": f"{gap:.1f}".removesuffix(".0")}
        for gap, pour in zip(floors["gaps"], floors["pour_ids"], strict=True)
    ]
    return rows[::-1]


def _cause_text(cause: str, step: str) -> str:
    """A cause and what it is held against, short enough for a phone: ``finish: broom, not trowel``,
    ``sun, not shade``, ``wind (5 mph more)``."""
    cause = cause.replace("_", " ")
    that, mark, other = step.replace("_", " ").rpartition("against ")
    if not mark:
        return f"{cause} ({step})"
    if other == "without":
        return cause
    return f"{that.strip() or cause}, not {other}"


def _sooner(minutes: float) -> str:
    return f"{abs(minutes):.0f} min {'sooner' if minutes < 0 else 'later'}"


def weather_effects(
    found: Mapping[str, Any], name: str, system: System = "us", dark: bool = False
) -> Drawn | None:
    """What each cause did to an interval, in minutes, with its interval; None without any."""
    part = found.get(name)
    if not part or not part.get("effects"):
        return None
    page = ink(dark)
    rows = [
        {"cause": _cause_text(each["cause"], in_system(each["step"], system)),
         "at": each["minutes"], "low": each["minutes_low"],
         "high": each["minutes_high"], "clear": "clear" if each["clear"] else "can't tell",
         "label": f"{each['having']} pours"}
        for each in part["effects"]
        if each["minutes"] is not None
    ]  # fmt: skip
    if not rows:
        return None
    y = alt.Y("cause:N", sort=[row["cause"] for row in rows], title=None,
              axis=alt.Axis(ticks=False, domain=False, labelLimit=230))  # fmt: skip
    x = alt.X("low:Q", title="minutes sooner (−) or later (+)")
    colour = alt.Color("clear:N", legend=None, scale=alt.Scale(
        domain=["clear", "can't tell"], range=[page.mark, page.quiet]))  # fmt: skip
    shape = alt.Shape("clear:N", legend=None, scale=alt.Scale(
        domain=["clear", "can't tell"], range=["circle", "cross"]))  # fmt: skip
    chart = alt.layer(
        over([{"at": 0}]).mark_rule(color=page.quiet, strokeDash=[4, 3]).encode(x="at:Q"),
        over(rows).mark_bar(height=9, cornerRadius=3, color=page.band)
        .encode(y=y, x=x, x2="high:Q"),
        over(rows).mark_point(filled=True, size=120, opacity=1)
        .encode(y=y, x="at:Q", color=colour, shape=shape),
        over(rows).mark_text(align="left", dx=6, color=page.quiet, fontSize=11)
        .encode(y=y, x="high:Q", text="label:N"),
    ).properties(height=26 * len(rows), width="container")  # fmt: skip
    clear = [row for row in rows if row["clear"] == "clear"]
    title = (
        f"{part['what'].capitalize()}: "
        + ("; ".join(f"{row['cause']} {_sooner(row['at'])}" for row in clear[:3])
           if clear else "nothing in the weather stands out from the ups and downs yet")
    )  # fmt: skip
    reading = (
        f"Dot: the effect is clear; cross: the record can't tell yet. Bars: nineteen times in"
        f" twenty. {part['pours']} pours, {part['median_min']:.0f} min in the middle."
    )
    words = "; ".join(f"{row['cause']} {row['low']:+.0f} to {row['high']:+.0f} min" for row in rows)
    return Drawn(dressed(chart, page), title, reading, f"{title}. {words}")
