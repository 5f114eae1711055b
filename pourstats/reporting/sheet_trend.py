"""Are we getting better, and what to change: the two answers that the sheet gives in large type."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pourstats.reporting.sheet import cut
from pourstats.reporting.week_sentences import System, hours_text, minutes_text, shown, unit_text
from pourstats.reporting.week_words import REASON_WORDS, plain

LATEST = 10
"""Floors that count as lately; all of the week's where it has more."""
LEAST = 10
"""Floors before them that it takes to compare."""


def trend(review: Mapping[str, Any]) -> dict[str, Any]:
    """The latest floors' hours over usual against those of the floors before.

    ``answer`` and ``sentence`` for people; ``change``, ``low`` and ``high`` the factor and its
    80 % interval (Welch's t on logarithms, as a ratio to the floors before; NIST/SEMATECH
    e-Handbook 7.3.1), None where the floors are too few; ``dots`` of (x, ratio, in_week) and the
    limits for the chart.
    """
    control = review["control"]
    points = [p for p in (control or {}).get("points", []) if p["ratio"] > 0.0]
    late = max(LATEST, sum(p["in_week"] for p in points))
    logs = np.log([p["ratio"] for p in points]) if points else np.empty(0)
    found: dict[str, Any] = {"change": None, "low": None, "high": None, "late": late, "chart": None}
    if control is not None and points:
        found["chart"] = _chart(control, points)
    afterwards = review["headline"].get("basis") == "before_and_after"
    if afterwards or len(points) < late + LEAST:
        earlier = review["headline"].get("earlier_pours") or 0
        return found | {
            "answer": "Can't be told yet",
            "chart": None if afterwards else found["chart"],
            "sentence": f"It takes {LATEST + LEAST} floors with hours to compare the latest ten"
            f" with those before; before this week the log has"
            f" {'fewer than ten' if afterwards else earlier}.",
        }
    gap, reach, wide = _welch(logs[-late:], logs[:-late])
    change, low, high = (float(np.exp(g)) for g in (gap, gap - reach, gap + reach))
    found |= {"change": change, "low": low, "high": high}
    return found | {
        "answer": _answer(gap, reach, wide),
        "sentence": f"Against what such floors usually take, the last {late} took"
        f" {_percent(change)} hours {'than' if round(100 * change) != 100 else 'as'} the"
        f" {len(points) - late} before; eight chances in ten it is {_between(low, high)}.",
    }


def _answer(gap: float, reach: float, wide: float) -> str:
    # A word said every week must not cry wolf: plain only beyond the 95 % interval.
    side = "Better" if gap < 0.0 else "Worse"
    more = "fewer" if gap < 0.0 else "more"
    if abs(gap) > wide:
        return f"{side}: {more} hours than before"
    if abs(gap) > reach:
        return f"Perhaps {side.lower()}, too early to be sure"
    return "About the same as before"


def _percent(factor: float) -> str:
    percent = round(100.0 * (factor - 1.0))
    return "the same" if percent == 0 else f"{abs(percent)}% {'fewer' if percent < 0 else 'more'}"


def _between(low: float, high: float) -> str:
    first, last = _percent(low), _percent(high)
    if first.split("%")[-1] == last.split("%")[-1]:
        first = first.split()[0]
    return first if first == last else f"between {first} and {last}"


def _welch(now: np.ndarray[Any, Any], before: np.ndarray[Any, Any]) -> tuple[float, float, float]:
    """Difference of means, and how far its 80 % and its 95 % interval reach to each side."""
    from scipy.special import stdtrit

    parts = [now.var(ddof=1) / now.size, before.var(ddof=1) / before.size]
    error = float(np.sqrt(sum(parts)))
    gap = float(now.mean() - before.mean())
    if error == 0.0:
        return gap, abs(gap), abs(gap)
    freedom = sum(parts) ** 2 / (parts[0] ** 2 / (now.size - 1) + parts[1] ** 2 / (before.size - 1))
    return gap, float(stdtrit(freedom, 0.9)) * error, float(stdtrit(freedom, 0.975)) * error


def _chart(control: Mapping[str, Any], points: list[Any]) -> dict[str, Any]:
    ratios = [p["ratio"] for p in points]
    top = max(control["upper"], *ratios) * 1.08
    bottom = min(control["lower"], *ratios) / 1.08
    span = float(np.log(top / bottom))

    def place(ratio: float) -> float:
        return float(np.log(ratio / bottom)) / span

    return {
        "dots": [
            [(i + 0.5) / len(points), place(p["ratio"]), bool(p["in_week"])]
            for i, p in enumerate(points)
        ],
        "upper": place(control["upper"]),
        "lower": place(control["lower"]),
        "usual": place(1.0) if bottom < 1.0 < top else None,
        "upper_text": f"{control['upper']:.2f}",
        "lower_text": f"{control['lower']:.2f}",
        "earlier": sum(not p["in_week"] for p in points),
        "now": sum(p["in_week"] for p in points),
    }


DO: dict[str, str] = {
    "late_truck": "Order the first load earlier and confirm the spacing with the plant the day"
    " before",
    "waiting_on_concrete": "Order trucks closer together; `pourstats trucks` shows the spacing"
    " that waits least",
    "short_load": "Measure the grade before the balance load is called",
    "wet_load": "Check the slump at the truck and send back what is too wet",
    "pump": "Have the pump on site and primed before the first load is due",
    "machine": "Run every machine the day before, and know where a spare stands",
    "held_up_machine": "Run every machine the day before, and know where a spare stands",
    "short_hand": "Line up one more hand, or move a pour",
    "held_up_people": "Keep a finisher on each slab to the last pass, or move a pour",
    "held_up_other_slab": "Start the two pours further apart; `pourstats plan` shows how far",
    "two_pours_that_day": "Start the two pours further apart; `pourstats plan` shows how far",
    "rain": "Set a go or no-go hour for rain the day before, and keep covers on the truck",
    "held_up_rain": "Set a go or no-go hour for rain the day before, and keep covers on the truck",
    "waiting_on_weather": "Set a go or no-go hour the day before",
    "grade": "Check the grade with a string line before ordering",
    "more_concrete": "Check the grade with a string line before ordering",
    "others_on_site": "Agree with the other trades who has the floor, and when",
    "waiting_on_others": "Agree with the other trades who has the floor, and when",
    "cold_set": "In the cold start early or ask the plant about the mix; `pourstats finishing`"
    " shows when it will take a machine",
    "slow_set": "Ask the plant about the mix; `pourstats finishing` shows when it will take a"
    " machine",
    "heat": "Pour earlier in the day, with water, shade and rest for the crew",
}
"""What to do about a reason; those without one ask for nothing that a crew can change."""


def changes(review: Mapping[str, Any], system: System) -> list[dict[str, str]]:
    """At most three things to change next week: ``do``, ``because`` and its ``source``."""
    found: list[dict[str, str]] = []
    for item in review["stands_out"]:
        if not item["news"] or item["kind"] == "went_well":
            continue
        for do, because in _of(item, system):
            if do not in [each["do"] for each in found]:
                source = "log" if item["reason"]["source"] == "log" else "figures"
                found.append({"do": do, "because": because, "source": source})
    return found[:3]


def _of(item: Mapping[str, Any], system: System) -> list[tuple[str, str]]:
    where = " ".join(cut(item[name], 24) for name in ("pour_id", "site") if item.get(name))
    facts = {fact["measure"]: fact for fact in item["evidence"]}
    told = []
    drying = facts.get("evaporation_max_lb_ft2_h")
    if drying is not None:
        rate = shown(drying["value"], "lb/ft2/h", system) or 0.0
        told.append((
            "Have fog, covers or an evaporation retarder ready when the air dries the slab",
            f"{where}: up to {rate:.2f} {unit_text('lb/ft2/h', system)}",
        ))  # fmt: skip
    if "oldest_min" in facts:
        told.append((
            "Call the loads so that none waits past its age limit",
            f"{where}: oldest concrete {minutes_text(facts['oldest_min']['value'])} when unloaded",
        ))  # fmt: skip
    for word in item["reason"]["words"]:
        if word in DO:
            told.append((DO[word], f"{where}: {_cost(word, item, facts)}"))
    if "starved_min_per_pour" in facts:
        minutes = facts["starved_min_per_pour"]["total"]
        told.append((
            DO["waiting_on_concrete"],
            f"the crew stood {minutes_text(minutes)} without concrete this week",
        ))  # fmt: skip
    if "late_min_per_load" in facts:
        minutes = facts["late_min_per_load"]["total"]
        told.append((DO["late_truck"], f"trucks were {minutes_text(minutes)} late this week"))
    return told


_PROOF: dict[str, tuple[str, str]] = {
    "late_truck": ("late_min", "late in all"),
    "short_load": ("starved_min", "in all without concrete"),
    "waiting_on_concrete": ("starved_min", "in all without concrete"),
    "pump": ("starved_min", "in all without concrete"),
    **dict.fromkeys(
        ("held_up_other_slab", "held_up_people", "held_up_machine", "held_up_rain", "machine",
         "two_pours_that_day", "cold_set", "slow_set"),
        ("on_late_min", "late to get on it"),
    ),
}  # fmt: skip
"""The fact that tells what a reason cost."""


def _cost(word: str, item: Mapping[str, Any], facts: Mapping[str, Any]) -> str:
    told = REASON_WORDS.get(word, plain(word))
    measure, words = _PROOF.get(word, ("", ""))
    if measure in facts:
        return f"{told}, {minutes_text(facts[measure]['value'])} {words}"
    if word in ("grade", "more_concrete") and "overrun_pct" in facts:
        return f"{facts['overrun_pct']['value']:.0f}% more concrete than the plan"
    over = item.get("over_h")
    return told + (f", {hours_text(over)} h over the usual" if over and over > 0.5 else "")
