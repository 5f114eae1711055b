"""The words of the weekly review: how each figure, reason and gap is called on an owner's page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
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
    "hours": "No hours: log hands, crew in and gone, or each person's times",
    "tasks": "Hours by head count only, no shares of placing, finishing and sawing",
    "loads": "No truck times",
    "first_pass": "No first pass: log `machine_on`",
    "pay": "No labor cost: set pay in the crew table, or `pourstats settings default_pay N`",
    "bid": "No bid",
}


def plain(word: str | None) -> str:
    """``late_truck`` as ``late truck``."""
    return "" if word is None else word.replace("_", " ")


Shown = Callable[[float | None], float | None]


def _digits(value: float) -> str:
    size = abs(value)
    if size >= 20 or abs(size - round(size)) < 1e-9:
        return f"{value:,.0f}"
    return f"{value:,.1f}" if size >= 2 else f"{value:,.2f}"


def _minutes(value: float) -> str:
    whole = round(value)
    return f"{whole} min" if abs(whole) < 90 else f"{whole // 60} h {whole % 60:02d}"


@dataclass(frozen=True)
class Words:
    """How one figure is told. ``kind``: number, percent, dollars, minutes, per_load, bid, per."""

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
        return _digits(value)

    def value(self, figure: dict[str, Any], shown: Shown, system: str) -> str:
        """The figure itself, with its total where it is a rate of many."""
        told = self._one(shown(figure["value"]))
        total, over = figure["total"], figure["over"]
        if self.kind == "per_load" and total is not None and over:
            return f"{_minutes(total)} ({told.removesuffix(' min')} a load)"
        if self.kind == "per_pour" and total is not None and over:
            return f"{_minutes(total)} ({told.removesuffix(' min')} a pour)"
        if self.kind == "percent" and total is not None and over and figure["unit"] == "percent":
            return f"{told} ({_digits(total)} h)"
        if self.kind == "bid" and total is not None and over:
            return f"{_digits(total)} h of {_digits(over)} ({told})"
        return told

    def span(self, low: float | None, high: float | None) -> str:
        """The usual range, the unit once."""
        first, last = self._one(low), self._one(high)
        for mark in ("%", " min"):
            if first.endswith(mark) and last.endswith(mark):
                first = first.removesuffix(mark)
        if first == last:
            return last
        per = {"per_load": " a load", "per_pour": " a pour"}.get(self.kind, "")
        return f"{first} to {last}{per}"


FIGURE_WORDS: dict[str, Words] = {
    "pours": Words("pours"),
    "placed_yd3": Words("concrete placed, {yd}"),
    "area_ft2": Words("floor, {ft}"),
    "labor_h": Words("labor-hours on the floors"),
    "paid_h": Words("paid hours (travel, trips back too)"),
    "yd3_per_crew_h": Words("{yd} a crew-hour, {hands} hands"),
    "yd3_per_labor_h": Words("{yd} a labor-hour"),
    "ft2_per_labor_h": Words("{ft} a labor-hour"),
    "yd3_per_day": Words("{yd} a pouring day"),
    "yd3_per_clock_h": Words("{yd} a clock hour of the day"),
    "yd3_per_paid_h": Words("{yd} a paid hour of the day"),
    "place_share_pct": Words("placing", "percent"),
    "finish_share_pct": Words("finishing", "percent"),
    "saw_share_pct": Words("sawing", "percent"),
    "wait_share_pct": Words("waiting", "percent"),
    "other_share_pct": Words("set-up, clean-up", "percent"),
    "labor_cost_usd": Words("labor cost", "dollars"),
    "labor_cost_usd_per_yd3": Words("labor cost a {yd}", "dollars"),
    "spent_to_bid_pct": Words("hours spent of hours bid", "bid"),
    "loads": Words("loads"),
    "over_min_per_load": Words("over free time", "per_load"),
    "late_min_per_load": Words("late", "per_load"),
    "starved_min_per_pour": Words("crew without concrete", "per_pour"),
    "passes_per_pour": Words("passes a floor"),
    "first_pass_min": Words("got on it, after strike-off", "minutes"),
    "callbacks_opened": Words("callbacks opened"),
}


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
    Rows("Money", ("labor_cost_usd", "labor_cost_usd_per_yd3", "spent_to_bid_pct")),
    Rows("Trucks", ("loads", "over_min_per_load", "late_min_per_load", "starved_min_per_pour")),
    Rows("Finishing and callbacks", ("passes_per_pour", "first_pass_min", "callbacks_opened")),
)  # fmt: skip
