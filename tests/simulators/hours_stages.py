"""A day in stages: durations by the clock times the people on them. The simulator tuned on.

Set-up, loads that come late or not, placing at the slower of trucks and people, waiting for the set
(longer in cold), passes that repeat, sawing, clean-up; some days are wrecked. Hours follow from who
was there; nothing is drawn on the log scale of the total.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.simulators.hours_jobs import (
    TROUBLES,
    Season,
    blanked,
    described,
    quantiles,
    season_temp_f,
)


@dataclass
class Crew:
    place_rate: float  # yd3 per person-hour, chute, at no learning
    people_cap: float  # useful people while placing
    trowel_rate: float  # ft2 per machine-hour
    passes: dict
    set_h_70: float
    set_up_h: float
    clean_h: float
    learn: float
    walk: np.ndarray
    lead: dict
    wreck: float
    noise: float
    pump_set_up: float
    saw_ft_h: float
    barrow: float


def crew(rng: np.random.Generator, pours: int) -> Crew:
    return Crew(
        place_rate=np.exp(rng.normal(np.log(1.9), 0.3)), people_cap=rng.uniform(3, 7),
        trowel_rate=np.exp(rng.normal(np.log(650), 0.3)),
        passes={"broom": 0, "float": 2, "trowel": rng.uniform(3.5, 5.5), "hard_trowel": rng.uniform(5, 8)},
        set_h_70=rng.uniform(0.8, 2.2), set_up_h=rng.uniform(0.4, 1.1), clean_h=rng.uniform(0.2, 0.7),
        learn=max(0.0, rng.normal(0.05, 0.05)),
        walk=np.cumsum(rng.normal(0, rng.choice([0.0, 0.01, 0.02]), size=pours)),
        lead={name: rng.normal(0, 0.07) for name in "ABC"}, wreck=rng.uniform(0.02, 0.12),
        noise=rng.uniform(0.08, 0.18), pump_set_up=rng.uniform(0.3, 0.9),
        saw_ft_h=rng.uniform(90, 220), barrow=rng.uniform(1.3, 2.2),
    )  # fmt: skip


def day(rng, who: Crew, job, k: np.ndarray | int, temp: np.ndarray) -> dict[str, np.ndarray]:
    """Many versions of one day (temp: one a version): person-hours by task, and the headcount."""
    n = temp.size
    skill = np.exp(who.walk[k] + who.lead[job.lead]) * (1 + k) ** (-who.learn) * 1.1
    lump = lambda cv: np.exp(rng.normal(0, cv, n))  # noqa: E731
    volume = job.area * job.thickness / 324 * (1 + rng.normal(0.03, 0.03, n))
    set_up = who.set_up_h * lump(0.3) + (who.pump_set_up if job.placement == "pump" else 0.0)
    slow = {"chute": 1.0, "pump": 0.85, "wheelbarrow": who.barrow, "buggy": 0.5 + 0.5 * who.barrow}[
        job.placement
    ]
    slow = (
        slow
        * {"none": 1.0, "fiber": 1.03, "rebar": 1.15}[job.reinforcement]
        * (1 - 0.04 * (job.slump - 5))
    )
    useful = who.people_cap * (1 - np.exp(-job.hands / who.people_cap))
    by_people = volume * slow / (who.place_rate * useful) * skill * lump(who.noise)
    loads = np.ceil(volume / 9.5)
    late = rng.gamma(0.5, 0.25, n) * (loads > 1) + rng.gamma(0.6, 0.02, n) * loads
    place = by_people + 0.1 * loads
    starved = late
    floating = job.area / 2500 * lump(0.15)
    hold = who.set_h_70 * 2 ** ((70 - np.clip(temp, 35, 100)) / 28) * lump(0.22)
    if job.finish == "broom":
        hold = hold * 0.45
    extra = 1 + 0.1 * rng.poisson(0.6, n)
    passes = who.passes[job.finish] * extra
    machines = 1 + (job.area > 2500) + (job.area > 7000)
    sweep = passes * job.area / who.trowel_rate / machines * skill * lump(who.noise)
    sweep = sweep + 0.25 * passes**0.5 + job.area / 700 * (job.finish == "broom") * skill
    stay = np.maximum(hold, 0.2)
    hours = {
        "other": job.hands * set_up + (job.finish_hands + 1) * who.clean_h * lump(0.3),
        "place": job.hands * place + job.finish_hands * floating,
        "wait": job.hands * starved + job.finish_hands * np.maximum(stay - floating, 0) * 0.9,
        "finish": np.minimum(job.finish_hands, machines + 1) * sweep,
        "saw": 1.4 * job.saw_length / who.saw_ft_h * lump(0.2),
    }
    wrecked = rng.random(n) < who.wreck
    lost = np.where(wrecked, job.hands * rng.gamma(2.0, 1.3, n), 0.0)
    where = rng.random(n)
    hours["wait"] = hours["wait"] + lost * np.where(where < 0.5, 1.0, 0.3)
    hours["place"] = hours["place"] + lost * np.where(where < 0.5, 0.0, 0.7)
    gone_h = stay + sweep + who.clean_h
    headcount = (
        job.hands * (set_up + place + starved) + lost + job.finish_hands * gone_h
    )  # everyone, for the whole stay
    clock = set_up + place + starved + gone_h + lost / job.hands
    placed = set_up + place + starved + lost / job.hands
    return {
        **hours,
        "headcount": headcount,
        "clock": clock,
        "wrecked": wrecked,
        "set_up_h": set_up,
        "placed_h": placed,
    }


def short_log(job, out: dict) -> dict:
    """The short log: hands, first concrete, strike-off and gone; everyone counts to the end."""
    came = pd.Timestamp(job.date) + pd.Timedelta(hours=7)
    start, end, gone = (
        came + pd.Timedelta(hours=out[name]) for name in ("set_up_h", "placed_h", "clock")
    )
    return {
        "labor_h": job.hands * (gone - start) / pd.Timedelta(hours=1), "hours_from": "headcount_part",
        "place_start": start, "place_end": end, "crew_out": gone,
    }  # fmt: skip


def season(seed: int, pours: int, ahead: int = 10, truth: int = 1500) -> Season:
    rng = np.random.default_rng([1, seed, pours])
    jobs = described(rng, pours + ahead)
    who = crew(rng, pours + ahead)
    middle = season_temp_f(jobs["date"])
    temps = middle + rng.normal(0, 8, len(jobs))
    style = rng.choice(["crew_time", "mixed", "headcount", "short"], p=[0.4, 0.25, 0.15, 0.2])
    rows, actual, oracle = [], [], []
    for k, job in enumerate(jobs.itertuples()):
        out = {name: value[0] for name, value in day(rng, who, job, k, temps[[k]]).items()}
        tasks = {name: out[name] for name in ("other", "place", "wait", "finish", "saw")}
        total = sum(tasks.values())
        timed = style == "crew_time" or (style == "mixed" and rng.random() < 0.5)
        if k < pours:
            rows.append(
                {
                    **{f"{name}_labor_h": value if timed else np.nan for name, value in tasks.items()},
                    "labor_h": total if timed else out["headcount"], "crew_h": out["clock"],
                    "hours_from": "crew_time" if timed else "headcount", "air_temp_f": temps[k],
                    "trouble": rng.choice(TROUBLES) if rng.random() < (0.7 if out["wrecked"] else 0.05) else None,
                }
            )  # fmt: skip
            if style == "short":
                rows[-1].update(short_log(job, out))
            continue
        actual.append(total)
        many = day(rng, who, job, k, middle[k] + rng.normal(0, 8, truth))
        oracle.append(sum(many[name] for name in tasks))
    known = blanked(rng, jobs, 0.25)
    if style == "short":
        known["finish_hands"] = np.nan
    record = pd.concat([known.iloc[:pours].reset_index(drop=True), pd.DataFrame(rows)], axis=1)
    return Season(
        record,
        known.iloc[pours:].reset_index(drop=True),
        np.array(actual),
        quantiles(np.array(oracle)),
    )
