"""Are we getting better, and what to change: how the week words these two answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pourstats.learning.trend import LATEST, LEAST_BEFORE, trend
from pourstats.planning.changes import changes
from pourstats.reporting.sheet import cut
from pourstats.reporting.week_sentences import System, hours_text, minutes_text, shown, unit_text
from pourstats.reporting.week_words import REASON_WORDS, plain


def trend_told(review: Mapping[str, Any]) -> dict[str, Any]:
    """The latest floors' hours over usual against those before, from the week's control points.

    The fields of :class:`pourstats.learning.trend.Trend` (None with too few floors), ``answer`` in
    a few words and ``sentence``.
    """
    points = [p for p in (review["control"] or {}).get("points", []) if p["ratio"] > 0.0]
    # A first week is judged by floors that came after it: those before are missing.
    afterwards = review["headline"].get("basis") == "before_and_after"
    in_week = sum(p["in_week"] for p in points)
    found = None if afterwards else trend([p["ratio"] for p in points], in_week)
    if found is None:
        earlier = review["headline"].get("earlier_pours") or 0
        names = ("latest", "before", "change", "low", "high", "sure_low", "sure_high")
        return {
            **dict.fromkeys(names),
            "answer": "Can't be told yet",
            "sentence": f"It takes {LATEST + LEAST_BEFORE} floors with hours to compare the latest"
            f" ten with those before; before this week the log has"
            f" {'fewer than ten' if afterwards else earlier}.",
        }
    return {
        **vars(found),
        "answer": _answer(found.low, found.high, found.sure_low, found.sure_high),
        "sentence": f"Against what such floors usually take, the last {found.latest} took"
        f" {_percent(found.change)} hours {'as' if round(100 * found.change) == 100 else 'than'}"
        f" the {found.before} before; eight chances in ten it is"
        f" {_between(found.low, found.high)}.",
    }


def _answer(low: float, high: float, sure_low: float, sure_high: float) -> str:
    # A word said every week must not cry wolf: plain only where the 95 % interval is on one side.
    side, more = ("Better", "fewer") if high < 1.0 else ("Worse", "more")
    if low <= 1.0 <= high:
        return "About the same as before"
    if sure_low <= 1.0 <= sure_high:
        return f"Perhaps {side.lower()}, too early to be sure"
    return f"{side}: {more} hours than before"


def _percent(factor: float) -> str:
    percent = round(100.0 * (factor - 1.0))
    return "the same" if percent == 0 else f"{abs(percent)}% {'fewer' if percent < 0 else 'more'}"


def _between(low: float, high: float) -> str:
    first, last = _percent(low), _percent(high)
    if first == last:
        return first
    if first.split("%")[-1] == last.split("%")[-1]:
        first = first.split()[0]
    first, last = (text.replace("the same", "no change") for text in (first, last))
    return f"between {first} and {last}"


def changes_told(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What to change next week, as :func:`pourstats.planning.changes.changes`, and ``because``."""
    found = changes(review["stands_out"])
    return [change | {"because": because_text(change["why"])} for change in found]


_COST = {
    "late_min": "late in all", "starved_min": "in all without concrete",
    "on_late_min": "late to get on it",
}  # fmt: skip
_OF_THE_WEEK = {
    "starved_min_per_pour": "the crew stood {minutes} without concrete this week",
    "late_min_per_load": "trucks were {minutes} late this week",
}


def because_text(why: Mapping[str, Any], system: System = "us") -> str:
    """Why a change is asked for: where, the reason in words, and what it cost."""
    measure, value = why["measure"], why["value"]
    if measure in _OF_THE_WEEK:
        return _OF_THE_WEEK[measure].format(minutes=minutes_text(value))
    where = " ".join(cut(why[name], 24) for name in ("pour_id", "site") if why[name])
    return f"{where}: {_cost(why['reason'], measure, value, system)}"


def _cost(reason: str, measure: str | None, value: float, system: System) -> str:
    told = REASON_WORDS.get(reason, plain(reason))
    if measure == "evaporation_max_lb_ft2_h":
        rate = shown(value, "lb/ft2/h", system) or 0.0
        return f"up to {rate:.2f} {unit_text('lb/ft2/h', system)}"
    if measure == "oldest_min":
        return f"oldest concrete {minutes_text(value)} when unloaded"
    if measure == "overrun_pct":
        return f"{value:.0f}% more concrete than the plan"
    if measure in _COST:
        return f"{told}, {minutes_text(value)} {_COST[measure]}"
    # Half an hour over the usual is no cost worth naming.
    return told + (f", {hours_text(value)} h over the usual" if measure and value > 0.5 else "")
