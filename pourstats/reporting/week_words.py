"""The words of the weekly review: how each figure, reason and gap is called on an owner's page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

UNIT_WORDS: dict[str, dict[str, str]] = {
    "us": {
        "yd3": "yd3", "ft2": "ft2", "degF": "F", "lb/ft2/h": "lb/ft2/h", "yd3_one": "yard",
    },
    "metric": {
        "yd3": "m3", "ft2": "m2", "degF": "C", "lb/ft2/h": "kg/m2/h", "yd3_one": "cubic meter",
    },
}  # fmt: skip

REASON_WORDS: dict[str, str] = {
    "late_truck": "late truck", "pump": "the pump", "machine": "a machine down",
    "short_hand": "a hand short", "short_load": "short load", "wet_load": "wet load",
    "rain": "rain", "grade": "the grade", "others_on_site": "others on the site",
    "held_up_other_slab": "held up by another slab", "held_up_people": "held up for want of people",
    "held_up_machine": "held up by a machine", "held_up_rain": "held up by rain",
    "waiting_on_concrete": "waiting on concrete", "waiting_on_others": "waiting on others",
    "waiting_on_weather": "waiting on the weather", "cold_set": "slow set in the cold",
    "slow_set": "it was slow to take the machine", "more_passes": "more passes than usual",
    "more_concrete": "more concrete than the plan", "heat": "the heat",
    "two_pours_that_day": "two pours that day",
    "ours": "it was ours", "mix": "the mix", "base": "the base", "use": "how it was used",
    "normal": "normal for concrete",
}  # fmt: skip

TASK_WORDS: dict[str, str] = {
    "place_labor_h": "placing", "finish_labor_h": "finishing", "saw_labor_h": "sawing",
    "wait_labor_h": "waiting", "other_labor_h": "set-up and clean-up",
}  # fmt: skip

MISSING_WORDS: dict[str, str] = {
    "pours": "No pours are loaded",
    "crew_time": "No crew times: hours come from head counts, and shares of tasks can't be told",
    "trucks": "No truck tickets: minutes over, late and starved can't be told",
    "passes": "No passes: when the crew got on it comes from `machine_on`, if logged",
    "bids": "No bids: hours bid against hours spent can't be told",
}
"""What a whole log lacks."""

LACK_WORDS: dict[str, str] = {
    "hours": "hours, from hands, crew in and gone, or each person's times",
    "tasks": "hours by task",
    "loads": "truck times",
    "first_pass": "the first pass or machine on",
    "pay": "pay, in the crew table or by `pourstats settings default_pay N`",
    "bid": "a bid",
}
"""What single pours lack."""


def plain(word: str | None) -> str:
    """``late_truck`` as ``late truck``."""
    return "" if word is None else word.replace("_", " ")


Shown = Callable[[float | None], float | None]


def number_text(value: float | None, digits: int | None = None) -> str:
    """Two or three figures as they matter, thousands with a comma; unknown is a dash."""
    if value is None:
        return "-"
    if digits is None:
        size = abs(value)
        whole = abs(size - round(size)) < 1e-9
        digits = 0 if size >= 9.95 or whole else 1 if size >= 1.95 else 2
    return f"{value:,.{digits}f}"


def _minutes(value: float) -> str:
    whole = round(value)
    return f"{whole} min" if abs(whole) < 90 else f"{whole // 60} h {whole % 60:02d}"


@dataclass(frozen=True)
class Words:
    """How one figure is told.

    ``kind``: number, count (whole), total (a sum that may lack pours), percent (a share of hours),
    dollars, minutes, per_load, per_pour, bid.
    """

    label: str
    kind: str = "number"

    def _one(self, value: float | None) -> str:
        if value is None:
            return "-"
        if self.kind in ("percent", "bid"):
            return f"{value:.0f}%"
        if self.kind == "dollars":
            return f"${value:,.0f}"
        if self.kind in ("minutes", "per_load", "per_pour"):
            return _minutes(value)
        return number_text(value)

    def value(self, figure: Mapping[str, Any], shown: Shown, pours: int) -> str:
        """The figure itself, with its total where it is a rate of many."""
        told = self._one(shown(figure["value"]))
        total, over = figure["total"], figure["over"]
        if self.kind in ("per_load", "per_pour") and total is not None:
            each = "load" if self.kind == "per_load" else "pour"
            return f"{_minutes(total)} ({told.removesuffix(' min')} a {each})"
        if self.kind == "percent" and total is not None:
            return f"{told} ({number_text(total)} h)"
        if self.kind == "bid" and total is not None:
            return f"{number_text(total)} h of {number_text(over)} ({told})"
        known = figure["pours_known"]
        if self.kind in ("total", "dollars") and known is not None and known < pours:
            return f"{told} ({known} of {pours} pours)"
        return told

    def span(self, low: float, high: float) -> str:
        """The usual range, the unit once; counts in whole numbers, outward."""
        if self.kind == "count":
            low, high = floor(low), ceil(high)
        first, last = self._one(low), self._one(high)
        for mark in ("%", " min"):
            if first.endswith(mark) and last.endswith(mark):
                first = first.removesuffix(mark)
        per = {"per_load": " a load", "per_pour": " a pour"}.get(self.kind, "")
        return last + per if first == last.removesuffix(" min") else f"{first} to {last}{per}"


FIGURE_WORDS: dict[str, Words] = {
    "pours": Words("pours", "count"),
    "placed_yd3": Words("concrete placed, {yd}", "total"),
    "area_ft2": Words("floor, {ft}"),
    "labor_h": Words("labor-hours on the floors", "total"),
    "paid_h": Words("paid hours, travel and trips back", "total"),
    "yd3_per_crew_h": Words("{yd} a crew-hour, {hands} hands"),
    "yd3_per_labor_h": Words("{yd} a labor-hour"),
    "ft2_per_labor_h": Words("{ft} a labor-hour"),
    "yd3_per_day": Words("{yd} a pouring day"),
    "yd3_per_clock_h": Words("{yd} a clock hour on pouring days"),
    "yd3_per_paid_h": Words("{yd} a paid hour"),
    "place_share_pct": Words("placing", "percent"),
    "finish_share_pct": Words("finishing", "percent"),
    "saw_share_pct": Words("sawing", "percent"),
    "wait_share_pct": Words("waiting", "percent"),
    "other_share_pct": Words("set-up, clean-up", "percent"),
    "labor_cost_usd": Words("labor cost", "dollars"),
    "labor_cost_usd_per_yd3": Words("labor cost a {one}", "dollars"),
    "billed_usd_per_paid_h": Words("billed a paid hour", "dollars"),
    "spent_to_bid_pct": Words("hours spent of hours bid", "bid"),
    "loads": Words("loads", "count"),
    "over_min_per_load": Words("over free time", "per_load"),
    "late_min_per_load": Words("late", "per_load"),
    "starved_min_per_pour": Words("crew without concrete", "per_pour"),
    "passes_per_pour": Words("passes a floor"),
    "first_pass_min": Words("got on it, from strike-off", "minutes"),
    "callbacks_opened": Words("callbacks opened", "count"),
}


FIGURE_NEWS: dict[str, str] = {
    "ft2_per_labor_h": "{value} {ft} a labor-hour",
    "yd3_per_clock_h": "{value} {yd} a clock hour on pouring days",
    "wait_share_pct": "waiting took {value}",
    "starved_min_per_pour": "the crew stood without concrete {value}",
    "over_min_per_load": "trucks ran over their free time by {value}",
    "late_min_per_load": "trucks were late by {value}",
    "first_pass_min": "the first pass came {value} after strike-off",
    "spent_to_bid_pct": "hours spent of hours bid were {value}",
}
"""How a figure is told of where it stands out."""


@dataclass(frozen=True)
class Rows:
    """A titled group of figures."""

    title: str
    figures: tuple[str, ...]


FIGURE_ROWS: tuple[Rows, ...] = (
    Rows("What got done", ("pours", "placed_yd3", "area_ft2", "labor_h", "paid_h")),
    Rows(
        "How fast",
        ("yd3_per_crew_h", "yd3_per_labor_h", "ft2_per_labor_h", "yd3_per_day",
         "yd3_per_clock_h", "yd3_per_paid_h"),
    ),
    Rows(
        "Where the hours went",
        ("place_share_pct", "finish_share_pct", "saw_share_pct", "wait_share_pct",
         "other_share_pct"),
    ),
    Rows("Money", ("labor_cost_usd", "labor_cost_usd_per_yd3", "billed_usd_per_paid_h",
                   "spent_to_bid_pct")),
    Rows("Trucks", ("loads", "over_min_per_load", "late_min_per_load", "starved_min_per_pour")),
    Rows("Finishing and callbacks", ("passes_per_pour", "first_pass_min", "callbacks_opened")),
)  # fmt: skip
