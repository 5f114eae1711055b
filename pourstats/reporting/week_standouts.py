"""What stood out in the week, worst first, each with its evidence and its reason.

Everything is weighed in labor-hours, so that a late truck, an overrun and a slow floor can stand in
one list. The weights of what is not hours are our own choices, named below.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.control import UsualRange, usual_range
from pourstats.reporting.week_figures import TASK_HOURS, column
from pourstats.reporting.week_hours import Hours
from pourstats.reporting.week_reasons import (
    LATE_ON_MIN,
    OVERRUN_PCT,
    Crew,
    known,
    learned_effects,
    number,
    reason,
    words_of,
)

MOST, LEAST = 5, 3

# What an hour of something else weighs, in labor-hours (own choices).
TRUCK_HOUR_WEIGHS = 2.0
OVERRUN_YARD_WEIGHS = 3.0
BID_HOUR_WEIGHS = 0.5
CALLBACK_WEIGHS = 8.0
CAUTION_WEIGHS = 2.0
TROUBLE_WEIGHS = 0.5
WORTH_TELLING_H = 4.0
"""A floor within the ordinary is told of from this weight on."""

CAUTION_EVAPORATION = 0.2
"""lb/ft2/h from which precautions against drying cracks are advised (ACI 305R)."""
OVER_BID, OVER_BID_H = 1.15, 4.0
"""A bid is passed noticeably from 15 percent and four hours on."""


def stands_out(
    wide: pd.DataFrame,
    hours: Hours,
    base: pd.DataFrame,
    callbacks: list[dict[str, Any]],
    shown: Mapping[str, Mapping[str, Any]],
    age_limit_min: float | None,
) -> list[dict[str, Any]]:
    """Three to five things of the week, worst first; one floor that went well may close the list.

    Fewer only where the week has fewer floors and callbacks, or the record is too short to call any
    ordinary; a figure of the whole week fills in where floors are few. Each: ``kind`` (floor,
    callback, went_well, figure), ``unusual``, ``news`` (worth telling, if
    even by chance), ``weight_h``, ``pour_id``, ``site``, ``date``, ``evidence`` (``measure``,
    ``value``, ``usual_low``, ``usual_middle``, ``usual_high``, weightiest first), ``reason``
    (``words``, ``source``: log, likely or None), and of a callback ``help`` on its defect.
    """
    crew = Crew(base, _pour_ranges(base), learned_effects(base, hours.past_ratios), age_limit_min)
    floors = [
        _floor(wide.loc[pour_id], hours.pours.loc[pour_id], crew) for pour_id in hours.pours.index
    ]
    calls = [_call(call) for call in callbacks]
    bad = [item for item in floors if item["kind"] == "floor"]
    good = [item for item in floors if item["kind"] == "went_well"]
    bad = sorted(bad + calls, key=_by_weight)
    good = sorted(good, key=_by_weight)
    news = [item for item in bad if _is_news(item)]
    told = news[: MOST - (1 if good else 0)] + good[:1]
    if len(told) < LEAST:
        judged = hours.verdict is not None
        rest = [item for item in (*bad, *good[1:]) if judged and item not in told]
        rest = [*_odd_figures(shown), *rest]
        told = [*told, *rest[: LEAST - len(told)]]
    for item in told:
        item["news"] = _is_news(item) or item["kind"] == "went_well"
    return sorted(
        told, key=lambda item: (item["kind"] == "went_well", not _is_news(item), *_by_weight(item))
    )


def _is_news(item: Mapping[str, Any]) -> bool:
    return bool(item["unusual"] or item["weight_h"] >= WORTH_TELLING_H)


def _by_weight(item: Mapping[str, Any]) -> tuple[float, bool, str]:
    return -item["weight_h"], not item["unusual"], str(item["pour_id"])


def _pour_ranges(base: pd.DataFrame) -> dict[str, UsualRange | None]:
    """What single pours usually show, from the earlier ones."""
    return {
        "first_pass_min": usual_range(column(base, "first_pass_min")),
        "passes": usual_range(column(base, "passes")),
        "starved_min": usual_range(column(base, "starved_min")),
        "over_min": usual_range(column(base, "over_min")),
        "late_min": usual_range(column(base, "late_min")),
        "overrun_pct": usual_range(column(base, "overrun_pct")),
        "spent_to_bid": usual_range(column(base, "bid_spent_h") / column(base, "bid_h")),
        "oldest_min": usual_range(column(base, "oldest_min")),
    }


def _fact(measure: str, value: float, usual: UsualRange | None = None) -> dict[str, Any]:
    return {
        "measure": measure,
        "value": float(value),
        "usual_low": None if usual is None else usual.low,
        "usual_middle": None if usual is None else usual.middle,
        "usual_high": None if usual is None else usual.high,
    }


def _beyond(value: float, usual: UsualRange | None, least: float) -> bool:
    """Clearly above most pours, and enough to matter; with no usual range, twice ``least`` is.

    Clearly is a quarter of the way from the middle to the upper end beyond it: a hair over the
    ninth in ten is no news.
    """
    if not np.isfinite(value) or value < least:
        return False
    if usual is None:
        return value >= 2.0 * least
    return value > usual.high + 0.25 * (usual.high - usual.middle)


def _floor(pour: pd.Series[Any], judged: pd.Series[Any], crew: Crew) -> dict[str, Any]:
    """One floor: everything about it that stood out, the weightiest first."""
    verdict = judged["verdict"]
    slow = verdict in ("slow", "far_slow")
    # Without enough record nothing is over or under: published rates don't judge a crew.
    over_h = known(judged["labor_h"] - judged["usual_h"]) if verdict else 0.0
    weighed = _weighed(pour, crew.usual, crew.age_limit_min)
    if np.isfinite(judged["labor_h"]):
        spread = UsualRange(judged["low_h"], judged["usual_h"], judged["high_h"], 0)
        spent = _fact("labor_h", judged["labor_h"], spread if verdict else None)
        weighed.append((over_h if slow else 0.0, spent | {"verdict": verdict}))
    # A stable sort keeps the hours last among facts without weight.
    facts = [fact for _, fact in sorted(weighed, key=lambda pair: -pair[0])]
    if slow:
        facts += _where_it_went(pour, judged["usual_h"], crew.base)
        facts += _extra_passes(pour, crew.usual["passes"])
        facts += _over_bid(pour, OVER_BID) if not _told(facts, "over_bid_h") else []
    trouble = words_of(pour.get("trouble"))
    weight = max([weight for weight, _ in weighed] + [TROUBLE_WEIGHS if trouble else 0.0])
    odd = slow or bool(trouble) or len(weighed) > int(np.isfinite(judged["labor_h"]))
    well = verdict in ("fast", "far_fast") and not odd
    return {
        "kind": "went_well" if well else "floor",
        "unusual": odd or well,
        "beyond_natural_limits": verdict in ("far_slow", "far_fast"),
        # Of two readings of the same lost time the larger counts; they are not added up.
        # Hours over that are within the ordinary count half: they may be chance.
        "weight_h": float(-over_h if well else max(weight, 0.5 * over_h)),
        "over_h": float(over_h),
        "pour_id": pour["pour_id"],
        "site": _plain(pour.get("site")),
        "slab_type": _plain(pour.get("slab_type")),
        "date": pour["date"].strftime("%Y-%m-%d"),
        "evidence": facts,
        "reason": reason(pour, judged, crew, trouble, over_h if slow else 0.0),
        "note": _plain(pour.get("notes")),
    }


def _weighed(
    pour: pd.Series[Any], usual: Mapping[str, UsualRange | None], age_limit_min: float | None
) -> list[tuple[float, dict[str, Any]]]:
    """What the log shows beside the hours that was out of the ordinary, with its weight."""
    found: list[tuple[float, dict[str, Any]]] = []
    people = known(number(pour, "hands")) or 1.0
    finishers = known(number(pour, "finish_hands")) or people
    for measure, least, weight_of_hour in (
        ("starved_min", 20.0, people),
        ("over_min", 20.0, TRUCK_HOUR_WEIGHS),
        ("late_min", 30.0, 0.0),
    ):
        minutes = number(pour, measure)
        if _beyond(minutes, usual[measure], least):
            found.append((minutes / 60.0 * weight_of_hour, _fact(measure, minutes, usual[measure])))
    on_late = number(pour, "on_late_min")
    if on_late >= LATE_ON_MIN:
        found.append((on_late / 60.0 * finishers, _fact("on_late_min", on_late)))
    first, spread = number(pour, "first_pass_min"), usual["first_pass_min"]
    if spread is not None and _beyond(first, spread, 60.0):
        waited = (first - spread.middle) / 60.0 * finishers
        found.append((waited, _fact("first_pass_min", first, spread)))
    overrun = number(pour, "overrun_pct")
    if _beyond(overrun, usual["overrun_pct"], OVERRUN_PCT):
        extra_yd3 = overrun / (100.0 + overrun) * known(number(pour, "placed_yd3"))
        fact = _fact("overrun_pct", overrun, usual["overrun_pct"])
        found.append((extra_yd3 * OVERRUN_YARD_WEIGHS, fact))
    ratio = number(pour, "bid_spent_h") / number(pour, "bid_h")
    if _beyond(ratio, usual["spent_to_bid"], OVER_BID):
        found += [(fact["value"] * BID_HOUR_WEIGHS, fact) for fact in _over_bid(pour, OVER_BID)]
    oldest = number(pour, "oldest_min")
    if age_limit_min is not None and _beyond(oldest, usual["oldest_min"], age_limit_min):
        fact = _fact("oldest_min", oldest, usual["oldest_min"]) | {"limit_min": age_limit_min}
        found.append((CAUTION_WEIGHS, fact))
    drying = number(pour, "evaporation_max_lb_ft2_h")
    if drying >= CAUTION_EVAPORATION and pour.get("tc_from") != "air":
        found.append((CAUTION_WEIGHS, _fact("evaporation_max_lb_ft2_h", drying)))
    return found


def _over_bid(pour: pd.Series[Any], least: float) -> list[dict[str, Any]]:
    """Hours over the bid, if by that factor and by hours that matter."""
    bid, spent = number(pour, "bid_h"), number(pour, "bid_spent_h")
    if not (spent >= least * bid and spent - bid >= OVER_BID_H):
        return []
    return [_fact("over_bid_h", spent - bid) | {"bid_h": bid}]


def _told(facts: list[dict[str, Any]], measure: str) -> bool:
    return any(fact["measure"] == measure for fact in facts)


def _extra_passes(pour: pd.Series[Any], usual: UsualRange | None) -> list[dict[str, Any]]:
    passes = number(pour, "passes")
    return [_fact("passes", passes, usual)] if usual is not None and passes > usual.high else []


def _where_it_went(
    pour: pd.Series[Any], usual_h: float, base: pd.DataFrame
) -> list[dict[str, Any]]:
    """The task that took most more than its usual share of the usual hours."""
    tasked = base[base["task_h"] > 0.0]
    same = tasked[tasked["finish"] == pour.get("finish")] if "finish" in tasked else tasked
    shares = (same if len(same) >= 5 else tasked)[[*TASK_HOURS, "task_h"]].sum()
    if not np.isfinite(number(pour, "task_h")) or shares["task_h"] <= 0.0:
        return []
    more = {
        task: number(pour, task) - usual_h * shares[task] / shares["task_h"] for task in TASK_HOURS
    }
    worst = max(more, key=lambda task: more[task])
    if more[worst] < 1.0:
        return []
    usual_part = usual_h * shares[worst] / shares["task_h"]
    return [_fact(worst, number(pour, worst)) | {"usual_middle": float(usual_part)}]


def _plain(cell: object) -> str | None:
    return str(cell) if isinstance(cell, str) and cell.strip() else None


TROUBLING = {
    "ft2_per_labor_h": "below", "yd3_per_clock_h": "below", "wait_share_pct": "above",
    "starved_min_per_pour": "above", "over_min_per_load": "above", "late_min_per_load": "above",
    "first_pass_min": "above", "spent_to_bid_pct": "above",
}  # fmt: skip
"""Figures of the week that are news on one side of their usual range, the costliest first."""


def _odd_figures(shown: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "kind": "figure", "unusual": True, "beyond_natural_limits": False, "weight_h": 0.0,
            "over_h": None, "pour_id": None, "site": None, "slab_type": None, "date": None,
            "evidence": [{"measure": name, **shown[name]}],
            "reason": {"source": None, "words": [], "hours": None, "value": None}, "note": None,
        }
        for name, side in TROUBLING.items()
        if name in shown and shown[name]["verdict"] == side
    ]  # fmt: skip


def _call(call: Mapping[str, Any]) -> dict[str, Any]:
    logged = call.get("hours")
    return {
        "kind": "callback",
        "unusual": True,
        "beyond_natural_limits": False,
        "weight_h": float(logged) if logged is not None else CALLBACK_WEIGHS,
        "over_h": None,
        "pour_id": call["pour_id"],
        "site": call["site"],
        "slab_type": call["slab_type"],
        "date": call["reported"],
        "evidence": [{"measure": "callback", "defect": call["defect"], "fault": call["fault"],
                      "poured": call["poured"], "hours": logged}],
        "reason": {"source": "log" if call["fault"] else None,
                   "words": [call["fault"]] if call["fault"] else [], "hours": None, "value": None},
        "note": call.get("notes"),
        "help": call["help"],
    }  # fmt: skip
