"""One pour on one line of time, with the weather under it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import altair as alt

from pourstats.reporting.amounts import in_system
from pourstats.reporting.charts import (
    GREEN,
    LIGHT,
    ORANGE,
    PURPLE,
    Drawn,
    clock_axis,
    dressed,
    ink,
    over,
)
from pourstats.reporting.week_words import number_text
from pourstats.units import System, to_system, unit_in

if TYPE_CHECKING:
    import pandas as pd


def pour_day(found: Mapping[str, Any], system: System = "us", dark: bool = False) -> Drawn | None:
    """The pour's day: crew, loads, placing, passes, saw, each a bar on one line of time.

    ``found`` is what :func:`pourstats.reporting.pour.pour_whole` gives. None without any time.
    """
    page = ink(dark)
    bars = _bars(found, system)
    if not bars:
        return None
    lanes = list(dict.fromkeys(bar["lane"] for bar in bars))
    colours = {"crew on site": page.quiet, "placing": page.mark, "saw": PURPLE}
    for bar in bars:
        bar["colour"] = colours.get(
            bar["lane"], ORANGE if bar["lane"].startswith("load") else GREEN
        )
    _place_labels(bars)
    y = alt.Y("lane:N", sort=lanes, title=None, axis=alt.Axis(ticks=False, domain=False))
    x = alt.X("start:T", title=None, axis=clock_axis(),
              scale=alt.Scale(nice=True, padding=24))  # fmt: skip
    spans = [bar for bar in bars if bar["end"]]
    points = [bar for bar in bars if not bar["end"]]
    layers: list[Any] = []
    if spans:
        layers.append(
            over(spans).mark_bar(height=14, cornerRadius=2).encode(
                y=y, x=x, x2="end:T", color=alt.Color("colour:N", scale=None),
                tooltip=["lane:N", alt.Tooltip("start:T", format="%H:%M"),
                         alt.Tooltip("end:T", format="%H:%M")],
            )
        )  # fmt: skip
    if points:
        layers.append(
            over(points).mark_point(filled=True, size=90, shape="diamond",
                                                          opacity=1).encode(
                y=y, x=x, color=alt.Color("colour:N", scale=None))
        )  # fmt: skip
    sides: tuple[tuple[str, Literal["left", "right"], int], ...] = (
        ("right", "left", 8), ("left", "right", -8), ("inside", "left", 6),
    )  # fmt: skip
    for side, align, dx in sides:
        told = [bar for bar in bars if bar["side"] == side]
        for bar in told:
            on_dark = bar["colour"] in (LIGHT.quiet, LIGHT.mark)
            bar["ink"] = page.text if side != "inside" else "#FFFFFF" if on_dark else LIGHT.text
        if told:
            layers.append(
                over(told).mark_text(align=align, dx=dx).encode(
                    y=y, x="at:T", text="label:N", color=alt.Color("ink:N", scale=None))
            )  # fmt: skip
    chart = alt.layer(*layers).properties(height=26 * len(lanes), width="container")
    words = "; ".join(
        f"{bar['lane']} {bar['start'][11:16]}" + (f" to {bar['end'][11:16]}" if bar["end"] else "")
        for bar in bars
    )
    return Drawn(dressed(chart, page), _title(found), "Bars: from start to end. Diamonds: one time"
                 " only was logged.", words)  # fmt: skip


def _place_labels(bars: list[dict[str, Any]]) -> None:
    """Which side of its bar each label stands on, so that a phone's narrow chart cuts none off:
    within a bar of nearly half the day, else where there is room."""
    times = [
        dt.datetime.fromisoformat(at) for bar in bars for at in (bar["start"], bar["end"]) if at
    ]
    first, whole = min(times), (max(times) - min(times)).total_seconds() or 1.0
    for bar in bars:
        end = bar["end"] or bar["start"]
        low, high = (
            (dt.datetime.fromisoformat(at) - first).total_seconds() / whole
            for at in (bar["start"], end)
        )
        wide = high - low > 0.45 and not bar["lane"].startswith("load")
        bar["side"] = "inside" if wide else "right" if high <= 0.6 or low < 0.4 else "left"
        bar["at"] = end if bar["side"] == "right" else bar["start"]


def _title(found: Mapping[str, Any]) -> str:
    pour, passes = found["pour"], found["pass_intervals"]
    first = next((p["since_placed_min"] for p in passes if p["since_placed_min"] is not None), None)
    parts = []
    output = found["pour_output"] or {}
    if output.get("labor_h") is not None:
        parts.append(f"{number_text(output['labor_h'])} labor-hours")
    if first is not None:
        parts.append(f"on it {first:.0f} min after strike-off")
    if pour.get("saw_end"):
        parts.append(f"sawn by {pour['saw_end'][11:16]}")
    return ", ".join(parts).capitalize() if parts else "The day as it was logged"


def _bars(found: Mapping[str, Any], system: System) -> list[dict[str, Any]]:
    pour = found["pour"]
    bars = [_bar("crew on site", pour.get("crew_in"), pour.get("crew_out"))]
    for number, load in enumerate(found["trucks"], 1):
        volume = load.get("volume")
        told = "" if volume is None else in_system(f"{volume:g} yd³", system)
        start = load.get("arrived") or load.get("pour_start")
        end = load.get("left") or load.get("pour_end")
        bars.append(_bar(", ".join(part for part in (f"load {number}", told) if part), start, end))
    bars.append(_bar("placing", pour.get("place_start"), pour.get("place_end")))
    bars.append(_bar("bull float done", pour.get("bull_float_end"), None))
    for each in found["passes"]:
        told = str(each.get("tool") or "").replace("_", " ")
        lane = ", ".join(part for part in (f"pass {each['pass_no']:.0f}", told) if part)
        bars.append(_bar(lane, each.get("start"), each.get("end")))
    if not found["passes"]:
        bars.append(_bar("finishing", pour.get("machine_on"), pour.get("passes_done")))
    bars.append(_bar("saw", pour.get("saw_start"), pour.get("saw_end")))
    bars.append(_bar("cure on", pour.get("cure_start"), None))
    return [bar for bar in bars if bar is not None]


def _bar(lane: str, start: str | None, end: str | None) -> dict[str, Any] | None:
    if start is None and end is None:
        return None
    if start is None or end is None or start == end:
        at = start or end or ""
        return {"lane": lane, "start": at, "end": None, "label": at[11:16]}
    return {"lane": lane, "start": start, "end": end, "label": f"{start[11:16]}–{end[11:16]}"}


def pour_weather(
    found: Mapping[str, Any], weather: pd.DataFrame, system: System, dark: bool = False
) -> Drawn | None:
    """Air, humidity and wind at the site while the slab was worked; None without readings."""
    import pandas as pd

    page, pour = ink(dark), found["pour"]
    times = [value for key in ("crew_in", "place_start", "place_end", "passes_done", "saw_end",
             "crew_out") if (value := pour.get(key))]  # fmt: skip
    if not times:
        return None
    start, end = pd.Timestamp(min(times)), pd.Timestamp(max(times))
    hour = pd.Timedelta(hours=1)
    near = weather["time"].between(start - hour, end + hour)
    here = weather[(weather["site"] == pour["site"]) & near]
    if here.empty:
        return None
    panels = []
    for name, what, unit in (("air_temp", "air", "degF"), ("humidity", "humidity", "percent"),
                             ("wind", "wind", "mph")):  # fmt: skip
        rows: Sequence[dict[str, Any]] = [
            {"at": f"{at:%Y-%m-%dT%H:%M}", "value": to_system(float(v), unit, system)}
            for at, v in zip(here["time"], here[name], strict=True) if v == v
        ]  # fmt: skip
        title = f"{what}, {unit_in(unit, system).replace('deg', '°').replace('percent', '%')}"
        panels.append(
            over(rows)
            .properties(width="container", height=70)
            .mark_line(point=True, color=page.mark, strokeWidth=2)
            .encode(
                x=alt.X("at:T", title=None, axis=clock_axis()),
                y=alt.Y("value:Q", title=title, scale=alt.Scale(zero=name == "wind", nice=True),
                        axis=alt.Axis(tickCount=3)),
            )
        )  # fmt: skip
    output = found["pour_weather"] or {}
    drying = output.get("evaporation_max_lb_ft2_h")
    told = (
        f"Drying at most {to_system(drying, 'lb/ft2/h', system):.2f}"
        f" {unit_in('lb/ft2/h', system)}, first concrete to first pass"
        if drying is not None else "The weather while the slab was worked"
    )  # fmt: skip
    chart = alt.vconcat(*panels, spacing=6).resolve_scale(x="shared")
    return Drawn(dressed(chart, page), told, f"{len(here)} readings at {pour['site']}.", told)
