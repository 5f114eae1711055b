"""The pours as callbacks see them: how old, called back or not, when first, at what cost."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pourstats.logs.tables import OUTDOOR_TYPES
from pourstats.settings import RULES

FRAMES: tuple[str, ...] = (
    "pours", "trucks", "passes", "crew_time", "callbacks", "crew", "pour_output", "truck_times",
    "pass_intervals", "pour_weather", "callback_rates",
)  # fmt: skip
"""Log tables and measures that the picture is made from; crew_time may be left out."""

DATED = {
    "pours": ("date", "crew_in", "crew_out", "place_start", "place_end", "bull_float_end",
              "machine_on", "passes_done", "saw_start", "saw_end", "cure_start"),
    "trucks": ("due", "batched", "arrived", "pour_start", "pour_end", "left"),
    "passes": ("ready", "start", "end"),
    "crew_time": ("start", "end"),
    "callbacks": ("reported",),
    "crew": ("since",),
}  # fmt: skip
"""Where the log's latest date is looked for, as the measure callback_rates does."""


def rule(house: Mapping[str, object], name: str) -> float | None:
    """A house rule as a number, its default where it isn't set; None where neither is known."""
    value = house.get(name)
    if isinstance(value, dict):  # as `pourstats settings --json` gives it
        value = value.get("value")
    if value is None or value == "":
        value = RULES[name].default
    return None if value is None else float(str(value))


def counting_ages(house: Mapping[str, object]) -> tuple[float, float]:
    """Days from which a pour counts: indoors, and outdoors, where a winter must have passed."""
    indoors = rule(house, "callback_age_days")
    outdoors = rule(house, "callback_age_outdoor_days")
    return 180.0 if indoors is None else indoors, 365.0 if outdoors is None else outdoors


def latest_day(frames: Mapping[str, pd.DataFrame]) -> pd.Timestamp | None:
    """The latest date in the log outside jobs, bids and weather; None for an empty log."""
    days = []
    for name, columns in DATED.items():
        frame = frames.get(name)
        if frame is None or not len(frame):
            continue
        for column in columns:
            if column in frame:
                known = pd.to_datetime(frame[column]).dropna()
                if len(known):
                    days.append(pd.Timestamp(known.max()).normalize())
    return max(days) if days else None


AGED = (
    "pour_id", "date", "slab_type", "finish", "lead", "placed_yd3", "outdoors", "counts_at_days",
    "age_days", "old_enough",
)  # fmt: skip
"""What is known of a pour without its calls."""


def pours_record(frames: Mapping[str, pd.DataFrame], house: Mapping[str, object]) -> pd.DataFrame:
    """One row a pour, in date order, with the calls it had.

    Columns: :data:`AGED` (counts_at_days is the age from which it counts: house rules), and those
    of :func:`with_calls`.
    """
    pours = frames["pour_output"][
        ["pour_id", "date", "slab_type", "finish", "lead", "placed_yd3"]
    ].copy()
    pours["date"] = pd.to_datetime(pours["date"]).astype("datetime64[s]")
    pours["placed_yd3"] = pours["placed_yd3"].astype(float)
    pours = pours.sort_values(["date", "pour_id"], kind="stable").reset_index(drop=True)
    latest = latest_day(frames)
    pours["outdoors"] = pours["slab_type"].isin(OUTDOOR_TYPES)
    indoors, outdoors = counting_ages(house)
    pours["counts_at_days"] = pours["outdoors"].map({True: outdoors, False: indoors}).astype(float)
    age = (pd.Timestamp(latest) - pours["date"]).dt.days if latest is not None else 0
    pours["age_days"] = age
    pours["old_enough"] = pours["age_days"] >= pours["counts_at_days"]
    return with_calls(pours, priced_calls(frames, house))


BLANKS = ("without_hours", "without_cost", "without_either", "unpriced")


def with_calls(pours: pd.DataFrame, calls: pd.DataFrame) -> pd.DataFrame:
    """The pours (columns :data:`AGED`) with what these calls (:func:`priced_calls`) add up to.

    Adds callbacks, called_back, first_call_days (from the pour to its first call; NaN without),
    hours, cost_usd (beside labor), labor_usd (hours at burdened pay), each NaN where all calls
    leave it blank, and how many calls leave hours, cost or either blank (without_hours,
    without_cost, without_either) or have hours but no pay (unpriced).
    """
    told = calls.assign(
        without_hours=calls["hours"].isna(),
        without_cost=calls["cost"].isna(),
        without_either=calls["hours"].isna() | calls["cost"].isna(),
    ).groupby("pour_id")
    summed = pd.DataFrame(
        {
            "callbacks": told.size(),
            "first_call": told["reported"].min(),
            "hours": told["hours"].sum(min_count=1),
            "cost_usd": told["cost"].sum(min_count=1),
            "labor_usd": told["labor_usd"].sum(min_count=1),
            **{name: told[name].sum() for name in BLANKS},
        }
    )
    found = pours[list(AGED)].merge(summed, left_on="pour_id", right_index=True, how="left")
    for name in ("callbacks", *BLANKS):
        found[name] = found[name].fillna(0).astype(int)
    found["called_back"] = found["callbacks"] > 0
    first = (pd.to_datetime(found["first_call"]) - found["date"]).dt.days
    # A call dated before its pour is a slip of the pen; it still is a call.
    found["first_call_days"] = first.clip(lower=0).astype(float)
    return found.drop(columns="first_call")


def priced_calls(frames: Mapping[str, pd.DataFrame], house: Mapping[str, object]) -> pd.DataFrame:
    """The callbacks with what their hours are paid: one row a call.

    Adds labor_usd (hours at the house rule default_pay, else the mean pay that the crew table has
    for the day of the call, times 1 + burden; NaN where hours or pay are unknown) and unpriced
    (1 where hours are known and the pay isn't).
    """
    calls = frames["callbacks"].copy()
    for name in ("hours", "cost"):
        calls[name] = pd.to_numeric(calls[name]) if name in calls else np.nan
    calls["reported"] = pd.to_datetime(calls["reported"]).astype("datetime64[s]")
    pay = rule(house, "default_pay")
    burden = rule(house, "burden") or 0.0
    paid = _mean_pay(frames.get("crew"), calls["reported"])
    if pay is not None:
        paid[:] = pay
    calls["labor_usd"] = (calls["hours"] * paid * (1.0 + burden)).where(calls["hours"] != 0, 0.0)
    calls["unpriced"] = ((calls["hours"] > 0) & paid.isna()).astype(int)
    return calls


def blank_calls(pours: pd.DataFrame, calls: pd.DataFrame) -> list[dict[str, object]]:
    """The calls (:func:`priced_calls`) on floors old enough to count whose cost isn't whole.

    A row has callback_id, pour_id and ``missing``: of hours, cost (the dollars beside labor) and
    pay (a wage for the hours that are known).
    """
    old = set(pours.loc[pours["old_enough"], "pour_id"])
    rows: list[dict[str, object]] = []
    for call in calls.to_dict("records"):
        blank = {"hours": pd.isna(call["hours"]), "cost": pd.isna(call["cost"]),
                 "pay": call["unpriced"] > 0}  # fmt: skip
        missing = [name for name, so in blank.items() if so]
        if missing and call["pour_id"] in old:
            rows.append({"callback_id": str(call["callback_id"]), "pour_id": str(call["pour_id"]),
                         "missing": missing})  # fmt: skip
    return rows


def dearest_call(pours: pd.DataFrame, calls: pd.DataFrame) -> dict[str, object] | None:
    """The dearest of the calls (:func:`priced_calls`) on floors old enough to count: callback_id,
    pour_id and its ``share`` of what all of them cost, labor in. None where nothing is spent."""
    own = calls[calls["pour_id"].isin(set(pours.loc[pours["old_enough"], "pour_id"]))]
    spent = own["cost"].fillna(0.0) + own["labor_usd"].fillna(0.0)
    if not spent.sum() > 0.0:
        return None
    call = own.iloc[int(spent.to_numpy().argmax())]
    return {
        "callback_id": str(call["callback_id"]),
        "pour_id": str(call["pour_id"]),
        "share": float(spent.max() / spent.sum()),
    }


def _mean_pay(crew: pd.DataFrame | None, days: pd.Series) -> pd.Series:
    """Mean pay of the crew on each day, each person by the latest row not after it; NaN unknown."""
    found = pd.Series(np.nan, index=days.index)
    if crew is None or not len(crew):
        return found
    since = pd.to_datetime(crew["since"]).fillna(pd.Timestamp("1900-01-01"))
    rows = crew.assign(since=since).sort_values("since")
    for begins in rows["since"].drop_duplicates():
        held = rows[rows["since"] <= begins].groupby("worker").tail(1)
        found[days >= begins] = float(held["pay"].astype(float).mean())
    return found
