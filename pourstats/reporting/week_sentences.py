"""The sentences of the weekly review: its headline, what stood out, and why.

Each is made from the review's own numbers, so that text, page and sheet agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Literal

from pourstats.reporting.week_words import (
    FIGURE_NEWS,
    FIGURE_WORDS,
    REASON_WORDS,
    TASK_WORDS,
    UNIT_WORDS,
    number_text,
    plain,
)

System = Literal["us", "metric"]

NEAR = 0.15
"""Hours within this share of the usual are simply called usual."""


def day_text(iso: str | None, year: bool = False) -> str:
    """``2031-06-03`` as ``Tue Jun 3``; with the year if wanted."""
    if not iso:
        return "unknown day"
    when = date.fromisoformat(iso[:10])
    return f"{when:%a %b} {when.day}" + (f", {when.year}" if year else "")


def minutes_text(minutes: float | None) -> str:
    """``45 min``, ``2 h 05 min``."""
    if minutes is None:
        return "-"
    whole = round(minutes)
    if abs(whole) < 90:
        return f"{whole} min"
    sign = "-" if whole < 0 else ""
    return f"{sign}{abs(whole) // 60} h {abs(whole) % 60:02d} min"


def shown(value: float | None, unit: str, system: System) -> float | None:
    """A value in a house unit, in the unit that is to be shown."""
    if value is None or system == "us" or unit not in UNIT_WORDS["metric"]:
        return value
    from pourstats import units

    return float(units.to_system(value, unit, system))


def unit_text(unit: str, system: System) -> str:
    """The unit's name on the page."""
    return UNIT_WORDS[system].get(unit, UNIT_WORDS["us"].get(unit, unit))


def count_text(number: int, one: str, many: str | None = None) -> str:
    """``1 pour``, ``3 pours``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def par_pours(par: Mapping[str, Any], review: Mapping[str, Any]) -> str:
    """``17 earlier pours``, of those a par rests on; ``other`` where some came after the week."""
    word = "other" if review["headline"].get("basis") == "before_and_after" else "earlier"
    return count_text(par["pours"], f"{word} pour")


def par_lines(review: Mapping[str, Any], system: System, most: int = 3) -> list[str]:
    """The week's hours at par, a line a kind of floor, those with most hours first."""
    found: list[str] = []
    for par in sorted(review["par"], key=lambda each: -each["labor_h"]):
        if par["par_h"] is None or len(found) == most:
            continue
        area = unit_text("ft2", system)
        rate = number_text(shown(1.0 / par["hours_per_ft2"], "ft2", system))
        word = floor_word(par["slab_type"])
        found.append(
            f"{word.capitalize()}, {count_text(len(par['pour_ids']), 'floor')}:"
            f" {hours_text(par['labor_h'])} h spent, {hours_text(par['par_h'])} h at par"
            f" ({rate} {area} a labor-hour, from {par_pours(par, review)})."
        )
    return found


def against_lines(review: Mapping[str, Any], system: System, most: int = 3) -> list[str]:
    """Hours against par and bid, where they are known: what stands beside the usual."""
    lines = [f"Par: {line[0].lower()}{line[1:]}" for line in par_lines(review, system, most)]
    bids = review.get("bids") or {}
    if bids.get("compared"):
        lines.append(
            f"Bid: {count_text(bids['compared'], 'pour')}: {hours_text(bids['spent_h'])} h spent,"
            f" {hours_text(bids['bid_h'])} h bid."
        )
    return lines


def earlier_text(pours: int) -> str:
    """``no earlier pours``, ``3 earlier pours``."""
    return count_text(pours, "earlier pour") if pours else "no earlier pours"


def hours_text(value: float) -> str:
    """Hours without decimals from ten on."""
    return f"{value:,.0f}" if value >= 10 else f"{value:,.1f}"


# ---------------------------------------------------------------------------------------------
# Figures.


def figure_label(name: str, figures: Mapping[str, Any], system: System) -> str:
    """What a figure of the week is called."""
    hands = figures.get("mean_hands", {}).get("value")
    return _in_units(FIGURE_WORDS[name].label, system).replace("{hands}", number_text(hands))


def figure_value(name: str, figure: Mapping[str, Any], pours: int, system: System) -> str:
    """A figure of the week as it is printed, of ``pours`` pours."""
    return FIGURE_WORDS[name].value(figure, lambda v: _figure_in(v, name, figure, system), pours)


def figure_span(name: str, figure: Mapping[str, Any], system: System) -> str:
    """The usual range of a figure; empty where there is none."""
    if figure["usual_low"] is None:
        return ""
    low, high = (
        _figure_in(figure[end], name, figure, system) for end in ("usual_low", "usual_high")
    )
    return FIGURE_WORDS[name].span(low or 0.0, high or 0.0)


def _figure_in(
    value: float | None, name: str, figure: Mapping[str, Any], system: System
) -> float | None:
    """In the units shown; dollars a yard turn into dollars a cubic meter."""
    if value is not None and name.endswith("_usd_per_yd3") and system == "metric":
        return value / (shown(1.0, "yd3", system) or 1.0)
    return shown(value, figure["unit"], system)


def _in_units(words: str, system: System) -> str:
    for mark, unit in (("{yd}", "yd3"), ("{one}", "yd3_one"), ("{ft}", "ft2")):
        words = words.replace(mark, unit_text(unit, system))
    return words


# ---------------------------------------------------------------------------------------------
# Sentences.


def headline_text(review: Mapping[str, Any]) -> str:
    """The week in one or two sentences: hours spent against what such floors usually take."""
    head, week = review["headline"], review["week"]
    if review["state"] == "no_pours":
        return (
            "No pours in the log yet. Load a folder of logs with `pourstats load FOLDER`; "
            "`pourstats template DIR` makes blank ones. The least that a pour needs: date, site, "
            "slab type, area, thickness, hands, and when placing and finishing began and ended."
        )
    if review["state"] == "quiet_week":
        return (
            f"No pours from {day_text(week['start'])} to {day_text(week['end'], year=True)}. "
            f"The latest in the log is of {day_text(week['latest_pour'], year=True)}."
        )
    floors = count_text(head["pours_with_hours"], "floor")
    if head["spent_h"] is None:
        return (
            f"{count_text(head['pours'], 'pour')}, but no hours: log hands, crew in and gone "
            "(or each person's times), and the week can be judged."
        )
    part = ""
    if head["pours_with_hours"] < head["pours"]:
        part = f" (hours are known for {head['pours_with_hours']} of {head['pours']} pours)"
    spent = f"{hours_text(head['spent_h'])} labor-hours went into {floors}{part}"
    if head["verdict"] is None:
        earlier = earlier_text(head["earlier_pours"])
        return (
            f"{spent}. Whether that is usual can't be told yet: the log has {earlier} to judge "
            "by, and it takes five for a rough answer, ten for a good one."
        )
    such = (
        "such a floor usually takes"
        if head["pours_with_hours"] == 1
        else ("such floors usually take")
    )
    return f"{spent}; {such} {hours_text(head['usual_h'])}: {_verdict(head)}"


def _verdict(head: Mapping[str, Any]) -> str:
    change = round(100.0 * (head["ratio"] - 1.0))
    much = (
        "just the usual"
        if change == 0
        else f"{abs(change)}% {'more' if change > 0 else 'less'} than usual"
    )
    low, high = hours_text(head["usual_low_h"]), hours_text(head["usual_high_h"])
    ends = f"eight times in ten such a week takes {low} to {high}"
    if head["verdict"] == "usual":
        end = f"{much}, an ordinary week ({ends})."
        if head["far_out"]:
            end += f" But one floor was far out: {', '.join(head['far_out'])}."
            if len(head["far_out"]) > 1:
                end = end.replace("one floor was", "these were")
    elif head["verdict"] == "above":
        end = f"{much}, a slow week ({ends})."
        most = head["most_over"]
        if most is not None:
            end += f" {_furthest_over(head, most)}"
    else:
        end = f"{much}, a fast week ({ends})."
    if head["earlier_pours"] < 10:
        end += f" Rough: only {head['earlier_pours']} earlier pours to judge by."
    return end


def _furthest_over(head: Mapping[str, Any], most: Mapping[str, Any]) -> str:
    over, all_over = most["labor_h"] - most["usual_h"], head["spent_h"] - head["usual_h"]
    lead = "Most of it was" if over > 0.5 * all_over else "Furthest over was"
    return (
        f"{lead} the {floor_word(most['slab_type'])} at {most['site']} "
        f"({most['pour_id']}, {gap_text(most['labor_h'], most['usual_h'])} over)."
    )


def standout_text(item: Mapping[str, Any], system: System = "us") -> str:
    """What one thing that stood out was, and its evidence."""
    if item["kind"] == "figure":
        return _figure_news(item["evidence"][0], system)
    where = f"{floor_word(item['slab_type'])} at {item['site'] or 'an unknown site'}"
    if item["kind"] == "callback":
        fact = item["evidence"][0]
        poured = f", poured {day_text(fact['poured'])}" if fact["poured"] else ""
        spent = f", {hours_text(fact['hours'])} hours spent on it" if fact["hours"] else ""
        defect = plain(fact["defect"] or "defect not named")
        return (
            f"{day_text(item['date'])}: called back to the {where} ({item['pour_id']}{poured}) "
            f"for {defect}{spent}."
        )
    lead = f"{day_text(item['date'])}, {where} ({item['pour_id']}): "
    parts = [text for fact in item["evidence"] if (text := _fact_text(fact, system))]
    if not any(fact["measure"] == "labor_h" for fact in item["evidence"]):
        parts.append("its hours are not logged")
    return lead + "; ".join(parts) + "."


def _figure_news(figure: Mapping[str, Any], system: System) -> str:
    name = figure["measure"]
    value = figure_value(name, figure, figure["pours_known"] or 0, system)
    news = _in_units(FIGURE_NEWS[name], system).replace("{value}", value)
    span = figure_span(name, figure, system)
    return f"The week as a whole: {news}; eight {figure['usual_of']} in ten it is {span}."


def gap_text(spent: float, usual: float) -> str:
    """By how much two hours differ as they are printed, so that a reader's sum agrees."""
    first, second = (float(hours_text(hours).replace(",", "")) for hours in (spent, usual))
    return f"{abs(first - second):,.1f}".removesuffix(".0")


def floor_word(slab_type: str | None) -> str:
    """What a slab is called: its type, or just a floor."""
    return "floor" if slab_type in (None, "other") else plain(slab_type)


def _fact_text(fact: Mapping[str, Any], system: System) -> str:
    value, usual, high = fact["value"], fact.get("usual_middle"), fact.get("usual_high")
    measure = fact["measure"]
    most = f" (mostly up to {minutes_text(high)})" if high is not None else ""
    if measure == "labor_h":
        return _hours_fact(fact)
    if measure in TASK_WORDS:
        spent, expected = hours_text(value), hours_text(usual or 0.0)
        return f"most of it in {TASK_WORDS[measure]}: {spent} h, usually {expected}"
    if measure == "starved_min":
        return f"stood {minutes_text(value)} without concrete between trucks{most}"
    if measure == "late_min":
        return f"trucks {minutes_text(value)} late in all{most}"
    if measure == "over_min":
        return f"trucks held {minutes_text(value)} over their free time{most}"
    if measure == "on_late_min":
        return f"got on it {minutes_text(value)} after it was ready"
    if measure == "first_pass_min":
        return f"first pass {minutes_text(value)} after strike-off{most}"
    if measure == "passes":
        return f"{value:.0f} passes, usually {number_text(usual)}"
    if measure == "overrun_pct":
        return f"took {value:.0f}% more concrete than the plan"
    if measure == "over_bid_h":
        return f"{hours_text(value)} h over the {hours_text(fact['bid_h'])} h that were bid"
    if measure == "oldest_min":
        limit = minutes_text(fact["limit_min"])
        return f"oldest concrete {minutes_text(value)} when unloaded, the limit is {limit}"
    if measure == "evaporation_max_lb_ft2_h":
        rate = shown(value, "lb/ft2/h", system) or 0.0
        return (
            f"drying up to {rate:.2f} {unit_text('lb/ft2/h', system)}: cracks threaten from "
            f"{shown(0.2, 'lb/ft2/h', system):.1f} on, cover or fog early"
        )
    return f"{plain(measure)} {number_text(value)}"


def _hours_fact(fact: Mapping[str, Any]) -> str:
    spent, verdict = fact["value"], fact.get("verdict")
    told = hours_text(spent)
    if verdict is None:
        return f"{told} labor-hours"
    usual = hours_text(fact["usual_middle"])
    ends = f"{hours_text(fact['usual_low'])} to {hours_text(fact['usual_high'])}"
    gap = gap_text(spent, fact["usual_middle"])
    if verdict == "usual":
        if abs(spent / fact["usual_middle"] - 1.0) < NEAR:
            return f"{told} labor-hours, as usual for such a floor ({ends})"
        side = "over" if spent > fact["usual_middle"] else "under"
        return (
            f"{told} labor-hours, {gap} {side} the usual {usual} but within the ordinary ({ends})"
        )
    side = "over" if verdict in ("slow", "far_slow") else "fewer"
    return (
        f"{gap} labor-hours {side}: {told} spent where such floors usually take "
        f"{usual} ({ends} eight times in ten)"
    )


def reason_text(item: Mapping[str, Any], system: System = "us") -> str | None:
    """Why: the log's own word, or what is likely and called so; None where nothing asks for it."""
    reason = item["reason"]
    if reason["source"] == "log":
        told = ", ".join(REASON_WORDS.get(word, plain(word)) for word in reason["words"])
        return f"The log says: {told}."
    if reason["source"] == "likely":
        word = reason["words"][0]
        text = REASON_WORDS[word]
        if word in ("cold_set", "heat") and reason["value"] is not None:
            air = shown(reason["value"], "degF", system)
            text += f" ({air:.0f} {unit_text('degF', system)})"
        return f"Likely: {text} (about {hours_text(reason['hours'])} h of it)."
    slow = any(fact.get("verdict") in ("slow", "far_slow") for fact in item["evidence"])
    if item["kind"] == "floor" and slow:
        return "The log gives no reason."
    return None


def call_text(call: Mapping[str, Any]) -> str:
    """One call to come back, as a line."""
    return (
        f"{day_text(call['reported'])}: called back to the {floor_word(call['slab_type'])} at"
        f" {call['site'] or 'an unknown site'} ({call['pour_id']}) for"
        f" {plain(call['defect'] or 'defect not named')}."
    )


def help_text(item: Mapping[str, Any]) -> str:
    """How such a defect is told, and its usual causes, by published guidance; empty without one."""
    return f"What it looks like: {item['help']}" if item.get("help") else ""
