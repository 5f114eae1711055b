"""Past bids beside what the floors then took: the same scope only, the last bid before the pour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pourstats.learning.hours import HoursModel
from pourstats.learning.hours.features import numbers, words

SCOPE = frozenset({"place", "finish", "saw"})
"""What labor_h covers, and what a blank scope means."""


Z95 = 1.959963984540054


@dataclass(frozen=True)
class Bias:
    """How far bids of a group ran short: hours taken over hours bid, less one; 95 % interval.

    ``low`` and ``high`` are None under three pours.
    """

    group: str
    pours: int
    short: float
    low: float | None
    high: float | None
    bid_hours: float
    took_hours: float

    @property
    def clear(self) -> bool:
        """Whether the interval leaves no doubt about the direction."""
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


def same_scope(bids: pd.DataFrame) -> pd.Series[bool]:
    """Which bids cover placing, finishing and sawing and nothing else (a blank scope does)."""
    scope = words(bids, "scope")
    return pd.Series(
        [
            str(cell) == "" or {part.strip() for part in str(cell).split(";")} == SCOPE
            for cell in scope
        ],
        index=bids.index,
    )


def bids_with_pours(frames: Mapping[str, pd.DataFrame], frame: pd.DataFrame) -> pd.DataFrame:
    """One row a pour that was bid by hours: the last bid dated on or before the pour.

    ``frame`` is `hours_frame`. Bids marked lost are left out: what was poured was won. The column
    ``same_scope`` says whether bid and hours cover the same work.
    """
    bids = frames.get("bids")
    if bids is None or not len(bids) or not len(frame):
        return pd.DataFrame(columns=["pour_id", "bid_date", "bid_hours", "same_scope"])
    held = bids[words(bids, "won") != "no"].copy()
    held["same_scope"] = same_scope(held)
    held = held[held["bid_hours"] > 0]
    joined = held.merge(frame, on="pour_id", suffixes=("_bid", ""))
    joined = joined[pd.to_datetime(joined["bid_date"]) <= pd.to_datetime(joined["date"])]
    joined = joined[joined["read_h"] > 0].sort_values("bid_date", kind="stable")
    latest: pd.DataFrame = joined.groupby("pour_id").tail(1)
    return latest.sort_values("date").reset_index(drop=True)


def bias_of(
    group: str,
    bid_hours: pd.Series[float],
    took: pd.Series[float],
    doubt: pd.Series[float] | None = None,
) -> Bias:
    """The ratio of sums of hours taken to hours bid, less one, with its 95 % interval.

    The interval is that of a ratio estimator (Cochran, Sampling Techniques, 1977, ch. 6): Student's
    t on the pours less one over the scatter of taken - ratio x bid. ``doubt`` is how far off each
    pour's reading may be on the log scale: one error that all of a kind share, so it is added to
    the interval in full by their share of the hours.
    """
    bid, hours = np.asarray(bid_hours, dtype=float), np.asarray(took, dtype=float)
    n = bid.size
    ratio = float(hours.sum() / bid.sum())
    low = high = None
    if n >= 3:
        from scipy.special import stdtrit

        scatter = hours - ratio * bid
        error = float(np.sqrt(n / (n - 1) * (scatter**2).sum()) / bid.sum())
        shared = 0.0 if doubt is None else float((hours * np.asarray(doubt)).sum() / bid.sum())
        reach = float(np.hypot(stdtrit(n - 1, 0.975) * error, Z95 * shared))
        low, high = ratio - reach - 1.0, ratio + reach - 1.0
    return Bias(group, n, ratio - 1.0, low, high, float(bid.sum()), float(hours.sum()))


def well_read(table: pd.DataFrame, fewest: int) -> pd.DataFrame:
    """The rows whose hours are more than part of a headcount, if there are ``fewest`` of them.

    Part of a headcount is a rough reading even once mended; what it is compared with would look
    short or long for that alone.
    """
    better = table[words(table, "hours_from").astype(str) != "headcount_part"]
    return better if len(better) >= fewest else table


@dataclass(frozen=True)
class Lean:
    """How past bids lean: by slab type and over all (last), same scope only."""

    found: list[Bias]
    other_scope: int
    """Bids left out as they cover other work."""
    too_rough: int
    """Pours left out as part of a headcount is all that is known of their hours."""
    by_headcount: int
    """Pours counted whose hours are a headcount, read down to crew time."""


def lean(
    frames: Mapping[str, pd.DataFrame], frame: pd.DataFrame, model: HoursModel | None = None
) -> Lean:
    """How the bids that were made lean against what the pours took.

    Pours known by part of a headcount count only in a group with under three better ones. With the
    ``model`` of the record, a headcount is read as crew time would have logged it.
    """
    met = bids_with_pours(frames, frame)
    if not len(met):
        return Lean([], 0, 0, 0)
    took, doubt = numbers(met, "read_h"), np.zeros(len(met))
    if model is not None:
        took, doubt = model.as_crew_time(met)
    met = met.assign(took=took, doubt=doubt)
    same = met[met["same_scope"].astype(bool)]
    groups = {str(kind): well_read(own, 3) for kind, own in same.groupby("slab_type", sort=True)}
    found = [
        bias_of(kind, own["bid_hours"], own["took"], own["doubt"]) for kind, own in groups.items()
    ]
    found.sort(key=lambda bias: -bias.pours)
    if not groups:
        return Lean([], len(met), 0, 0)
    every = pd.concat(list(groups.values()))
    found.append(bias_of("all", every["bid_hours"], every["took"], every["doubt"]))
    counted = int((words(every, "hours_from").astype(str) != "crew_time").sum())
    return Lean(found, len(met) - len(same), len(same) - len(every), counted)
