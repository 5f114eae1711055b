"""Hours spent against the hours that such floors usually take, against par, and against the bid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.control import IndividualsChart, ratio_chart
from pourstats.learning.par import LEAST_FOR_PAR, UsualHours, baseline, size_class, usual_hours
from pourstats.reporting.week_figures import Frames, column, table

HISTORY_POURS = 2000
"""What is usual rests on at most this many of the latest earlier pours."""
LEAST_TO_JUDGE = 5
"""With fewer earlier pours nothing is called fast or slow."""
LEAST_TO_TRUST = 10
"""With fewer than this the usual is called rough, and no natural limits are drawn."""
CHART_POURS = 60
"""The individuals chart rests on this many of the latest earlier pours."""

LOGGED_TASKS = frozenset({"place", "finish", "saw"})
"""What a bid's scope must hold to be compared with logged hours."""


@dataclass(frozen=True)
class Hours:
    """The week's hours judged: a row a pour in ``pours``, the week's sums, and the chart.

    ``pours`` (index pour_id): labor_h, usual_h, low_h, high_h (eight in ten), ratio, verdict
    (fast, usual, slow, far_slow, far_fast, None). ``low_h`` and ``high_h`` of the week are over
    the same pours. ``past_ratios`` are the earlier pours', each judged by the others.
    """

    pours: pd.DataFrame
    spent_h: float | None
    usual_h: float | None
    low_h: float | None
    high_h: float | None
    earlier: int
    basis: str
    chart: IndividualsChart | None
    past_ratios: pd.Series[Any]

    @property
    def ratio(self) -> float | None:
        """Hours spent over usual hours, a ratio of sums; None where either is unknown."""
        return None if not self.spent_h or not self.usual_h else self.spent_h / self.usual_h

    @property
    def verdict(self) -> str | None:
        """``below``, ``usual`` or ``above``; None while there is too little record to say."""
        if self.earlier < LEAST_TO_JUDGE or self.spent_h is None or self.low_h is None:
            return None
        if self.spent_h < self.low_h:
            return "below"
        return "above" if self.high_h is not None and self.spent_h > self.high_h else "usual"


def judging_pours(wide: pd.DataFrame, start: pd.Timestamp) -> tuple[pd.DataFrame, str]:
    """The pours that say what is usual, and which they are: those before the week.

    Where these are fewer than ten, all outside the week: a week is never judged by itself.
    """
    before = wide[wide["date"] < start]
    if int(before["labor_h"].notna().sum()) >= LEAST_TO_TRUST:
        return before[-HISTORY_POURS:], "before"
    outside = wide[wide["week"] != start][:HISTORY_POURS]
    return outside, "before" if len(outside) == len(before) else "before_and_after"


def judged_hours(wide: pd.DataFrame, start: pd.Timestamp) -> Hours:
    """The week's pours against what such floors usually take this crew."""
    base, basis = judging_pours(wide, start)
    model = usual_hours(base)
    past = pd.Series(model.left_out_ratios, index=base.index).dropna()[-CHART_POURS:]
    chart = ratio_chart(past) if len(past) >= LEAST_TO_TRUST else None
    pours = _judged(wide[wide["week"] == start], model, chart)
    known = pours["labor_h"].notna() & pours["usual_h"].notna()
    if not known.any():
        return Hours(pours, None, None, None, None, model.count, basis, chart, past)
    draws = model.draws(wide.loc[pours.index[known]])
    low, high = np.quantile(draws.sum(axis=0), [0.1, 0.9])
    return Hours(
        pours=pours,
        spent_h=float(pours.loc[known, "labor_h"].sum()),
        usual_h=float(pours.loc[known, "usual_h"].sum()),
        low_h=float(low),
        high_h=float(high),
        earlier=model.count,
        basis=basis,
        chart=chart,
        past_ratios=past,
    )


def _judged(week: pd.DataFrame, model: UsualHours, chart: IndividualsChart | None) -> pd.DataFrame:
    result = pd.DataFrame({"labor_h": week["labor_h"], "usual_h": np.nan}, index=week.index)
    result[["low_h", "high_h", "ratio"]] = np.nan
    result["verdict"] = pd.Series([None] * len(week), index=week.index, dtype=object)
    if week.empty:
        return result
    result["usual_h"] = model.hours(week)
    low, high = np.quantile(model.draws(week), [0.1, 0.9], axis=1)
    result["low_h"], result["high_h"] = low, high
    result["ratio"] = result["labor_h"] / result["usual_h"]
    if model.count < LEAST_TO_JUDGE:
        return result
    for pour_id, row in result.iterrows():
        result.loc[pour_id, "verdict"] = _verdict(row, chart)
    return result


def _verdict(row: pd.Series[Any], chart: IndividualsChart | None) -> str | None:
    if not np.isfinite(row["ratio"]):
        return None
    if row["labor_h"] > row["high_h"]:
        return "far_slow" if chart is not None and row["ratio"] > chart.upper else "slow"
    if row["labor_h"] < row["low_h"]:
        return "far_fast" if chart is not None and row["ratio"] < chart.lower else "fast"
    return "usual"


def pars(wide: pd.DataFrame, start: pd.Timestamp) -> list[dict[str, Any]]:
    """Par of each slab type and size class poured this week, by the baseline method.

    Only from at least ten earlier pours of the class; without, ``hours_per_ft2`` is None and
    ``pours`` says how many there are. Hours of this week's pours stand against ``par_h``.
    """
    base, _ = judging_pours(wide, start)
    base = base[base["labor_h"].notna() & base["area"].notna()]
    week = wide[(wide["week"] == start) & wide["labor_h"].notna() & wide["area"].notna()]
    if "slab_type" not in wide.columns or week.empty:
        return []
    found = []
    classes = week["area"].map(lambda area: size_class(area)[0])
    for (slab_type, least), group in week.groupby([week["slab_type"], classes]):
        lower, upper = size_class(float(str(least)))
        like = base[(base["slab_type"] == slab_type) & (base["area"] >= lower)]
        like = like[like["area"] < upper] if upper is not None else like
        par = baseline(like["area"], like["labor_h"]) if len(like) >= LEAST_FOR_PAR else None
        rate = None if par is None else par.hours_per_unit
        found.append(
            {
                "slab_type": slab_type,
                "from_ft2": lower,
                "to_ft2": upper,
                "pours": len(like),
                "hours_per_ft2": rate,
                "usual_hours_per_ft2": None if par is None else par.cumulative,
                "disrupted_pours": None if par is None else int(par.disrupted.sum()),
                "labor_h": float(group["labor_h"].sum()),
                "par_h": None if rate is None else rate * float(group["area"].sum()),
                "pour_ids": list(group.index),
            }
        )
    return found


def add_bids(wide: pd.DataFrame, frames: Frames) -> pd.DataFrame:
    """The ledger with ``bid_h``, ``bid_spent_h`` and ``bid_why_not`` of each pour.

    The bid is the last one dated on or before the pour. Hours spent are those within its scope;
    where the log can't tell them apart ``bid_why_not`` says why nothing is compared.
    """
    bids = table(frames, "bids", "pour_id", "bid_date", "bid_hours").copy()
    bids["bid_date"] = pd.to_datetime(bids["bid_date"], errors="coerce")
    bids["bid_hours"] = column(bids, "bid_hours")
    known = bids[bids["bid_hours"].notna()].copy()
    known["poured"] = known["pour_id"].map(wide["date"])
    known = known[known["bid_date"] <= known["poured"]]
    last = known.sort_values("bid_date", kind="stable").drop_duplicates("pour_id", keep="last")
    last = last.set_index("pour_id")
    result = wide.copy()
    result["bid_full_h"] = last["bid_hours"].reindex(wide.index).astype(float)
    scope = last["scope"] if "scope" in last.columns else pd.Series(None, index=last.index)
    texts = scope.reindex(wide.index).astype(object)
    texts = texts.where(texts.notna(), "")
    result["bid_spent_h"] = np.nan
    why_not = pd.Series([None] * len(wide), index=wide.index, dtype=object)
    for text in texts.unique():
        bid_so = result["bid_full_h"].notna() & (texts == text)
        spent, why = _within_scope(result[bid_so], str(text))
        result.loc[bid_so, "bid_spent_h"] = spent
        why_not[bid_so] = why
    result["bid_h"] = result["bid_full_h"].where(result["bid_spent_h"].notna())
    result["bid_why_not"] = why_not
    # Billed is written in after the pour, on whichever bid: the latest that has it counts.
    bids["billed"] = column(bids, "billed")
    paid = bids[bids["billed"].notna()].sort_values("bid_date", kind="stable")
    billed = paid.drop_duplicates("pour_id", keep="last").set_index("pour_id")["billed"]
    result["billed"] = billed.reindex(wide.index).astype(float)
    result["billed_paid_h"] = result["paid_h"].where(result["billed"].notna())
    return result


def _within_scope(pours: pd.DataFrame, text: str) -> tuple[pd.Series[Any], pd.Series[Any]]:
    """Logged hours of the tasks that were bid, and why they can't be told where they can't."""
    scope = {word.strip() for word in text.split(";")} - {""} or set(LOGGED_TASKS)
    spent = pours["labor_h"].copy()
    why = pd.Series([None] * len(pours), index=pours.index, dtype=object)
    extra = sorted(scope - LOGGED_TASKS)
    if extra:
        why[:] = f"the bid holds {', '.join(extra)} too, which the log has no hours for"
        return spent * np.nan, why
    left_out = sorted(LOGGED_TASKS - scope)
    if left_out:
        apart = pours[[f"{task}_labor_h" for task in left_out]].sum(axis=1)
        spent = (spent - apart).where(pours["task_h"].notna())
        why[spent.isna()] = f"the bid leaves out {', '.join(left_out)}; a headcount can't tell it"
    why[pours["labor_h"].isna()] = "its hours are not logged"
    return spent, why
