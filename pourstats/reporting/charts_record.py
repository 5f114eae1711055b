"""Charts of what the record says: callbacks by group, and what weather did to intervals."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import altair as alt

from pourstats.reporting.amounts import in_system
from pourstats.reporting.callbacks import SHOWN_BY, share_text
from pourstats.reporting.charts import Drawn, dressed, ink, over
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


def weather_effects(
    found: Mapping[str, Any], name: str, system: System = "us", dark: bool = False
) -> Drawn | None:
    """What each cause did to an interval, in minutes, with its interval; None without any."""
    part = found.get(name)
    if not part or not part.get("effects"):
        return None
    page = ink(dark)
    rows = [
        {"cause": f"{each['cause'].replace('_', ' ')} ({in_system(each['step'], system)})",
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
        + (", ".join(f"{row['cause']} {row['at']:+.0f} min" for row in clear[:3])
           if clear else "nothing in the weather stands out from the ups and downs yet")
    )  # fmt: skip
    reading = (
        f"Dot: the effect is clear; cross: the record can't tell yet. Bars: nineteen times in"
        f" twenty. {part['pours']} pours, {part['median_min']:.0f} min in the middle."
    )
    words = "; ".join(f"{row['cause']} {row['low']:+.0f} to {row['high']:+.0f} min" for row in rows)
    return Drawn(dressed(chart, page), title, reading, f"{title}. {words}")
