"""The rate card: what a hundred feet, a yard and a foot take of this crew, by kind of floor."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.hours import HoursModel, hours_frame, hours_model
from pourstats.learning.hours.features import SQUARE_FEET_PER_YARD_INCH, numbers, words
from pourstats.learning.hours.model import usable
from pourstats.planning.bid_price import hour_cost, price_of
from pourstats.planning.bid_record import Bias, Lean, bids_with_pours, lean

CONFIDENCES = (0.5, 0.7, 0.9)
CHOSEN = ("reinforcement", "base", "exposure", "saw_type")
KIND = ("slab_type", "finish", "placement")
DRAWS = 4000


def rate_card(
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object],
    confidences: tuple[float, ...] = CONFIDENCES,
) -> dict[str, Any]:
    """Rates of every kind of floor (slab type, finish, placement) that the crew has poured.

    ``record`` as for `bid`. Each rate is that of the kind's middling floor (median area, thickness
    and hands) as of the latest pour, labor only: hours per 100 ft2 and per yd3, and dollars a foot
    with overhead and margin, at each confidence; with the count of pours, the change of the middle
    rate since a month before, and the rates that were bid for such floors.
    Raises Refusal (1) without pours that have hours.
    """
    frames = record or {}
    frame = usable(hours_frame(frames))
    if not len(frame):
        raise Refusal(
            "no pours with hours are stored yet, so there is no rate of your own; `pourstats load`"
            " brings them in, and `pourstats bid JOBS` answers from published rates meanwhile", 1,
        )  # fmt: skip
    latest = pd.Timestamp(frame["date"].max())
    before = latest - pd.DateOffset(months=1)
    middles = _middling(frame, latest)
    model = hours_model(frame)
    now = model.draws(middles, DRAWS).labor_h
    older = frame[pd.to_datetime(frame["date"]) <= before]
    then = hours_model(older).draws(middles, DRAWS).labor_h if len(older) else None
    rate = hour_cost(frames, house, latest)
    bid_rates = _bid_rates(bids_with_pours(frames, frame), model)
    rows = []
    for row in range(len(middles)):
        one = middles.iloc[row]
        area = float(one["area"])
        yards = area * float(one["thickness"]) / SQUARE_FEET_PER_YARD_INCH
        hours = np.quantile(now[row], confidences)
        change = None
        if then is not None:
            middle, old = float(np.median(now[row])), float(np.median(then[row]))
            change = round((middle - old) / area * 100.0, 3)
        usd = [_usd_per_ft2(now[row], rate.usd_h, c, house, area) for c in confidences]
        key = tuple(str(one[name] or "") for name in KIND)
        rows.append(
            {
                "slab_type": key[0], "finish": key[1] or None, "placement": key[2] or None,
                "pours": int(one["pours"]),
                "pours_since": int(one["pours_since"]) if then is not None else None,
                "area_ft2": area, "thickness_in": float(one["thickness"]),
                "hands": None if pd.isna(one["hands"]) else float(one["hands"]),
                "hours_per_100ft2": _by(confidences, hours / area * 100.0),
                "hours_per_yd3": _by(confidences, hours / yards),
                "usd_per_ft2": {f"{c:g}": v for c, v in zip(confidences, usd, strict=True)},
                "change_hours_per_100ft2": change,
                "bid": bid_rates.get(key),
            }
        )  # fmt: skip
    leaning = lean(frames, frame, model)
    return {
        "as_of": latest.date().isoformat(),
        "since": before.date().isoformat(),
        "pours": len(frame),
        "confidences": list(confidences),
        "labor_cost_usd_h": None if rate.usd_h is None else round(rate.usd_h, 2),
        "labor_cost_from": rate.source,
        "rates": rows,
        "bias": [_bias(bias) for bias in leaning.found],
        "bids_of_other_scope": leaning.other_scope,
        "notes": _notes(leaning, rate.usd_h),
    }


def _usd_per_ft2(
    hours: Any, usd_h: float | None, confidence: float, house: Mapping[str, object], area: float
) -> float | None:
    """Labor with overhead and margin a foot; the smallest job's price is no rate and stays out."""
    if usd_h is None:
        return None
    price = price_of(hours * usd_h, confidence, {**house, "minimum_job": None})
    return round(price.price / area, 3)


def _middling(frame: pd.DataFrame, latest: pd.Timestamp) -> pd.DataFrame:
    """One row a kind: its middling floor as a job, with the pours behind it; most poured first."""
    keyed = frame.assign(**{name: words(frame, name) for name in KIND})
    month = latest - pd.DateOffset(months=1)
    rows = []
    for key, own in keyed.groupby(list(KIND), sort=True):
        rows.append(
            {
                **dict(zip(KIND, key, strict=True)),
                "pour_id": "rate:" + "/".join(map(str, key)),
                "date": latest, "site": "",
                **{name: float(np.nanmedian(numbers(own, name))) for name in ("area", "thickness")},
                **{name: _median(own, name) for name in ("hands", "finish_hands", "saw_length")},
                **{name: _most(own, name) for name in CHOSEN},
                "pours": len(own),
                "pours_since": int((pd.to_datetime(own["date"]) > month).sum()),
            }
        )  # fmt: skip
    table = pd.DataFrame(rows).sort_values("pours", ascending=False, kind="stable")
    return table.reset_index(drop=True)


def _most(frame: pd.DataFrame, name: str) -> str:
    cells = [str(cell) for cell in words(frame, name) if cell != ""]
    return max(sorted(set(cells)), key=cells.count) if cells else ""


def _median(frame: pd.DataFrame, name: str) -> float:
    known = numbers(frame, name)
    known = known[~np.isnan(known)]
    return float(np.median(known)) if known.size else float("nan")


def _by(confidences: tuple[float, ...], values: Any) -> dict[str, float]:
    return {f"{c:g}": round(float(v), 3) for c, v in zip(confidences, values, strict=True)}


def _bid_rates(met: pd.DataFrame, model: HoursModel) -> dict[tuple[str, ...], dict[str, Any]]:
    """What was bid for each kind and what it took, hours per 100 ft2 (ratios of sums).

    Headcounts are read as crew time would have logged them.
    """
    if not len(met):
        return {}
    met = met.assign(took=model.as_crew_time(met)[0])
    same = met[met["same_scope"].astype(bool)]
    same = same.assign(**{name: words(same, name) for name in KIND})
    found = {}
    for key, own in same.groupby(list(KIND), sort=True):
        area = float(own["area"].sum())
        found[tuple(map(str, key))] = {
            "pours": len(own),
            "hours_per_100ft2": round(float(own["bid_hours"].sum()) / area * 100.0, 3),
            "took_hours_per_100ft2": round(float(own["took"].sum()) / area * 100.0, 3),
        }
    return found


def _bias(bias: Bias) -> dict[str, Any]:
    return {
        "group": bias.group, "pours": bias.pours, "short_share": round(bias.short, 4),
        "low": None if bias.low is None else round(bias.low, 4),
        "high": None if bias.high is None else round(bias.high, 4),
        "clear": bias.clear, "bid_hours": round(bias.bid_hours, 1),
        "took_hours": round(bias.took_hours, 1),
    }  # fmt: skip


def _notes(leaning: Lean, usd_h: float | None) -> list[str]:
    notes = []
    if leaning.found:
        notes.append(
            "only bids that were won were poured, so a bias says nothing of the jobs lost;"
            " what is compared covers placing, finishing and sawing"
        )
    if leaning.by_headcount:
        counted = leaning.by_headcount
        notes.append(
            f"hours of {counted} of these pours are a head count, which reads a little high; they"
            " are read as each person's hours would have been logged"
        )
        if counted == leaning.found[-1].pours:
            notes.append(
                "by how much yours read high your record can't tell, so the ranges are wide: log"
                " each person's hours (crew_time) on some pours"
            )
    if leaning.too_rough:
        notes.append(
            f"{leaning.too_rough} pours known by part of a head count only are left out of that"
        )
    if leaning.other_scope:
        notes.append(f"{leaning.other_scope} bids of another scope are left out")
    if usd_h is None:
        notes.append("no dollars: nobody's pay is known; set default_pay, or a crew table")
    return notes


def card_frame(card: Mapping[str, Any]) -> pd.DataFrame:
    """The rate card as a flat table, one row a kind, for csv and xlsx; units in the names."""
    rows = []
    for rate in card["rates"]:
        row = {name: rate[name] for name in (*KIND, "pours", "area_ft2", "thickness_in", "hands")}
        for level in card["confidences"]:
            mark = f"{level:g}"
            for name in ("hours_per_100ft2", "hours_per_yd3", "usd_per_ft2"):
                row[f"c{round(level * 100)}_{name}"] = rate[name][mark]
        row["change_hours_per_100ft2"] = rate["change_hours_per_100ft2"]
        made = rate["bid"] or {}
        row["bids"] = made.get("pours", 0)
        row["bid_hours_per_100ft2"] = made.get("hours_per_100ft2")
        row["took_hours_per_100ft2"] = made.get("took_hours_per_100ft2")
        rows.append(row)
    table = pd.DataFrame(rows)
    told = [str(name) for name in table if name not in KIND]
    return table.assign(**{name: pd.to_numeric(table[name]) for name in told})
