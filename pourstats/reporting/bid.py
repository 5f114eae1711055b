"""Bids for people: hours as odds, why, the floors behind, and the price line by line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pourstats.reporting.bid_rates import bias_text, proof_text, rates_text
from pourstats.reporting.bid_words import (
    WIDTH,
    area_text,
    dollars_text,
    first_up,
    hours_text,
    odds_text,
    thickness_text,
    usd_an_area,
    wrap,
)
from pourstats.units import System, to_system

__all__ = [
    "LINE_WORDS", "PART_WORDS", "bias_text", "bid_text", "dollars_text", "driver_text",
    "hours_text", "odds_text", "outside_text", "proof_text", "rates_text",
]  # fmt: skip

PART_WORDS = {
    "set_up_and_clean_up": "set-up and clean-up", "place": "placing", "finish": "finishing",
    "wait": "waiting on the set", "saw": "sawing",
}  # fmt: skip

LINE_WORDS = {
    "travel": "travel", "overtime": "overtime", "trip_back_to_saw": "trip back to saw, as expected",
    "truck_waiting": "truck waiting", "callbacks": "callbacks, as expected", "concrete": "concrete",
    "pump": "pump", "materials": "materials",
}  # fmt: skip

COST_WORDS = {
    "labor_cost": "as set in labor_cost", "pours": "what your latest pours cost",
    "crew": "the crew's mean pay and burden", "default_pay": "default_pay and burden",
    "bids": "the rate in your latest bid", "none": "unknown",
}  # fmt: skip

COLUMN_WORDS = {
    "slab_type": "slab type", "placement": "placement", "finish": "finish", "lead": "lead",
}  # fmt: skip

LONG_DAY_H = 16.0
"""Hours on the clock from which one placement is more than a day's work."""


def bid_text(answer: Mapping[str, Any], units: System = "us") -> str:
    """The whole answer of `bid` for a terminal of 80 to 100 columns."""
    lines: list[str] = []
    for entry in answer["jobs"]:
        lines += _job(entry, answer["confidence"], units)
        if "what_if" in entry:
            lines += _what_if(entry, units)
        lines.append("")
    together = answer.get("together")
    if together is not None:
        lines += _together(together, answer["confidence"])
        lines.append("")
    for note in answer["notes"]:
        lines += wrap(first_up(note) + ".", WIDTH)
    return "\n".join(lines).rstrip() + "\n"


def _job(entry: Mapping[str, Any], confidence: float, units: System) -> list[str]:
    labor, crew = entry["labor_h"], entry["crew_h"]
    price = entry["price_usd"]
    head = f"{entry['pour_id']}: bid {hours_text(entry['bid_hours'])} of labor"
    if price is not None:
        head += f", ask {dollars_text(price)} ({usd_an_area(entry['price_usd_per_ft2'], units)})"
    lines = [head + "."]
    lines += _wrapped(
        f"{first_up(odds_text(confidence))} stay within that."
        f" Even odds at {hours_text(labor['p50'])};"
        f" eight in ten run {hours_text(labor['p10'])} to {hours_text(labor['p90'])}."
        f" On the clock {hours_text(crew['p50'])}, eight in ten {hours_text(crew['p10'])} to"
        f" {hours_text(crew['p90'])}." + _long_day(entry)
    )
    parts = sorted(entry["parts_h"].items(), key=lambda part: -float(part[1]))
    shown = [f"{PART_WORDS[name]} {hours_text(hours)}" for name, hours in parts if hours >= 0.05]
    lines += _wrapped(
        f"Where they go, of {hours_text(entry['mean_labor_h'])} on average: {', '.join(shown)}."
    )
    if entry["drivers"]:
        plain = "your usual job" if entry["based_on"]["pours"] else "a plain job"
        usual = f"Beside {plain} of this size: "
        told = [driver_text(driver, units) for driver in entry["drivers"]]
        lines += _wrapped(usual + "; ".join(told) + ".")
    if entry["outside"]:
        told = [outside_text(item, units) for item in entry["outside"]]
        lines += _wrapped("Outside what you have done: " + "; ".join(told) + ".")
    return lines + _similar(entry, units) + _price(entry)


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _long_day(entry: Mapping[str, Any]) -> str:
    long = entry["long_day"]
    if entry["crew_h"]["p50"] > LONG_DAY_H:
        return " That is more than a day's work: place it in parts, or bring more hands."
    if long["chance"] < 0.1:
        return ""
    chance = long["chance"] if long["chance"] > 0.95 else round(long["chance"], 1)
    odds = odds_text(chance)
    runs = "such job in ten runs" if odds.startswith("one ") else ""
    told = odds.replace("such jobs in ten", runs) if runs else f"{odds} run"
    return f" {first_up(told)} past {long['after_h']:g} h on the clock."


def driver_text(driver: Mapping[str, Any], units: System = "us") -> str:
    """One driver in plain words: ``pump +1.2 h``."""
    column, has, usual = driver["column"], driver["has"], driver["usual"]
    if column == "thickness":
        words = f"{thickness_text(has, units)} thick, not {thickness_text(usual, units)}"
    elif column == "hands":
        words = f"{_hands(has)}, not {usual:.0f}"
    elif column == "air_temp_f":
        air, middle = (float(to_system(value, "degF", units)) for value in (has, usual))
        mark = "C" if units == "metric" else "F"
        words = f"{'heat' if has > usual else 'cold'} ({air:.0f} {mark}, not {middle:.0f})"
    elif column == "saw_type":
        words = _sawing(str(has), str(usual))
    elif column == "lead":
        words = f"{has} leads"
    elif column == "reinforcement":
        words = "no steel or fiber" if has == "none" else str(has).replace(";", " and ")
    else:
        words = str(has).replace("_", " ").replace(";", " and ")
    return f"{words} {driver['hours']:+.1f} h"


SAW_WORDS = {
    "early_entry": "early-entry saw", "conventional": "conventional saw",
    "handheld": "handheld saw", "tooled": "tooled joints", "none": "no sawing",
}  # fmt: skip


def _sawing(has: str, usual: str) -> str:
    return "sawing" if usual == "none" else SAW_WORDS.get(has, has)


def outside_text(item: Mapping[str, Any], units: System = "us") -> str:
    """One way in which a job lies outside the record: ``pump, logged once only``."""
    column, has = item["column"], item["has"]
    if item["low"] is not None:
        over = has > item["high"]
        bound = item["high"] if over else item["low"]
        has_text, bound_text = (_measured(column, value, units) for value in (has, bound))
        if column == "hands":
            verb = "is" if has == 1 else "are"
            return f"{has_text} {verb} {'more' if over else 'fewer'} than on any pour ({bound:g})"
        return f"{has_text} is {'more' if over else 'less'} than any pour logged ({bound_text})"
    count = {0: "never logged", 1: "logged once only"}.get(
        item["pours"], f"logged {item['pours']} times only"
    )
    return f"{COLUMN_WORDS[column]} {str(has).replace('_', ' ')}, {count}"


def _measured(column: str, value: float, units: System) -> str:
    if column == "area":
        return area_text(value, units)
    return thickness_text(value, units) if column == "thickness" else _hands(value)


def _hands(count: float) -> str:
    return "1 hand" if count == 1 else f"{count:g} hands"


def _price(entry: Mapping[str, Any]) -> list[str]:
    own = entry["price_lines"]
    if own is None:
        beside = [f"{LINE_WORDS[line['line']]} {hours_text(line['hours'])}"
                  for line in entry["lines"] if (line["hours"] or 0.0) >= 0.05]  # fmt: skip
        return _wrapped("Beside the slab: " + "; ".join(beside) + ".") if beside else []
    rows = [(f"labor, {hours_text(entry['mean_labor_h'])} on average at"
             f" ${entry['labor_cost_usd_h']:.2f} ({COST_WORDS[entry['labor_cost_from']]})",
             own["labor_usd"])]  # fmt: skip
    for line in entry["lines"]:
        hours = "" if line["hours"] is None else f", {hours_text(line['hours'])}"
        rows.append((LINE_WORDS[line["line"]] + hours + f" ({line['because']})", line["usd"]))
    rows += [
        (f"contingency, from the average {'up' if own['contingency_usd'] >= 0 else 'down'} to"
         f" {odds_text(own['confidence'])}", own["contingency_usd"]),
        ("overhead", own["overhead_usd"]),
        (f"margin, {own['margin_share']:.0%} of the price"
         + (f" (a markup of {own['markup_share']:.0%})" if own["markup_share"] is not None else ""),
         own["margin_usd"]),
        ("price" + (", raised to the smallest job" if own["raised_to_minimum_job"] else ""),
         entry["price_usd"]),
    ]  # fmt: skip
    lines = ["  The price:"]
    for words, usd in rows:
        lines += _row(words, "unknown" if usd is None else dollars_text(usd))
    return lines


def _row(words: str, amount: str) -> list[str]:
    pieces = wrap(words, WIDTH - 16, subsequent_indent="  ")
    pieces[-1] = f"{pieces[-1]:<{WIDTH - 14}}{amount:>10}"
    return ["    " + piece for piece in pieces]


def _similar(entry: Mapping[str, Any], units: System) -> list[str]:
    if not entry["similar"]:
        return ["  No pours of your own behind it yet."]
    lines = [f"  Most like it, of {entry['based_on']['pours']} pours:"]
    kinds = [_kind(pour) for pour in entry["similar"]]
    wide = max(29, *(len(kind) + 1 for kind in kinds))
    for pour, kind in zip(entry["similar"], kinds, strict=True):
        took = hours_text(pour["read_h"])
        if pour.get("hours_from") != "crew_time":
            took = f"about {took} (head count)"
        lines.append(
            f"    {pour['pour_id']:<10}{pour['date']}  {area_text(pour['area'], units):>10}"
            f" {thickness_text(pour['thickness'], units):>7}  {kind:<{wide}}{took}"
        )
    return lines


def _kind(pour: Mapping[str, Any]) -> str:
    told = [pour[name] for name in ("slab_type", "finish", "placement") if pour.get(name)]
    return " ".join(str(word).replace("_", " ") for word in told)


def _what_if(entry: Mapping[str, Any], units: System) -> list[str]:
    other = entry["what_if"]
    changed = ", ".join(
        f"{name.replace('_', ' ')} {_set_text(value)}" for name, value in other["set"].items()
    )
    more = other["more_labor_h"]
    lines = _wrapped(f"What if {changed}:")
    rows = [
        ("", "as given", "what if"),
        ("hours to bid", hours_text(entry["bid_hours"]), hours_text(other["bid_hours"])),
        ("even odds", hours_text(entry["labor_h"]["p50"]), hours_text(other["labor_h"]["p50"])),
        ("eight in ten, from", hours_text(entry["labor_h"]["p10"]),
         hours_text(other["labor_h"]["p10"])),
        ("eight in ten, to", hours_text(entry["labor_h"]["p90"]),
         hours_text(other["labor_h"]["p90"])),
        ("hours on the clock", hours_text(entry["crew_h"]["p50"]),
         hours_text(other["crew_h"]["p50"])),
        ("price", dollars_text(entry["price_usd"]), dollars_text(other["price_usd"])),
    ]  # fmt: skip
    lines += [f"    {name:<22}{own:>12}{changed:>12}" for name, own, changed in rows]
    lines.append(
        f"    the change itself: {more['p50']:+.1f} h, eight in ten"
        f" {more['p10']:+.1f} to {more['p90']:+.1f} h"
    )
    new = [item for item in other["outside"] if item not in entry["outside"]]
    if new:
        told = "; ".join(outside_text(item, units) for item in new)
        lines += wrap(
            f"Outside what you have done: {told}.", WIDTH,
            initial_indent="    ", subsequent_indent="    ",
        )  # fmt: skip
    return lines


def _set_text(value: str) -> str:
    return value.strip().replace("_", " ") or "left blank"


def _together(together: Mapping[str, Any], confidence: float) -> list[str]:
    labor, whole, added = together["labor_h"], together["bid_hours"], together["sum_of_bid_hours"]
    share = odds_text(confidence).replace("such jobs", "times")
    why = "not all run over at once" if whole < added else "what makes one run over is shared"
    text = (
        f"All {together['jobs']} together: even odds at {hours_text(labor['p50'])}, eight in ten"
        f" {hours_text(labor['p10'])} to {hours_text(labor['p90'])}; {share} they stay within"
        f" {hours_text(whole)} (the single bids add up to {hours_text(added)}: {why})."
    )
    if together["price_usd"] is not None:
        text += f" The prices add up to {dollars_text(together['price_usd'])}."
    lines = wrap(text, WIDTH)
    for week in together.get("weeks", []):
        lines += wrap(_week(week), WIDTH)
    return lines


def _week(week: Mapping[str, Any]) -> str:
    added = hours_text(week["overtime_h"])
    text = (
        f"In the week of Monday {week['week']} its {week['jobs']} jobs, shared evenly by"
        f" {week['people']} people, go past {week['after_h']:g} h a person: {added} of overtime"
        " more, on average, than the days alone"
    )
    if week["usd"] is None:
        return text + "."
    return (
        f"{text}. That is {dollars_text(week['usd'])} of cost,"
        f" {dollars_text(week['price_usd'])} with overhead and margin, which no single price holds."
    )
