"""A day's plan as a picture: people and slabs over one line of time, ready windows behind."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import altair as alt

from pourstats.reporting.charts import (
    BLUE,
    GREEN,
    ORANGE,
    PURPLE,
    SKY,
    YELLOW,
    Drawn,
    clock_axis,
    dressed,
    ink,
    over,
)
from pourstats.reporting.day import TASKS
from pourstats.reporting.week_sentences import day_text

COLOURS = {
    "set_up": ORANGE, "place": BLUE, "finish": GREEN, "saw": PURPLE, "clean_up": SKY,
    "travel": YELLOW,
}  # fmt: skip

LABEL_SHARE = 0.09
"""How much of the chart's width a label takes."""


def day_chart(day: Mapping[str, Any], dark: bool = False) -> Drawn | None:
    """One day: a row a slab with its windows, a row a person with tasks; None for an empty one."""
    if not day["pours"]:
        return None
    page = ink(dark)
    rows = _spaced([*_slabs(day), *_people(day, page.quiet)])
    lanes = list(dict.fromkeys(row["lane"] for row in rows))
    x = alt.X("start:T", title=None, axis=clock_axis(orient="top"))
    y = alt.Y("lane:N", sort=lanes, title=None, axis=alt.Axis(ticks=False, domain=False))
    bars = over(rows).mark_bar(height=16, cornerRadius=2).encode(
        y=y, x=x, x2="end:T", color=alt.Color("colour:N", scale=None),
        opacity=alt.Opacity("solid:Q", scale=None),
        tooltip=["lane:N", "what:N", alt.Tooltip("start:T", format="%H:%M"),
                 alt.Tooltip("end:T", format="%H:%M")],
    )  # fmt: skip
    names = (
        over([row for row in rows if row["label"]])
        .mark_text(align="left", dx=2, dy=-15, fontSize=11, color=page.text)
        .encode(y=y, x=x, text="label:N")
    )
    chart = alt.layer(bars, names).properties(height=44 * len(lanes), width="container")
    slabs = f"{len(day['pours'])} {'slab' if len(day['pours']) == 1 else 'slabs'}"
    title = f"{day_text(day['date'])}: {slabs}, {_odds(day)}"
    reading = (
        "Pale green: when the slab turns ready, eight days in ten; pale purple: it can be cut, the"
        " saw isn't there yet. Yellow: driving; orange: setting up;"
        " blue: placing; light blue: cleaning up; green: finishing; purple: sawing; grey: waiting."
    )
    words = "; ".join(
        f"{row['lane']} {row['what']} {row['start'][11:16]} to {row['end'][11:16]}" for row in rows
    )
    return Drawn(dressed(chart, page), title, reading, f"{title}. {words}")


def _odds(day: Mapping[str, Any]) -> str:
    if day["unplanned"]:
        return "not all fit into the day"
    tenths = round(day["chance_done_in_day"] * 10)
    told = {0: "hardly ever done in a day", 10: "almost surely done that day"}
    return told.get(tenths, f"all done that day {tenths} times in ten")


def _slabs(day: Mapping[str, Any]) -> list[dict[str, Any]]:
    rows = []
    for pour in day["pours"]:
        lane = f"{pour['pour_id']}, {pour['site']}" if pour["site"] else pour["pour_id"]
        steps = [
            ("place", pour["place_start"], pour["place_end"]["p50"], BLUE, 1.0),
            ("ready", pour["ready"]["p10"], pour["ready"]["p90"], GREEN, 0.35),
            ("finish", pour["first_pass"]["p50"], pour["last_pass_end"]["p50"], GREEN, 1.0),
        ]
        if pour["saw_opens"] and pour["saw_done"]:
            opens, done = pour["saw_opens"]["p50"], pour["saw_done"]["p50"]
            begun = min((task["start"] for task in day["tasks"]
                         if task["task"] == "saw" and task["pour_id"] == pour["pour_id"]),
                        default=opens)  # fmt: skip
            if opens < begun:
                steps.append(("may be cut", opens, begun, PURPLE, 0.35))
            steps.append(("saw", begun, done, PURPLE, 1.0))
        for what, start, end, colour, solid in steps:
            if start and end:
                told = f"{what} {start[11:16]}" if solid == 1.0 else ""
                rows.append({"lane": lane, "what": what, "label": told, "start": start, "end": end,
                             "colour": colour, "solid": solid})  # fmt: skip
    return rows


def _people(day: Mapping[str, Any], waiting: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for task in day["tasks"]:
        what = TASKS.get(task["task"], task["task"])
        row = {"lane": task["worker"], "solid": 1.0, "what": f"{what} {task['pour_id']}",
               "start": task["start"], "end": task["end"],
               "colour": COLOURS.get(task["task"], waiting), "label": ""}  # fmt: skip
        before = next((r for r in reversed(rows) if r["lane"] == task["worker"]), None)
        if before is None or before["pour"] != task["pour_id"]:
            row["label"] = f"{task['start'][11:16]} {task['pour_id']}"
        rows.append(row | {"pour": task["pour_id"]})
    return rows


def _spaced(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows without labels that would lie over the one before in their lane."""
    at = [datetime.fromisoformat(row["start"]) for row in rows]
    ends = [datetime.fromisoformat(row["end"]) for row in rows]
    apart = (max(ends) - min(at)) * LABEL_SHARE
    last: dict[str, datetime] = {}
    spaced = []
    for row, start in zip(rows, at, strict=True):
        lane = row["lane"]
        if row["label"] and lane in last and start - last[lane] < apart:
            row = row | {"label": ""}
        elif row["label"]:
            last[lane] = start
        spaced.append(row)
    return spaced
