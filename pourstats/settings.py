"""The house rules: what an owner may set, what each means, and what holds until it is set.

Values live in the store (table ``settings``) and travel with backup and export. Here stand only
their declarations.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite
from typing import Literal

Value = float | str | None


@dataclass(frozen=True)
class Rule:
    """One house rule.

    ``default`` holds until the rule is set; None means unknown. ``source`` says where the default
    comes from. ``ask`` marks the few that are asked for at first run.
    """

    name: str
    kind: Literal["number", "clock", "choice", "zone"]
    default: Value
    unit: str | None
    meaning: str
    source: str
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    private: bool = False
    ask: bool = False


COMMON = "common practice, no source"

RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule("free_min_per_yd3", "number", 10.0, "min/yd3",
             "unloading minutes a yard that the supplier allows free",
             COMMON + "; check your supplier", low=0, high=120, ask=True),
        Rule("free_clock", "choice", "arrived", None,
             "when the supplier's clock starts: when the truck arrives, or when it was due",
             COMMON, choices=("arrived", "due")),
        Rule("default_pay", "number", None, "USD/h",
             "wage, before burden, of a person whose pay is not in the crew table",
             "none until set", low=0, high=1000, private=True, ask=True),
        Rule("burden", "number", 0.35, "share of pay",
             "taxes, insurance and benefits on top of the wage", COMMON, low=0, high=5, ask=True),
        Rule("latitude", "number", None, "deg", "degrees north of a site without its own",
             "none until set", low=-90, high=90, ask=True),
        Rule("longitude", "number", None, "deg",
             "degrees east (west is negative) of a site without its own", "none until set",
             low=-180, high=180, ask=True),
        Rule("zone", "zone", None, None, "time zone of a site without its own, as America/Denver",
             "none until set"),
        Rule("callback_age_days", "number", 180.0, "days",
             "age from which an indoor pour counts in callback rates", COMMON, low=0, high=3650),
        Rule("callback_age_outdoor_days", "number", 365.0, "days",
             "the same for driveway, patio, walk and porch: a winter must have passed", COMMON,
             low=0, high=3650),
        Rule("day_start", "clock", "04:30", None, "the working day begins", COMMON),
        Rule("day_end", "clock", "22:00", None, "the working day ends", COMMON),
        Rule("overtime_after_h", "number", 8.0, "h",
             "hours a day after which overtime is paid; state law may differ", COMMON, low=0,
             high=24),
        Rule("overtime_week_after_h", "number", 40.0, "h",
             "hours a week (Monday to Sunday) after which overtime is paid",
             "US Fair Labor Standards Act, 29 USC 207; state law may differ", low=0, high=168),
        Rule("overtime_premium", "number", 0.5, "share of pay", "what overtime adds to the wage",
             COMMON, low=0, high=5),
        Rule("age_limit_min", "number", 90.0, "min",
             "oldest concrete at the end of a load; the ticket's limit goes before it",
             "ASTM C94 until 2021; since then what the purchaser or producer states", low=0,
             high=600),
        Rule("confidence", "number", 0.7, "share",
             "share of such jobs that stay within what is bid", COMMON, low=0.01, high=0.99),
        Rule("overhead", "number", 0.15, "share of direct cost", "overhead added to a bid", COMMON,
             low=0, high=5),
        Rule("margin", "number", 0.10, "share of price", "margin, not markup, in a bid", COMMON,
             low=0, high=0.9),
        Rule("minimum_job", "number", None, "USD", "smallest price asked", "none until set", low=0,
             private=True),
        Rule("productive_share", "number", 1.0, "share", "share of paid hours worked on slabs",
             COMMON, low=0.1, high=1),
        Rule("labor_cost", "number", None, "USD/h",
             "what a labor hour costs you, all in; goes before pay and burden", "none until set",
             low=0, private=True),
        Rule("concrete_price", "number", None, "USD/yd3", "concrete, if it goes into your bids",
             "none until set", low=0, private=True),
        Rule("pump_price", "number", None, "USD", "a pump, a pour, if it goes into your bids",
             "none until set", low=0, private=True),
        Rule("truck_yd3", "number", 10.0, "yd3", "a full truck",
             "8 to 11 yd3, usually 10 (a producer's page)", low=1, high=20),
        Rule("order_overrun", "number", None, "share of plan",
             "concrete ordered over the plan; until set from your own record", "none until set",
             low=0, high=0.5),
        Rule("truck_wait_usd_per_min", "number", 2.0, "USD/min",
             "what the supplier bills for a truck's minute beyond the free ones",
             COMMON + "; check your supplier", low=0, high=50),
        Rule("plant_open", "clock", "06:00", None, "the plant loads its first truck", COMMON),
        Rule("plant_close", "clock", "17:00", None, "the plant loads its last truck", COMMON),
        Rule("trowels_walk_behind", "number", 2.0, "machines", "walk-behind trowels owned", COMMON,
             low=0, high=50),
        Rule("trowels_ride_on", "number", 0.0, "machines", "ride-on trowels owned", COMMON, low=0,
             high=50),
        Rule("saws", "number", 1.0, "machines", "saws owned", COMMON, low=0, high=50),
        Rule("vehicles", "number", None, "vehicles",
             "vehicles that carry people and machines; until set one for every two people, two"
             " at least; people who wait at a site are not fetched in a plan",
             "none until set", low=1, high=50),
        Rule("vehicle_seats", "number", 5.0, "people", "seats in a vehicle", COMMON, low=1,
             high=60),
        Rule("break_after_h", "number", 5.0, "h", "work after which a break is due", COMMON, low=0,
             high=24),
        Rule("break_min", "number", 30.0, "min", "length of the break", COMMON, low=0, high=180),
        Rule("break_paid", "choice", "yes", None, "whether that break is paid",
             COMMON + "; state law may differ", choices=("yes", "no")),
        Rule("shop_wait_paid_h", "number", 2.0, "h", "waits at the shop shorter than this are paid",
             COMMON, low=0, high=24),
        Rule("trip_back_usd", "number", 250.0, "USD",
             "what a trip back to saw costs beside its hours", COMMON, low=0),
        Rule("lost_finish_usd", "number", 1500.0, "USD",
             "what a finish costs that got away", COMMON, low=0),
        Rule("missed_saw_usd", "number", 400.0, "USD",
             "what a missed saw window costs beside the trip back", COMMON, low=0),
        Rule("finish_grace_min", "number", 30.0, "min",
             "how late the machine may come on before a finish is taken for lost", COMMON, low=0,
             high=240),
        Rule("late_usd", "number", 400.0, "USD",
             "what a pour costs that isn't done by its site's or the day's end", COMMON, low=0),
        Rule("evening", "clock", "17:00", None, "people would rather be home by then", COMMON),
        Rule("evening_usd_per_h", "number", 20.0, "USD/h",
             "what a person's hour after that is worth beyond its pay", COMMON, low=0),
        Rule("split_usd", "number", 50.0, "USD",
             "what an unpaid gap in somebody's day is worth to you", COMMON, low=0),
        Rule("dark_usd_per_h", "number", 60.0, "USD/h",
             "lights and slower work outdoors after sunset", COMMON, low=0),
    )
}  # fmt: skip
"""Every house rule by name."""


class RuleError(ValueError):
    """A name that is no house rule, or a value that it can't take; the text names the remedy."""


def as_declared(word: str) -> str:
    """A name or a choice as it is declared: case, spaces, hyphens and underscores don't matter."""
    return re.sub(r"[\s_-]+", "_", word.strip().lower())


def parsed(name: str, text: str) -> Value:
    """The value of a house rule from its text; an empty text unsets it (the default holds).

    Raises RuleError with what would do instead.
    """
    rule = RULES.get(name)
    if rule is None:
        from difflib import get_close_matches

        near = get_close_matches(name, RULES, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise RuleError(f"no house rule is called {name!r}{hint} (`pourstats settings` lists them)")
    text = text.strip()
    if text == "":
        return rule.default
    if rule.kind == "number":
        return _number(rule, text)
    if rule.kind == "clock":
        match = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text)
        if match is None:
            raise RuleError(f"{name}: {text!r} is not a time of day; write it as 04:30")
        return f"{int(match[1]):02d}:{match[2]}"
    if rule.kind == "zone":
        from zoneinfo import available_timezones

        if text not in available_timezones():
            raise RuleError(f"{name}: {text!r} is not a time zone; write it as America/Denver")
        return text
    word = as_declared(text)
    if word not in rule.choices:
        raise RuleError(f"{name}: {text!r} is not one of {', '.join(rule.choices)}")
    return word


def _number(rule: Rule, text: str) -> float:
    cleaned = text.lstrip("$").strip()
    percent = cleaned.endswith("%") and rule.unit is not None and rule.unit.startswith("share")
    try:
        number = float(cleaned[:-1] if percent else cleaned) / (100.0 if percent else 1.0)
    except ValueError:
        raise RuleError(f"{rule.name}: {text!r} is not a number ({rule.unit})") from None
    if not (isfinite(number) and _within(rule, number)):
        most = "" if rule.high is None else f" to {rule.high:g}"
        allowed = f"{rule.low:g}{most or ' or more'}"
        raise RuleError(f"{rule.name}: {text!r} is not allowed; {allowed} ({rule.unit}) is")
    return number


def _within(rule: Rule, number: float) -> bool:
    low = float("-inf") if rule.low is None else rule.low
    high = float("inf") if rule.high is None else rule.high
    return low <= number <= high
