"""A day's plan as a picture: people and slabs over one line of time, ready windows behind."""

from __future__ import annotations

from collections.abc import Mapping
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


def day_chart(day: Mapping[str, Any], dark: bool = False) -> Drawn | None:
    """One day: a row a slab with its windows, a row a person with tasks; None for an empty one."""
    if not day["pours"]:
        return None
    page = ink(dark)
    rows = [*_slabs(day), *_people(day, page.quiet)]
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
        "Pale: when the slab turns ready, eight days in ten. Yellow: driving; orange: setting up;"
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
            saw = ("saw", pour["saw_opens"]["p50"], pour["saw_done"]["p50"], PURPLE, 1.0)
            steps.append(saw)
        for what, start, end, colour, solid in steps:
            if start and end:
                told = "" if what == "ready" else f"{what} {start[11:16]}"
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
