"""Invented crews whose floors come back by a known rule: logs as the store's frames give them.

Every figure is made up. Days are warm or cool, dry or damp; what goes with a warm day (hot concrete,
water in the truck, a late saw) goes with it here too, so that one habit can be taken for another.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

OUTDOORS = ("driveway", "patio", "walk", "porch")
TYPES = ("basement", "garage", "shop", "warehouse", *OUTDOORS)


@dataclass(frozen=True)
class Truth:
    """Odds ratios by what is so on the day; base_rate is that of the pours where none is so."""

    base_rate: float = 0.10
    odds: dict[str, float] = field(default_factory=dict)
    outdoors_odds: float = 1.0


@dataclass(frozen=True)
class Crew:
    """A log (frames by name), its truth by pour, the chance that the rule gave each floor, and
    which floors are called back in the end."""

    frames: dict[str, pd.DataFrame]
    so: pd.DataFrame
    chance: np.ndarray
    will_be_back: np.ndarray


def crew(
    rng: np.random.Generator,
    pours: int,
    truth: Truth,
    logged: float = 1.0,
    years: float = 3.0,
    young: bool = True,
) -> Crew:
    """One crew's log. ``logged`` is the share of pours on which an optional column is filled in;
    without ``young`` all pours are two years old or older on the log's latest day."""
    start = pd.Timestamp("2028-03-01")
    day = np.sort(rng.uniform(0, 365 * years, pours)).astype(int)
    dates = start + pd.to_timedelta(day, unit="D")
    season = np.sin(2 * np.pi * (day - 110) / 365.0)
    warm = 60 + 20 * season + rng.normal(0, 7, pours)
    evaporation = np.exp(rng.normal(-2.6, 0.55, pours) + 0.018 * (warm - 60))
    kinds = rng.choice(TYPES, pours)
    outdoors = np.isin(kinds, OUTDOORS)
    finish = np.where(outdoors, rng.choice(["broom", "float"], pours, p=[0.85, 0.15]),
                      rng.choice(["trowel", "hard_trowel", "float"], pours, p=[0.5, 0.4, 0.1]))  # fmt: skip
    thickness = rng.choice([4.0, 4.0, 5.0, 6.0], pours)
    concrete = 62 + 0.45 * (warm - 60) + rng.normal(0, 5, pours)
    concrete = np.where(warm > 78, concrete + 14 * (rng.random(pours) < 0.4), concrete)
    air = outdoors & (rng.random(pours) < 0.9) | ~outdoors & (rng.random(pours) < 0.15)
    cure = rng.choice(["none", "compound", "wet", "sheet"], pours, p=[0.3, 0.4, 0.15, 0.15])
    water = np.where(rng.random(pours) < 0.15 + 0.006 * (warm - 40), rng.uniform(3, 20, pours), 0.0)
    age = 55 + rng.gamma(3.0, 8.0, pours)
    gap = rng.gamma(1.2, 12.0, pours) * (rng.random(pours) < 0.6)
    print_in = np.clip(rng.normal(0.2, 0.07, pours), 0.03, 0.6)
    print_in = np.round(print_in * 16) / 16
    sawn = rng.choice(["early_entry", "conventional", "none"], pours, p=[0.5, 0.3, 0.2])
    close = np.where(sawn == "early_entry", 9.0, 14.0) * np.exp(-0.02 * (warm - 70))
    delay = close * np.exp(rng.normal(-0.35, 0.4, pours))
    spacing = np.round(thickness * rng.choice([2.0, 2.5, 3.0, 3.6], pours), 1)
    so = pd.DataFrame(
        {
            "dried_fast": evaporation > np.median(evaporation),
            "machine_early": print_in > 0.25,
            "air_hard_trowel": air & np.isin(finish, ("trowel", "hard_trowel")),
            "no_cure": cure == "none",
            "saw_late": (delay > close) & (sawn != "none"),
            "concrete_hot": concrete >= 90,
            "water_added": water > 0,
            "load_old": age > 90,
            "load_gap": gap >= 30,
            "thin_for_joints": spacing * 12 / thickness > 36,
        }
    )
    log_odds = np.log(truth.base_rate / (1 - truth.base_rate)) + outdoors * np.log(
        truth.outdoors_odds
    )
    for name, ratio in truth.odds.items():
        log_odds = log_odds + np.log(ratio) * so[name].to_numpy()
    chance = 1 / (1 + np.exp(-log_odds))
    back = rng.random(pours) < chance
    wait = np.where(outdoors, rng.uniform(20, 360, pours), rng.gamma(1.5, 45.0, pours))
    wait = np.minimum(wait, np.where(outdoors, 360, 175)).astype(int)
    last = int(day.max()) + (0 if young else 730)
    seen = back & (day + wait <= last)
    ids = np.array([f"p{k}" for k in range(pours)])

    def blank(values: np.ndarray) -> pd.Series:
        keep = rng.random(pours) < logged
        return pd.Series(values).where(keep)

    begun = dates + pd.to_timedelta(7, unit="h")
    placed = begun + pd.to_timedelta(2, unit="h")
    cut = pd.Series(placed + pd.to_timedelta(np.round(delay * 60), unit="min"))
    log = pd.DataFrame(
        {
            "pour_id": ids, "date": dates, "slab_type": kinds, "thickness": thickness,
            "finish": finish, "concrete_temp": blank(np.round(concrete)),
            "admixtures": blank(np.where(air, "air_entrainer;water_reducer", "water_reducer")),
            "cure": blank(cure), "scm": blank(np.full(pours, 0.0)), "base": blank(np.full(pours, "stone")),
            "mix": blank(rng.choice(["A", "B"], pours)), "place_start": begun, "place_end": placed,
            "saw_start": cut.where((sawn != "none") & (rng.random(pours) < logged)),
            "saw_type": blank(sawn), "joint_spacing": blank(spacing),
        }
    )  # fmt: skip
    log.loc[log.index[-1], "cure_start"] = start + pd.to_timedelta(last, unit="D")
    output = pd.DataFrame(
        {"pour_id": ids, "date": dates, "slab_type": kinds, "finish": finish,
         "lead": rng.choice(["A", "B"], pours), "placed_yd3": np.exp(rng.normal(2.5, 0.5, pours))}
    )  # fmt: skip
    trucks = pd.DataFrame(
        {"pour_id": ids, "ticket": "1", "water_added": blank(water), "concrete_temp": np.nan}
    )
    times = pd.DataFrame(
        {
            "pour_id": ids,
            "ticket": "1",
            "called": None,
            "age_min": blank(age),
            "starved_min": blank(gap),
        }
    )
    first = pd.DataFrame(
        {
            "pour_id": ids, "first_pass": True, "machine": "walk_behind", "held_up": None,
            "ready": pd.NaT, "start": placed + pd.to_timedelta(3, unit="h"),
            "footprint_in": blank(print_in), "since_placed_min": 180 + rng.normal(0, 30, pours),
        }
    )  # fmt: skip
    weather = pd.DataFrame(
        {"pour_id": ids, "air_temp_f": warm, "evaporation_lb_ft2_h": blank(evaporation),
         "evaporation_class": np.where(evaporation < 0.1, "under 0.1",
                                       np.where(evaporation < 0.2, "0.1 to 0.2", "0.2 and over"))}
    )  # fmt: skip
    who = np.flatnonzero(seen)
    calls = pd.DataFrame(
        {
            "callback_id": [f"c{k}" for k in who], "pour_id": ids[who],
            "reported": dates[who] + pd.to_timedelta(wait[who], unit="D"),
            "defect": rng.choice(["dusting", "random_crack", "scaling"], len(who)),
            "fault": rng.choice(["ours", "mix", "base"], len(who)),
            "hours": rng.gamma(2.0, 4.0, len(who)), "cost": rng.gamma(1.5, 150.0, len(who)),
        }
    )  # fmt: skip
    frames = {
        "pours": log, "pour_output": output, "trucks": trucks, "truck_times": times,
        "passes": pd.DataFrame(), "pass_intervals": first, "pour_weather": weather,
        "callbacks": calls, "crew_time": pd.DataFrame(),
        "crew": pd.DataFrame({"worker": ["A", "B"], "since": pd.NaT, "pay": [28.0, 34.0]}),
    }  # fmt: skip
    return Crew(frames, so, chance, back)
