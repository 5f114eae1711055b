"""Charts of what is ahead: the finishing clock, a bid's hours, the spacing of trucks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from pourstats.reporting.bid import LINE_WORDS, PART_WORDS, dollars_text, hours_text, odds_text
from pourstats.reporting.charts import GREEN, ORANGE, PURPLE, Drawn, clock_axis, dressed, ink, over
from pourstats.reporting.trucks import fixed_loads, loads_told


def finishing_clock(job: Mapping[str, Any], dark: bool = False) -> Drawn:
    """One slab's clock: each step's range, eight days in ten, with its middle."""
    page = ink(dark)
    rows = [_step("placing", {"p10": job["place_start"], "p50": job["place_end"],
                              "p90": job["place_end"]}, page.mark)]  # fmt: skip
    for step in job["passes"]:
        odds = "" if step["chance"] >= 0.95 else f", {round(step['chance'] * 10)} days in 10"
        rows.append(_step(f"pass {step['pass_no']}{odds}", step["start"], GREEN))
    rows.append(_step("last pass off", job["last_pass_end"], GREEN))
    if job["saw"]:
        # From when it surely holds a saw to when it may crack; where these cross, no hour is safe
        # beforehand, and the bar is the likely window.
        safe = job["saw_open_p90"] < job["saw_close_p10"]
        low, high = ("saw_open_p90", "saw_close_p10") if safe else ("saw_open", "saw_close")
        lane = "saw window, safe" if safe else "saw window, likely"
        rows.append(_step(lane, {"p10": job[low], "p50": None, "p90": job[high]}, PURPLE))
    rows = [row for row in rows if row["low"] and row["high"]]
    lanes = [row["lane"] for row in rows]
    y = alt.Y("lane:N", sort=lanes, title=None, axis=alt.Axis(ticks=False, domain=False))
    x = alt.X("low:T", title=None, axis=clock_axis(),
              scale=alt.Scale(padding=30))  # fmt: skip
    bars = over(rows).mark_bar(height=14, cornerRadius=3).encode(
        y=y, x=x, x2="high:T", color=alt.Color("colour:N", scale=None)
    )  # fmt: skip
    ticks = (
        over([row for row in rows if row["middle"]])
        .mark_tick(thickness=3, size=20, color=page.text)
        .encode(y=y, x=alt.X("middle:T"))
    )
    names = over(rows).mark_text(align="left", dx=7, color=page.text).encode(
        y=y, x=alt.X("high:T"), text="label:N"
    )  # fmt: skip
    chart = alt.layer(bars, ticks, names).properties(height=30 * len(rows), width="container")
    first = job["first_pass"]
    site = f", {job['site']}" if job["site"] else ""
    title = (
        f"{job['pour_id']}{site}: on it about {_clock(first['p50'])}, {_clock(first['p10'])} to"
        f" {_clock(first['p90'])} eight days in ten"
    )
    if job["saw"]:
        # The hours of the bar: the title must not send anybody to the slab before they say.
        title += f"; {lane} {_clock(job[low])} to {_clock(job[high])}"
    words = "; ".join(f"{row['lane']}: {row['label']}" for row in rows)
    reading = "Bars: eight days in ten. Thick tick: the middle, as likely before as after."
    return Drawn(dressed(chart, page), title, reading, f"{title}. {words}")


def _step(lane: str, spread: Mapping[str, Any], colour: str) -> dict[str, Any]:
    low, middle, high = spread["p10"], spread["p50"], spread["p90"]
    label = f"{_clock(low)}–{_clock(high)}"
    return {"lane": lane, "low": low, "middle": middle, "high": high, "colour": colour,
            "label": label}  # fmt: skip


def _clock(time: str | None) -> str:
    return time[11:16] if time else "?"


def bid_hours(job: Mapping[str, Any], confidence: float, dark: bool = False) -> Drawn:
    """The hours a job may take, as odds, with the bid and the floors most like it."""
    page, hours = ink(dark), job["labor_h"]
    spread = [
        {
            "lane": "this job",
            "low": hours["p10"],
            "high": hours["p90"],
            "at": hours["p50"],
            "bid": job["bid_hours"],
            "label": f"bid {hours_text(job['bid_hours'])}",
        }
    ]
    likes = [{"lane": "floors most like it", "at": each["labor_h"], "name": each["pour_id"]}
             for each in job["similar"] if each["labor_h"] is not None]  # fmt: skip
    lanes = ["this job"] + (["floors most like it"] if likes else [])
    y = alt.Y("lane:N", sort=lanes, title=None, axis=alt.Axis(ticks=False, domain=False),
              scale=alt.Scale(domain=lanes))  # fmt: skip
    x = alt.X("low:Q", title="labor-hours", scale=alt.Scale(zero=True))
    layers: list[Any] = [
        over(spread).mark_bar(height=18, cornerRadius=3, color=page.band)
        .encode(y=y, x=x, x2="high:Q"),
        over(spread).mark_tick(thickness=2, size=24, color=page.quiet).encode(y=y, x="at:Q"),
        over(spread).mark_point(filled=True, shape="diamond", size=190, color=page.mark, opacity=1)
        .encode(y=y, x="bid:Q"),
        over(spread).mark_text(dy=-18, color=page.text, fontWeight="bold")
        .encode(y=y, x="bid:Q", text="label:N"),
    ]  # fmt: skip
    if likes:
        layers.append(over(likes).mark_point(size=90, color=page.quiet, strokeWidth=2, opacity=1)
                      .encode(y=y, x="at:Q", tooltip=["name:N", "at:Q"]))  # fmt: skip
    chart = alt.layer(*layers).properties(height=64 * len(lanes), width="container")
    title = (
        f"{job['pour_id']}: bid {hours_text(job['bid_hours'])}; "
        f"{odds_text(confidence)} stay within that"
    )
    reading = (
        f"Bar: eight such jobs in ten, {hours_text(hours['p10'])} to {hours_text(hours['p90'])};"
        f" tick: even odds; diamond: the bid; rings: floors of the record. From"
        f" {job['based_on']['pours']} pours."
    )
    return Drawn(dressed(chart, page), title, reading, f"{title}. {reading}")


def price_rows(job: Mapping[str, Any]) -> list[dict[str, str]]:
    """The price line by line, as a table for people; empty without a rate or pay."""
    lines = job["price_lines"]
    if job["price_usd"] is None or not lines:
        return []
    rows = [{"line": f"labor, {hours_text(job['mean_labor_h'])} on average",
             "amount": dollars_text(lines["labor_usd"])}]  # fmt: skip
    for line in job["lines"]:
        if line["usd"] is not None:
            name = LINE_WORDS.get(line["line"], line["line"].replace("_", " "))
            rows.append(
                {"line": f"{name} ({line['because']})", "amount": dollars_text(line["usd"])}
            )
    for name, words in (("contingency_usd", "contingency, from the average up to the bid"),
                        ("overhead_usd", "overhead"), ("margin_usd", "margin")):  # fmt: skip
        rows.append({"line": words, "amount": dollars_text(lines[name])})
    rows.append({"line": "price", "amount": dollars_text(job["price_usd"])})
    return rows


def part_rows(job: Mapping[str, Any]) -> list[dict[str, str]]:
    """Where the hours go, the most first."""
    parts = sorted(job["parts_h"].items(), key=lambda part: -float(part[1]))
    return [{"part": PART_WORDS[name], "hours": hours_text(hours)} for name, hours in parts]


def truck_spacing(job: Mapping[str, Any], dark: bool = False) -> Drawn | None:
    """What waiting costs by the spacing of loads; None where fewer than two are ordered ahead."""
    curve: Sequence[Mapping[str, Any]] = job.get("curve") or []
    if len(curve) < 2 or job["spacing_min"] is None or fixed_loads(job) < 2:
        return None
    page = ink(dark)
    # Beyond three times the least the curve only says "too far apart".
    least = min(point["cost_usd"] for point in curve)
    shown = [p for p in curve if p["cost_usd"] <= max(4 * least, least + 60)] or list(curve)
    x = alt.X("spacing_min:Q", title="minutes between loads", scale=alt.Scale(zero=False))
    y = alt.Y("cost_usd:Q", title="cost of waiting, USD", scale=alt.Scale(zero=True))
    flat = (
        over([{"low": job["flat_from_min"], "high": job["flat_to_min"]}])
        .mark_rect(color=page.band, opacity=0.6)
        .encode(x=alt.X("low:Q"), x2="high:Q")
    )
    line = over(shown).mark_line(point=True, color=page.mark, strokeWidth=2).encode(x=x, y=y)
    best = [
        {
            "x": job["spacing_min"],
            "y": job["cost_usd"]["mean"],
            "label": f"{job['spacing_min']:.0f} min, {dollars_text(job['cost_usd']['mean'])}",
        }
    ]
    mark = over(best).mark_point(filled=True, shape="diamond", size=160, color=ORANGE, opacity=1)
    text = over(best).mark_text(align="left", dx=10, dy=-12, color=page.text, fontWeight="bold")
    chart = alt.layer(
        flat, line, mark.encode(x="x:Q", y="y:Q"), text.encode(x="x:Q", y="y:Q", text="label:N")
    ).properties(height=220, width="container")
    title = (
        f"{job['pour_id']}: {loads_told(job)}; anything"
        f" from {job['flat_from_min']:.0f} to {job['flat_to_min']:.0f} costs about the same"
    )
    reading = "Band: within a twentieth of the least. People standing and truck time together."
    return Drawn(dressed(chart, page), title, reading, f"{title}. {reading}")


def cautions_of(result: Mapping[str, Any]) -> list[str]:
    """What to mind over all slabs of a finishing clock, each said once, with whose it is."""
    whose: dict[str, list[str]] = {}
    for job in result["jobs"]:
        for each in job["cautions"]:
            text = f"{each['do']} {each['because']} ({each['source']})"
            whose.setdefault(text, []).append(job["pour_id"])
    every = len(result["jobs"])
    lines = [t if len(ids) == every else f"{', '.join(ids)}: {t}" for t, ids in whose.items()]
    always = result.get("always", [])
    return lines + [f"{each['do']} {each['because']} ({each['source']})" for each in always]


def waits_sentence(result: Mapping[str, Any]) -> str:
    """What waiting has cost so far, in a sentence; empty without logged loads."""
    past = result.get("past")
    if not past or not past.get("wait_min"):
        return ""
    wait = past["wait_min"]
    told = (
        f"A truck waited {wait['mean']:.0f} minutes on average ({wait['low']:.0f} to"
        f" {wait['high']:.0f}; {past['loads']} loads); suppliers"
        f" billed {dollars_text(past['billed_usd'])} for it"
    )
    if past["starved_min"] and past["idle_usd"] is not None:
        told += (
            f", and {past['starved_total_min'] / 60:.1f} h without concrete cost"
            f" {dollars_text(past['idle_usd'])} of pay"
        )
    return told + "."
