"""An invented plant and crew for truck tests: it shares no code with the program.

Minutes a yard come from a gamma, lateness from a mixture of on-time and stuck trucks: another
family than what the program fits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

DAY = pd.Timestamp("2031-04-01 00:00")
KINDS = ("basement", "garage", "shop", "driveway")
METHODS = ("chute", "chute", "buggy", "pump")
PACE = {"chute": 4.2, "buggy": 6.0, "pump": 3.1}


@dataclass
class Yard:
    """Truths of one crew and its plant."""

    rng: np.random.Generator
    crew: float = 1.0
    stuck: float = 0.18
    stuck_min: float = 22.0
    usual_late: float = 2.0
    day_spread: float = 4.0

    @classmethod
    def invented(cls, seed: int) -> Yard:
        rng = np.random.default_rng(seed)
        return cls(
            rng, float(rng.uniform(0.8, 1.3)), float(rng.uniform(0.05, 0.3)),
            float(rng.uniform(12, 35)), float(rng.uniform(-2, 6)), float(rng.uniform(2, 7)),
        )  # fmt: skip

    def job(self, name: str) -> dict:
        area = float(np.round(np.exp(self.rng.normal(7.3, 0.5))))
        how = str(self.rng.choice(METHODS))
        hands = int(np.clip(np.round(area / 500 + 2), 3, 8))
        return {
            "pour_id": name, "date": DAY, "site": "A", "slab_type": str(self.rng.choice(KINDS)),
            "area": area, "thickness": float(self.rng.choice([4, 5, 6])), "hands": hands,
            "placement": how, "slump": float(self.rng.choice([4, 5, 6])),
            "place_start": DAY + pd.Timedelta(hours=7), "plant_travel": 25.0,
        }  # fmt: skip

    def pace_min(self, job: dict, yd3: np.ndarray, mornings: int) -> np.ndarray:
        """Minutes of unloading (morning x load)."""
        mean = self.crew * PACE[job["placement"]] * (5 / job["hands"]) ** 0.4
        mean = mean * (yd3 / 10) ** -0.1
        pour = self.rng.gamma(40, 1 / 40, (mornings, 1))
        return mean * yd3 * pour * self.rng.gamma(30, 1 / 30, (mornings, yd3.size))

    def late_min(self, loads: int, mornings: int) -> np.ndarray:
        day = self.rng.normal(0, self.day_spread, (mornings, 1))
        stuck = self.rng.random((mornings, loads)) < self.stuck
        late = self.usual_late + day + self.rng.normal(0, 4, (mornings, loads))
        return late + stuck * self.rng.exponential(self.stuck_min, (mornings, loads))

    def log(self, pours: int, spacing: float = 40.0) -> tuple[pd.DataFrame, ...]:
        """Pours and loads as a crew would log them."""
        rows, loads = [], []
        for number in range(pours):
            job = self.job(f"P{number}")
            date = DAY + pd.Timedelta(days=number)
            rows.append(job | {"date": date})
            yd3 = split(job["area"] * job["thickness"] / 324 * 1.05)
            unload = self.pace_min(job, yd3, 1)[0]
            late = self.late_min(yd3.size, 1)[0]
            free = -np.inf
            order = np.argsort(spacing * np.arange(yd3.size) + late, kind="stable")
            for place in order:
                due = 420 + spacing * place
                come = due + late[place]
                begin = max(come, free) + self.rng.uniform(2, 6)
                free = begin + unload[place]
                clocks = {
                    "due": due, "batched": come - 35, "arrived": come, "pour_start": begin,
                    "pour_end": free, "left": free + 8,
                }  # fmt: skip
                loads.append(
                    {"pour_id": job["pour_id"], "ticket": str(place + 1), "volume": yd3[place],
                     "plant": "North", "called": "ordered"}
                    | {k: date + pd.Timedelta(minutes=round(v)) for k, v in clocks.items()}
                )  # fmt: skip
        return pd.DataFrame(rows), pd.DataFrame(loads)


def split(yd3: float) -> np.ndarray:
    """Full trucks of ten yards and what is left."""
    full = int(yd3 // 10)
    rest = round(yd3 - 10 * full, 2)
    return np.array([10.0] * full + ([rest] if rest > 0 else []))


def times(pours: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """What `truck_times` counts, reckoned here from the log's own definitions."""
    found = loads.merge(pours[["pour_id", "date", "site"]], on="pour_id")
    found["load_no"] = found.groupby("pour_id")["pour_start"].rank().astype(int)
    minutes = lambda a, b: (found[b] - found[a]).dt.total_seconds() / 60  # noqa: E731
    found["volume_yd3"], found["returned_yd3"] = found["volume"], np.nan
    found["wait_min"] = minutes("arrived", "pour_start")
    found["unload_min_per_yd3"] = minutes("pour_start", "pour_end") / found["volume"]
    found["late_min"] = minutes("due", "arrived")
    found["over_min"] = (minutes("arrived", "left") - 10 * found["volume"]).clip(lower=0)
    before = found.sort_values(["pour_id", "load_no"]).groupby("pour_id")["pour_end"].shift()
    stood = (found["arrived"] - before).dt.total_seconds() / 60
    found["starved_min"] = stood.clip(lower=0).fillna(0.0)
    found["wait_charge_usd"] = np.nan
    return found.drop(
        columns=["due", "batched", "arrived", "pour_start", "pour_end", "left", "volume"]
    )


def true_cost(
    yard: Yard,
    job: dict,
    yd3: np.ndarray,
    spacings: np.ndarray,
    idle_usd: float,
    wait_usd: float,
    free_min: float,
    balance: bool,
    mornings: int = 4000,
) -> np.ndarray:
    """Expected cost at each spacing under the truth, on the same mornings for all spacings."""
    n = yd3.size
    unload = yard.pace_min(job, yd3, mornings)
    late, change = yard.late_min(n, mornings), yard.rng.uniform(2, 6, (mornings, n))
    costs = []
    for spacing in spacings:
        come = spacing * np.arange(n) + late
        free, idle, over = np.full(mornings, -np.inf), np.zeros(mornings), np.zeros(mornings)
        half = np.zeros(mornings)
        fixed = n - 1 if balance else n
        order = np.argsort(come[:, :fixed], axis=1, kind="stable")
        rows = np.arange(mornings)
        for place in range(n):
            which = order[:, place] if place < fixed else np.full(mornings, n - 1)
            arrived = come[rows, which]
            if place == fixed:
                arrived = np.maximum(arrived, half + 35)
            begin = np.maximum(arrived, free) + change[rows, which]
            if place:
                idle += np.maximum(arrived - free, 0)
            done = begin + unload[rows, which]
            half = (begin + done) / 2
            over += np.maximum(done + 8 - arrived - free_min * yd3[which], 0)
            free = done
        costs.append(float((idle_usd * idle + wait_usd * over).mean()))
    return np.array(costs)
