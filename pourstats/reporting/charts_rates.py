"""The rate card and what waits have cost, as charts and tables: what `pourstats bid --rates` and
`pourstats trucks` print."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt

from pourstats.reporting.bid import dollars_text
from pourstats.reporting.charts import Drawn, Ink, dressed, ink, over
from pourstats.units import System, to_system

MOST_KINDS = 8
"""Kinds of floor that a chart holds; the table has all."""

WAITS_BY = {"plant": "plant", "hour": "hour of the day", "weekday": "weekday", "load_no": "load"}


def _kind(rate: Mapping[str, Any]) -> str:
    parts = [rate["slab_type"], rate["finish"], rate["placement"]]
    return ", ".join(str(part).replace("_", " ") for part in parts if part)


def _per_area(hours: float | None, system: System) -> float | None:
    """Hours per 100 ft2, or per 10 m2."""
    if hours is None or system == "us":
        return hours
    return hours / float(to_system(100.0, "ft2", system)) * 10.0


def _area(system: System) -> str:
    return "100 ft2" if system == "us" else "10 m2"


def rate_card_chart(
    card: Mapping[str, Any], system: System = "us", dark: bool = False
) -> Drawn | None:
    """Hours by kind of floor, from the middle to nine in ten; None without rates."""
    rows: list[dict[str, Any]] = [
        {
            "name": _kind(rate),
            "low": _per_area(rate["hours_per_100ft2"]["0.5"], system),
            "at": _per_area(rate["hours_per_100ft2"]["0.7"], system),
            "high": _per_area(rate["hours_per_100ft2"]["0.9"], system),
            "label": f"{rate['pours']} pour{'' if rate['pours'] == 1 else 's'}",
        }
        for rate in card["rates"][:MOST_KINDS]
    ]
    if not rows:
        return None
    page = ink(dark)
    chart = _reaches(rows, f"labor-hours per {_area(system)}", page)
    first = card["rates"][0]
    usd = first["usd_per_ft2"]["0.7"]
    title = (
        f"{_kind(first).capitalize()}: {rows[0]['at']:.1f} h per {_area(system)}"
        + (f", ask {_dollars_per_area(usd, system)}" if usd is not None else "")
        + f" ({first['pours']} pours)"
    )
    reading = (
        "Each for that kind's middling floor. Dot: seven such floors in ten stay within it. Bar:"
        f" from five in ten to nine in ten. As of {card['as_of']}, {card['pours']} pours."
    )
    words = "; ".join(
        f"{row['name']}: {row['low']:.1f} to {row['high']:.1f} h per {_area(system)},"
        f" {row['label']}"
        for row in rows
    )
    return Drawn(dressed(chart, page), title, reading, words)


def _reaches(rows: list[dict[str, Any]], title: str, page: Ink) -> alt.TopLevelMixin:
    """A row a name: a dot at ``at`` on a bar from ``low`` to ``high``, its label behind."""
    y = alt.Y("name:N", sort=[row["name"] for row in rows], title=None,
              axis=alt.Axis(ticks=False, domain=False, labelLimit=190))  # fmt: skip
    bars = over(rows).mark_bar(height=10, cornerRadius=3, color=page.band)
    dots = over(rows).mark_point(filled=True, size=130, color=page.mark, opacity=1)
    labels = over(rows).mark_text(align="left", dx=6, color=page.quiet)
    x = alt.X("low:Q", title=title, scale=alt.Scale(zero=True))
    found: alt.TopLevelMixin = alt.layer(
        bars.encode(y=y, x=x, x2="high:Q"),
        dots.encode(y=y, x="at:Q"),
        labels.encode(y=y, x="high:Q", text="label:N"),
    ).properties(height=34 * len(rows) + 40, width="container")
    return found


def _dollars_per_area(usd_per_ft2: float, system: System) -> str:
    if system == "us":
        return f"${usd_per_ft2:.2f} a square foot"
    return f"${usd_per_ft2 / float(to_system(1.0, 'ft2', system)):.2f} a square meter"


def rate_rows(card: Mapping[str, Any], system: System = "us") -> list[dict[str, str]]:
    """The rate card as a table: a row a kind of floor, its count beside every rate."""
    rows = []
    for rate in card["rates"]:
        hours, usd = rate["hours_per_100ft2"], rate["usd_per_ft2"]["0.7"]
        area = to_system(rate["area_ft2"], "ft2", system)
        made = rate["bid"]
        change = _per_area(rate["change_hours_per_100ft2"], system)
        rows.append({
            "floor": _kind(rate),
            "pours": str(rate["pours"]),
            "middling": f"{area:,.0f} {'ft2' if system == 'us' else 'm2'}",
            f"h per {_area(system)}, 5 in 10": f"{_per_area(hours['0.5'], system):.2f}",
            "7 in 10": f"{_per_area(hours['0.7'], system):.2f}",
            "9 in 10": f"{_per_area(hours['0.9'], system):.2f}",
            "ask": "no pay known" if usd is None else _dollars_per_area(usd, system),
            f"since {card['since']}": "" if change is None else f"{change:+.2f} h",
            "bid before": "" if made is None else
            f"{_per_area(made['hours_per_100ft2'], system):.2f} h ({made['pours']})",
        })  # fmt: skip
    return rows


def past_waits_sentence(past: Mapping[str, Any] | None) -> str:
    """What waits have been and cost so far; empty without a load that knows its wait."""
    if past is None:
        return ""
    wait = past["wait_min"]
    reach = f" ({wait['low']:.0f} to {wait['high']:.0f})" if "low" in wait else ""
    told = f"A truck has waited {wait['mean']:.0f} min{reach} on average, {wait['count']} loads"
    if past["billed_usd"]:
        told += f"; {dollars_text(past['billed_usd'])} was billed on {past['billed_loads']}"
    return told


def past_waits_rows(past: Mapping[str, Any]) -> list[dict[str, str]]:
    """Where the money of waiting went, line by line."""
    rows = [
        ("minutes beyond the free time", f"{past['over_min']:.0f} min"),
        ("what they come to at your rate", dollars_text(past["logged_usd"])),
        (f"billed for waits, {past['billed_loads']} loads", dollars_text(past["billed_usd"])),
        ("crew without concrete, in all", f"{past['starved_total_min'] / 60:.1f} h"),
    ]
    if past["idle_usd"] is not None:
        rows.append(("pay for that time", dollars_text(past["idle_usd"])))
    return [{"what": name, "so far": value} for name, value in rows]


def waits_by(past: Mapping[str, Any], by: str, dark: bool = False) -> Drawn | None:
    """Mean wait by group (:data:`WAITS_BY`), with interval and count; None without two groups."""
    rows = [
        {"name": f"load {row[by]}" if by == "load_no" else str(row[by]),
         "at": row["wait_min"]["mean"],
         "low": row["wait_min"].get("low", row["wait_min"]["mean"]),
         "high": row["wait_min"].get("high", row["wait_min"]["mean"]),
         "label": f"{row['wait_min']['count']} loads"}
        for row in past[f"by_{by}"]
        if row["wait_min"] is not None
    ]  # fmt: skip
    if len(rows) < 2:
        return None
    page = ink(dark)
    chart = _reaches(rows, "minutes that a truck waited", page)
    longest = max(rows, key=lambda row: row["at"])
    shortest = min(rows, key=lambda row: row["at"])
    apart = longest["low"] > shortest["high"]
    title = (
        f"Longest by {WAITS_BY[by]}: {longest['name']}, {longest['at']:.0f} min"
        f" ({longest['label']})"
        if apart
        else f"By {WAITS_BY[by]} the waits can't be told apart yet"
    )
    reading = "Dot: the mean wait. Bar: the true mean lies in it nine times in ten."
    words = "; ".join(
        f"{row['name']}: {row['at']:.0f} min ({row['low']:.0f} to {row['high']:.0f}),"
        f" {row['label']}" for row in rows
    )  # fmt: skip
    return Drawn(dressed(chart, page), title, reading, words)
