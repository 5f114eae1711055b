"""From hours to a price: what an hour costs, and the steps from cost to what is asked.

price = (mean cost + contingency + overhead) / (1 - margin), and never below the house's smallest
job. Markup is a share of cost, margin a share of the price: a markup of 25 % is a margin of 20 %.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]

DEFAULTS: dict[str, float | None] = {
    "confidence": 0.7,
    "overhead": 0.15,
    "margin": 0.10,
    "minimum_job": None,
    "productive_share": 1.0,
    "labor_cost": None,
    "concrete_price": None,
    "pump_price": None,
}
"""House rules of the bid and what holds until they are set; common practice, no source."""

LATEST_POURS = 20
"""How many of the latest pours with known pay tell what an hour costs."""


def rule(house: Mapping[str, object], name: str) -> float | None:
    """A house rule as a number; its default where it isn't set, None where it has none."""
    value = house.get(name)
    if value is None:
        return DEFAULTS.get(name)
    return float(value) if isinstance(value, int | float) else DEFAULTS.get(name)


@dataclass(frozen=True)
class HourCost:
    """What a labor-hour on the slab costs the house (USD), burden in it, and where that is from."""

    usd_h: float | None
    source: str
    """labor_cost, pours, crew, default_pay, bids or none."""
    pours: int = 0


def margin_of_markup(markup: float) -> float:
    """The margin (share of price) that a markup (share of cost) makes: m / (1 + m)."""
    return markup / (1.0 + markup)


def markup_of_margin(margin: float) -> float:
    """The markup (share of cost) that makes a margin (share of price): m / (1 - m)."""
    return margin / (1.0 - margin)


def hour_cost(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, object], day: Any = None
) -> HourCost:
    """The cost of a labor-hour on the slab.

    In this order: the house rule `labor_cost`; what the latest pours with the crew's own pay cost
    an hour; the mean pay of the crew as of ``day``; `default_pay`; the hour rate of the latest
    bid, which then may already hold overhead and margin. Pay is raised by `burden`, and divided by
    `productive_share`, the share of paid hours that are worked on slabs.
    """
    own = rule(house, "labor_cost")
    if own is not None:
        return HourCost(own, "labor_cost")
    share = rule(house, "productive_share") or 1.0
    given = house.get("burden")
    burden = float(given) if isinstance(given, int | float) else 0.35
    output = frames.get("pour_output")
    if output is not None and {"labor_cost_usd", "labor_h", "cost_from"} <= set(output.columns):
        paid = output[
            output["labor_cost_usd"].notna()
            & (output["labor_h"] > 0)
            & (output["cost_from"] == "crew")
        ]
        paid = paid.sort_values("date").tail(LATEST_POURS)
        if len(paid):
            cost = float(paid["labor_cost_usd"].sum() / paid["labor_h"].sum())
            return HourCost(cost / share, "pours", len(paid))
    pay = _mean_pay(frames.get("crew"), day)
    if pay is not None:
        return HourCost(pay * (1.0 + burden) / share, "crew")
    default = house.get("default_pay")
    if isinstance(default, int | float):
        return HourCost(float(default) * (1.0 + burden) / share, "default_pay")
    bids = frames.get("bids")
    if bids is not None and len(bids):
        rated = bids[bids["labor_rate"].notna()].sort_values("bid_date")
        if len(rated):
            return HourCost(float(rated["labor_rate"].iloc[-1]), "bids", len(rated))
    return HourCost(None, "none")


def _mean_pay(crew: pd.DataFrame | None, day: Any) -> float | None:
    if crew is None or not len(crew):
        return None
    since = pd.to_datetime(crew["since"]).fillna(pd.Timestamp("1900-01-01"))
    held = crew.assign(since=since)
    if day is not None and not pd.isna(day):
        held = held[held["since"] <= pd.Timestamp(day)]
    latest = held.sort_values("since").groupby("worker").tail(1)
    pay = latest["pay"].dropna()
    return float(pay.mean()) if len(pay) else None


@dataclass(frozen=True)
class Price:
    """A price and the lines that lead to it, USD."""

    mean_cost: float
    contingency: float
    overhead: float
    margin: float
    price: float
    raised_to_minimum: bool
    margin_share: float
    """Margin over price as asked, also where the smallest job raised it."""


def price_of(cost: Array, confidence: float, house: Mapping[str, object]) -> Price:
    """The price of a job whose direct cost is ``cost`` (draws, USD).

    ``confidence`` is the share of such jobs that stay within mean cost + contingency; at a low one
    the contingency is negative. Overhead is a share of the mean direct cost.
    """
    mean = float(cost.mean())
    contingency = float(np.quantile(cost, confidence)) - mean
    overhead = (rule(house, "overhead") or 0.0) * mean
    margin = rule(house, "margin") or 0.0
    own = mean + contingency + overhead
    price = own / (1.0 - margin)
    least = rule(house, "minimum_job")
    raised = least is not None and price < least
    asked = float(least) if raised and least is not None else price
    return Price(
        mean, contingency, overhead, asked - own, asked, raised,
        (asked - own) / asked if asked > 0 else 0.0,
    )  # fmt: skip
