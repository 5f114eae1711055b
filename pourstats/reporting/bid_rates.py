"""The rate card, the lean of past bids, and the proof, for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pourstats.reporting.bid_words import (
    WIDTH,
    count_text,
    dollars_text,
    first_up,
    hours_text,
    odds_text,
    wrap,
)
from pourstats.units import System, to_system


def bias_text(bias: Mapping[str, Any]) -> str:
    """The correction to make: "your garage bids run 18 % short (14 pours; 9 to 27 %)"."""
    own = "bids, all together," if bias["group"] == "all" else f"{bias['group']} bids"
    share, low, high = bias["short_share"], bias["low"], bias["high"]
    pours = f"{bias['pours']} pour" + ("" if bias["pours"] == 1 else "s")
    if low is None or high is None:
        return f"Your {own}: {pours}, too few to tell."
    if not bias["clear"]:
        return (f"Your {own} show no clear lean ({pours}; from {-low * 100:.0f} % long to"
                f" {high * 100:.0f} % short).")  # fmt: skip
    if share > 0:
        return (f"Your {own} run {share * 100:.0f} % short ({pours}; {low * 100:.0f} to"
                f" {high * 100:.0f} %): add that to the hours.")  # fmt: skip
    return (f"Your {own} run {-share * 100:.0f} % long ({pours}; {-high * 100:.0f} to"
            f" {-low * 100:.0f} %): there is room to bid less.")  # fmt: skip


def rates_text(card: Mapping[str, Any], units: System = "us") -> str:
    """The rate card for a terminal, as of its latest pour."""
    levels: Sequence[float] = card["confidences"]
    marks = [f"{level:g}" for level in levels]
    metric = units == "metric"
    by_area, by_volume, foot = _scales(units)
    lines = [
        f"RATE CARD as of {card['as_of']}, {card['pours']} pours",
        "",
        *wrap(
            "Labor of each kind's middling floor: even odds / "
            + " / ".join(f"{odds_text(level)} within" for level in levels[1:])
            + ". Dollars are labor with overhead and margin.", WIDTH,
        ),
        "",
        f"{'kind':<32}{'pours':>5}  {'h per 10 m2' if metric else 'h per 100 ft2':<18}"
        f"{'h per m3' if metric else 'h per yard':<18}{'$ a m2' if metric else '$ a foot':<18}",
    ]  # fmt: skip
    for rate in card["rates"]:
        told = [str(rate[name]).replace("_", " ") for name in ("finish", "placement") if rate[name]]
        kind = " ".join([str(rate["slab_type"]), *(told or ["(rest not logged)"])])
        cells = [
            " / ".join(f"{rate[name][mark] * scale:.1f}" for mark in marks)
            for name, scale in (("hours_per_100ft2", by_area), ("hours_per_yd3", by_volume))
        ]
        usd = [rate["usd_per_ft2"][mark] for mark in marks]
        cells.append("-" if None in usd else " / ".join(f"{value * foot:.2f}" for value in usd))
        lines.append(f"{kind[:31]:<32}{rate['pours']:>5}  " + "".join(f"{c:<18}" for c in cells))
        lines += _rate_more(rate, card["since"], units)
    lines.append("")
    lines += _leans(card["bias"])
    for note in card["notes"]:
        lines += wrap(first_up(note) + ".", WIDTH)
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def _scales(units: System) -> tuple[float, float, float]:
    """What turns hours per 100 ft2, hours a yard and dollars a foot into the units shown."""
    if units == "us":
        return 1.0, 1.0, 1.0
    m2_per_ft2 = float(to_system(1.0, "ft2", units))
    return 0.1 / m2_per_ft2, 1.0 / float(to_system(1.0, "yd3", units)), 1.0 / m2_per_ft2


def _leans(found: Sequence[Mapping[str, Any]]) -> list[str]:
    """The leans that can be told, and in one line the kinds with too few pours."""
    lines: list[str] = []
    few = [bias["group"] for bias in found if bias["low"] is None and bias["group"] != "all"]
    for bias in found:
        if bias["group"] not in few:
            lines += wrap(bias_text(bias), WIDTH, subsequent_indent="  ")
    if few:
        lines += wrap(f"Too few bids to tell: {', '.join(few)}.", WIDTH, subsequent_indent="  ")
    return lines


def _rate_more(rate: Mapping[str, Any], since: str, units: System) -> list[str]:
    pieces = []
    scale, size = _scales(units)[0], "10 m2" if units == "metric" else "100 ft2"
    change = rate["change_hours_per_100ft2"]
    if change is not None and abs(change) >= 0.015:
        since_then = count_text(rate["pours_since"], "pour")
        pieces.append(f"{change * scale:+.2f} h from {since} ({since_then} since)")
    if rate["bid"] is not None:
        made, bids = rate["bid"], count_text(rate["bid"]["pours"], "bid")
        pieces.append(
            f"bid {made['hours_per_100ft2'] * scale:.1f}, took"
            f" {made['took_hours_per_100ft2'] * scale:.1f} per {size} ({bids})"
        )
    return ["    " + "; ".join(pieces)] if pieces else []


METHOD_WORDS = {
    "tool": "this tool", "bid_made": "the bids you made", "flat_rate": "a flat rate a type",
    "last_similar": "the last similar job",
}  # fmt: skip


def proof_text(proof: Mapping[str, Any]) -> str:
    """What trusting the tool would have meant on the crew's own past, for a terminal."""
    held = proof["coverage"]["80"]
    lines = wrap(
        f"HOURS, on your own past: {proof['pours']} pours from {proof['first']} to {proof['last']},"
        " each told only from what was known before its bid: the floor and the crew as logged, not"
        " the day's weather, its slump or who stayed to finish.", WIDTH,
    )  # fmt: skip
    if proof["pours"] > proof["look_back"]:
        lines += wrap(
            f"On so long a record it learns anew at {proof['most_fits']} moments only, each time"
            f" from the {proof['look_back']} pours before: a bid knows more.", WIDTH,
        )  # fmt: skip
    lines += wrap(
        f"What was said to hold eight times in ten held {held['value'] * 10:.1f} times in ten"
        f" ({_between(held, 10)}).", WIDTH,
    )  # fmt: skip
    if proof["too_rough"]:
        lines += wrap(
            f"{count_text(proof['too_rough'], 'pour')} known by part of a head count only: too"
            " rough to score by.", WIDTH,
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
