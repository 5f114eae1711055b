"""Invented crews and the jobs they get: shared by the labor-hours simulators, which differ in how
hours come about. Every figure is made up; none is taken from the model under test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
TYPES = ("basement", "garage", "shop", "warehouse", "driveway", "patio", "walk", "porch")
MIDDLE_FT2 = dict(zip(TYPES, (1100, 550, 1800, 4500, 750, 320, 220, 160), strict=True))
TROUBLES = ("late_truck", "pump", "machine", "short_hand", "rain", "grade")


@dataclass(frozen=True)
class Season:
    """A record, the jobs that came next, what they took, and what the truth would have forecast."""

    record: pd.DataFrame
    jobs: pd.DataFrame
    labor_h: np.ndarray
    oracle: np.ndarray
    """jobs x LEVELS: quantiles of the true process for the described job."""


def described(rng: np.random.Generator, pours: int) -> pd.DataFrame:
    """Jobs of one crew in date order, as they could be described before the pour."""
    mix = rng.dirichlet(np.full(len(TYPES), 0.5))
    types = rng.choice(TYPES, size=pours, p=mix)
    start = pd.Timestamp("2031-03-20") + pd.Timedelta(days=int(rng.integers(0, 90)))
    gaps = rng.gamma(1.2, rng.uniform(1.0, 2.5) / 1.2, size=pours)
    dates = start + pd.to_timedelta(np.cumsum(gaps).astype(int), unit="D")
    leads = rng.choice(["A", "B", "C"][: int(rng.integers(1, 4))], size=pours)
    base_hands = rng.uniform(3.2, 5.5)
    pumps, fibers, rebars = rng.uniform(0.1, 0.6), rng.uniform(0, 0.6), rng.uniform(0, 0.5)
    rows = []
    for k in range(pours):
        kind = types[k]
        area = MIDDLE_FT2[kind] * np.exp(rng.normal(0, 0.42))
        inside = kind in ("basement", "garage", "shop", "warehouse")
        thick = rng.choice([4.0, 4.0, 5.0, 6.0]) if inside else rng.choice([4.0, 4.0, 4.5])
        if kind == "warehouse":
            thick = rng.choice([6.0, 7.0, 8.0])
        if rng.random() < pumps * (1.3 if inside else 0.4):
            placement = "pump"
        elif not inside and rng.random() < 0.35:
            placement = rng.choice(["wheelbarrow", "buggy"])
        else:
            placement = "chute"
        if inside:
            finish = rng.choice(["trowel", "hard_trowel", "float"], p=[0.6, 0.3, 0.1])
        else:
            finish = rng.choice(["broom", "float"], p=[0.85, 0.15])
        steel = "rebar" if rng.random() < rebars else "fiber" if rng.random() < fibers else "none"
        hands = max(2, round(base_hands * (area / 800) ** 0.28 + rng.normal(0, 0.5)))
        saw = rng.choice(["early_entry", "conventional"]) if area > 300 else "none"
        rows.append(
            {
                "pour_id": f"P{k:05d}", "date": dates[k].strftime("%Y-%m-%d"), "site": f"S{k % 40}",
                "slab_type": kind, "area": round(area), "thickness": thick, "placement": placement,
                "finish": finish, "reinforcement": steel, "hands": hands,
                "base": rng.choice(["stone", "soil", "stone;vapor_sheet"]),
                "finish_hands": max(1, round(hands * rng.uniform(0.4, 0.75))),
                "exposure": "indoors" if kind == "basement" else rng.choice(["sun", "mixed", "shade"]),
                "slump": round(rng.normal(5.2, 0.7) * 2) / 2, "lead": leads[k], "saw_type": saw,
                "saw_length": round(area * rng.uniform(0.14, 0.24)) if saw != "none" else 0.0,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def season_temp_f(date: pd.Series) -> np.ndarray:
    """Mean morning temperature of the day of the year, an invented inland town."""
    day = pd.to_datetime(date).dt.day_of_year.to_numpy()
    return 55.0 - 24.0 * np.cos(2 * np.pi * (day - 20) / 365.25)


def quantiles(draws: np.ndarray) -> np.ndarray:
    return np.quantile(draws, LEVELS, axis=-1).T


def blanked(rng: np.random.Generator, jobs: pd.DataFrame, share: float) -> pd.DataFrame:
    """Some crews leave some cells empty."""
    frame = jobs.copy()
    for name in ("slump", "exposure", "finish_hands", "base", "lead"):
        if rng.random() < share:
            frame[name] = None
    return frame
