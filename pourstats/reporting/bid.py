"""Bids for people: hours as odds, the price line by line, what drives it, and the floors behind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from textwrap import wrap as wrapped
from typing import Any

WIDTH = 92

wrap = partial(wrapped, break_on_hyphens=False)

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
    "area": "area", "thickness": "thickness", "hands": "hands", "slab_type": "slab type",
    "placement": "placement", "finish": "finish", "lead": "lead",
}  # fmt: skip

UNITS = {"area": " ft2", "thickness": " in", "hands": " hands"}


def bid_text(answer: Mapping[str, Any]) -> str:
    """The whole answer of `bid` for a terminal of 80 to 100 columns."""
    lines: list[str] = []
    for entry in answer["jobs"]:
        lines += _job(entry, answer["confidence"])
        if "what_if" in entry:
            lines += _what_if(entry)
        lines.append("")
    together = answer.get("together")
    if together is not None:
        lines += _together(together, answer["confidence"])
        lines.append("")
    for note in answer["notes"]:
        lines += wrap(note[0].upper() + note[1:] + ".", WIDTH)
    return "\n".join(lines).rstrip() + "\n"


def odds_text(share: float) -> str:
    """0.7 as "seven jobs in ten"; other shares in percent."""
    tenth = round(share * 10)
    names = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    if abs(share * 10 - tenth) < 1e-6 and 1 <= tenth <= 9:
        return f"{names[tenth]} such jobs in ten"
    return f"{share:.0%} of such jobs"


def _first_up(text: str) -> str:
    return text[0].upper() + text[1:]


def hours_text(hours: float) -> str:
    """Hours to a tenth below a hundred: 23.3 h, 7.4 h, 140 h."""
    return f"{hours:,.0f} h" if abs(hours) >= 99.95 else f"{hours:,.1f} h"


def dollars_text(usd: float | None) -> str:
    """Whole dollars; unknown is a dash."""
    if usd is None:
        return "-"
    return f"-${-usd:,.0f}" if usd < -0.5 else f"${usd:,.0f}"


def _job(entry: Mapping[str, Any], confidence: float) -> list[str]:
    labor, crew = entry["labor_h"], entry["crew_h"]
    price = entry["price_usd"]
    head = f"{entry['pour_id']}: bid {hours_text(entry['bid_hours'])} of labor"
    if price is not None:
        head += f", ask {dollars_text(price)} (${entry['price_usd_per_ft2']:.2f} a foot)"
    lines = [head + "."]
    lines += wrap(
        f"{_first_up(odds_text(confidence))} stay within that."
        f" Even odds at {hours_text(labor['p50'])};"
        f" eight in ten run {hours_text(labor['p10'])} to {hours_text(labor['p90'])}."
        f" On the clock {hours_text(crew['p50'])}, eight in ten {hours_text(crew['p10'])} to"
        f" {hours_text(crew['p90'])}.",
        WIDTH, initial_indent="  ", subsequent_indent="  ",
    )  # fmt: skip
    long = entry["long_day"]
    if long["chance"] >= 0.1:
        lines += wrap(
            f"{_first_up(odds_text(round(long['chance'], 1)))} run past {long['after_h']:g} h on"
            " the clock.",
            WIDTH, initial_indent="  ", subsequent_indent="  ",
        )  # fmt: skip
    parts = sorted(entry["parts_h"].items(), key=lambda part: -float(part[1]))
    shown = [f"{PART_WORDS[name]} {hours_text(hours)}" for name, hours in parts if hours >= 0.05]
    lines += wrap("Where they go: " + ", ".join(shown) + ".", WIDTH, initial_indent="  ",
                  subsequent_indent="  ")  # fmt: skip
    if entry["drivers"]:
        usual = "Beside your usual job: " if entry["based_on"]["pours"] else "Beside a plain job: "
        lines += wrap(usual + "; ".join(map(driver_text, entry["drivers"]))
                      + ".", WIDTH, initial_indent="  ", subsequent_indent="  ")  # fmt: skip
    for item in entry["outside"]:
        lines += wrap(outside_text(item), WIDTH, initial_indent="  ", subsequent_indent="  ")
    lines += _price(entry)
    lines += _similar(entry)
    return lines


def driver_text(driver: Mapping[str, Any]) -> str:
    """One driver in plain words: ``pump +1.2 h``."""
    column, has, usual = driver["column"], driver["has"], driver["usual"]
    if column == "thickness":
        words = f"{has:g} in thick, not {usual:g}"
    elif column == "hands":
        words = f"{has:g} hands, not {usual:.0f}"
    elif column == "air_temp_f":
        words = f"{'heat' if has > usual else 'cold'} ({has:.0f} F, not {usual:.0f})"
    elif column == "saw_type":
        words = "sawing"
    elif column == "lead":
        words = f"{has} leads"
    elif column == "reinforcement":
        words = "no steel or fiber" if has == "none" else str(has).replace(";", " and ")
    else:
        words = str(has).replace("_", " ").replace(";", " and ")
    return f"{words} {driver['hours']:+.1f} h"


def outside_text(item: Mapping[str, Any]) -> str:
    """One way in which a job lies outside the record, as a sentence."""
    column, has = item["column"], item["has"]
    if item["low"] is not None:
        unit = UNITS.get(column, "")
        side = "more" if has > item["high"] else "less"
        bound = item["high"] if has > item["high"] else item["low"]
        return (f"Outside what you have done: {has:,.0f}{unit} is {side} than any pour logged"
                f" ({bound:,.0f}{unit}).")  # fmt: skip
    name = COLUMN_WORDS[column]
    count = "never logged" if item["pours"] == 0 else f"logged {item['pours']} times only"
    if item["pours"] == 1:
        count = "logged once only"
    return f"Outside what you have done: {name} {str(has).replace('_', ' ')}, {count}."


def _price(entry: Mapping[str, Any]) -> list[str]:
    own = entry["price_lines"]
    if own is None:
        return []
    rows = [(f"labor, {hours_text(entry['mean_labor_h'])} on average at"
             f" ${entry['labor_cost_usd_h']:.2f} ({COST_WORDS[entry['labor_cost_from']]})",
             own["labor_usd"])]  # fmt: skip
    for line in entry["lines"]:
        hours = "" if line["hours"] is None else f", {hours_text(line['hours'])}"
        rows.append((LINE_WORDS[line["line"]] + hours + f" ({line['because']})", line["usd"]))
    rows += [
        (f"contingency, from the average up to {odds_text(own['confidence'])}",
         own["contingency_usd"]),
        ("overhead", own["overhead_usd"]),
        (f"margin, {own['margin_share']:.0%} of the price"
         + (f" (a markup of {own['markup_share']:.0%})" if own["markup_share"] is not None else ""),
         own["margin_usd"]),
        ("price" + (", raised to the smallest job" if own["raised_to_minimum_job"] else ""),
         entry["price_usd"]),
    ]  # fmt: skip
    lines = []
    for words, usd in rows:
        lines += _row(words, "unknown" if usd is None else dollars_text(usd))
    return lines


def _row(words: str, amount: str) -> list[str]:
    pieces = wrap(words, WIDTH - 16, subsequent_indent="  ")
    pieces[-1] = f"{pieces[-1]:<{WIDTH - 14}}{amount:>10}"
    return ["    " + piece for piece in pieces]


def _similar(entry: Mapping[str, Any]) -> list[str]:
    if not entry["similar"]:
        return ["  No pours of your own behind it yet."]
    lines = [f"  Most like it, of {entry['based_on']['pours']} pours:"]
    for pour in entry["similar"]:
        kind = " ".join(
            str(pour[name]).replace("_", " ")
            for name in ("slab_type", "finish", "placement")
            if pour.get(name)
        )
        took = hours_text(pour["read_h"])
        if pour.get("hours_from") != "crew_time":
            took = f"about {took} (by head count)"
        lines.append(
            f"    {pour['pour_id']:<10}{pour['date']}  {pour['area']:>7,.0f} ft2"
            f" {pour['thickness']:>4g} in  {kind:<29}{took}"
        )
    return lines


def _what_if(entry: Mapping[str, Any]) -> list[str]:
    other = entry["what_if"]
    changed = ", ".join(f"{name} {value}" for name, value in other["set"].items())
    more = other["more_labor_h"]
    lines = [f"  What if {changed}:"]
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
    return lines


def _together(together: Mapping[str, Any], confidence: float) -> list[str]:
    labor = together["labor_h"]
    text = (
        f"All {together['jobs']} together: even odds at {hours_text(labor['p50'])}, eight in ten"
        f" {hours_text(labor['p10'])} to {hours_text(labor['p90'])};"
        f" {odds_text(confidence)} of the kind would stay within"
        f" {hours_text(together['bid_hours'])} (the single bids add up to"
        f" {hours_text(together['sum_of_bid_hours'])}: not all run over at once)."
    )
    if together["price_usd"] is not None:
        text += f" The prices add up to {dollars_text(together['price_usd'])}."
    return wrap(text, WIDTH)


def bias_text(bias: Mapping[str, Any]) -> str:
    """The correction to make: "your garage bids run 18 % short (14 pours; 9 to 27 %)"."""
    group = "" if bias["group"] == "all" else bias["group"] + " "
    share, low, high = bias["short_share"], bias["low"], bias["high"]
    pours = f"{bias['pours']} pour" + ("" if bias["pours"] == 1 else "s")
    if low is None or high is None:
        return f"Your {group}bids: {pours}, too few to tell."
    if not bias["clear"]:
        return (f"Your {group}bids show no clear lean ({pours}; from {-low * 100:.0f} % long to"
                f" {high * 100:.0f} % short).")  # fmt: skip
    if share > 0:
        return (f"Your {group}bids run {share * 100:.0f} % short ({pours}; {low * 100:.0f} to"
                f" {high * 100:.0f} %): add that to the hours.")  # fmt: skip
    return (f"Your {group}bids run {-share * 100:.0f} % long ({pours}; {-high * 100:.0f} to"
            f" {-low * 100:.0f} %): there is room to bid less.")  # fmt: skip


def rates_text(card: Mapping[str, Any]) -> str:
    """The rate card for a terminal, as of its latest pour."""
    levels: Sequence[float] = card["confidences"]
    marks = [f"{level:g}" for level in levels]
    lines = [
        f"RATE CARD as of {card['as_of']}, {card['pours']} pours",
        "",
        *wrap(
            "Labor of each kind's middling floor: even odds / "
            + " / ".join(f"{odds_text(level)} within" for level in levels[1:])
            + ". Dollars are labor with overhead and margin.", WIDTH,
        ),
        "",
        f"{'kind':<32}{'pours':>5}  {'h per 100 ft2':<18}{'h per yard':<18}{'$ a foot':<18}",
    ]  # fmt: skip
    for rate in card["rates"]:
        kind = " ".join(
            str(rate[name] or "?").replace("_", " ")
            for name in ("slab_type", "finish", "placement")
        )
        cells = [" / ".join(f"{rate[name][mark]:.1f}" for mark in marks)
                 for name in ("hours_per_100ft2", "hours_per_yd3")]  # fmt: skip
        usd = [rate["usd_per_ft2"][mark] for mark in marks]
        cells.append("-" if None in usd else " / ".join(f"{value:.2f}" for value in usd))
        lines.append(f"{kind[:31]:<32}{rate['pours']:>5}  " + "".join(f"{c:<18}" for c in cells))
        lines += _rate_more(rate, card["since"])
    lines.append("")
    for bias in card["bias"]:
        lines += wrap(bias_text(bias), WIDTH, subsequent_indent="  ")
    for note in card["notes"]:
        lines += wrap(note[0].upper() + note[1:] + ".", WIDTH)
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def _rate_more(rate: Mapping[str, Any], since: str) -> list[str]:
    pieces = []
    change = rate["change_hours_per_100ft2"]
    if change is not None and abs(change) >= 0.015:
        pieces.append(f"{change:+.2f} h from {since} ({_count(rate['pours_since'], 'pour')} since)")
    if rate["bid"] is not None:
        made = rate["bid"]
        pieces.append(
            f"bid {made['hours_per_100ft2']:.1f}, took {made['took_hours_per_100ft2']:.1f}"
            f" per 100 ft2 ({_count(made['pours'], 'bid')})"
        )
    return ["    " + "; ".join(pieces)] if pieces else []


def _count(number: int, one: str) -> str:
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


METHOD_WORDS = {
    "tool": "this tool", "bid_made": "the bids you made", "flat_rate": "a flat rate a type",
    "last_similar": "the last similar job",
}  # fmt: skip


def proof_text(proof: Mapping[str, Any]) -> str:
    """What trusting the tool would have meant on the crew's own past, for a terminal."""
    held = proof["coverage"]["80"]
    lines = wrap(
        f"HOURS, on your own past: {proof['pours']} pours from {proof['first']} to {proof['last']},"
        " each told only from what was known before its bid.", WIDTH,
    )  # fmt: skip
    lines += wrap(
        f"What was said to hold eight times in ten held {held['value'] * 10:.1f} times in ten"
        f" ({_between(held, 10)}).", WIDTH,
    )  # fmt: skip
    if proof["too_rough"]:
        lines += wrap(
            f"{_count(proof['too_rough'], 'pour')} known by part of a head count only: too rough to"
            " score by.", WIDTH,
        )  # fmt: skip
    lines += ["", f"{'':<24}{'pours':>6}{'off by':>9}{'lean':>8}{'short at one margin':>22}"]
    for name, score in proof["methods"].items():
        if score["pours"] == 0:
            lines.append(f"{METHOD_WORDS[name]:<24}{0:>6}  nothing to go by")
            continue
        usd = score.get("usd_short_at_equal_margin")
        short = hours_text(score["short_h_at_equal_margin"]) if usd is None else dollars_text(usd)
        lines.append(
            f"{METHOD_WORDS[name]:<24}{score['pours']:>6}{score['mean_abs_error_h']:>7.1f} h"
            f"{score['bias_share'] * 100:>+6.0f} %{short:>22}"
        )
    lines.append("")
    for name, score in proof["methods"].items():
        if score.get("tool_better_by_h") is not None:
            lines += wrap(_against(name, score), WIDTH, subsequent_indent="  ")
    return "\n".join(lines).rstrip() + "\n"


def _against(name: str, score: Mapping[str, Any]) -> str:
    better, usd = score["tool_better_by_h"], score.get("tool_saves_usd_a_pour")
    words = METHOD_WORDS[name]
    if better["low"] is None:
        return f"Against {words}: too few pours to tell."
    if better["low"] > 0:
        verdict = f"the tool was closer by {better['value']:.1f} h a pour"
    elif better["high"] < 0:
        verdict = f"the tool was farther off by {-better['value']:.1f} h a pour"
    else:
        verdict = f"no clear difference ({better['value']:+.1f} h a pour)"
    text = (f"Against {words} ({better['count']} pours): {verdict}"
            f" ({better['low']:+.1f} to {better['high']:+.1f} h)")  # fmt: skip
    if usd is not None and usd["low"] is not None:
        text += (f"; at one margin {dollars_text(usd['value'])} a pour"
                 f" ({dollars_text(usd['low'])} to {dollars_text(usd['high'])})")  # fmt: skip
    return text + "."


def _between(share: Mapping[str, Any], scale: float) -> str:
    if share["low"] is None:
        return f"{share['count']} pours"
    return (f"{share['count']} pours; {share['low'] * scale:.1f} to"
            f" {share['high'] * scale:.1f} by chance")  # fmt: skip
