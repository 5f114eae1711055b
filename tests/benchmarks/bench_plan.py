"""The day's plan: whether its odds hold, how near to the best it comes, and how long it takes.

    python tests/benchmarks/bench_plan.py odds --seasons 120 --days 2400
    python tests/benchmarks/bench_plan.py best --days 12
    python tests/benchmarks/bench_plan.py speed

odds: two slabs a day, of seasons made by the clock simulators (which know nothing of the clock), on
starts agreed; the plan is made from the season's first pours and a forecast with errors, then meets
what the simulator did. The day's end is drawn so that all odds occur.
best: small days against every choice of starts and teams (brute force).
speed: processor seconds, cold and warm; run it on a machine with nothing else to do.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning import clock, hours, unloading
from pourstats.planning.day.choice import Day
from pourstats.planning.day.outcome import BREACH_USD
from pourstats.planning.day.people import SKILLS, Person
from pourstats.planning.day.rules import Rules
from pourstats.planning.day.run import run
from pourstats.planning.day.search import search
from pourstats.planning.day.slabs import slabs_of
from tests.simulators import clock_heat, clock_rules
from tests.simulators.trucks_day import brute_best, small_day

MAKERS = {"heat": clock_heat.season, "rules": clock_rules.season}
LEARNED = 60
PLANNED, TRUTHS = 500, 5


def odds_of_season(maker: str, seed: int, days: int, rng: np.random.Generator) -> list[tuple]:
    """(stated chance, done) of days of one season."""
    season = MAKERS[maker](LEARNED + 60, seed)
    pours, passes, weather = season.pours, season.passes, season.weather
    fitted = clock.fit(
        pours[:LEARNED], passes[passes["pour_id"].isin(pours["pour_id"][:LEARNED])],
        None, weather, season.sites, {},
    )  # fmt: skip
    # As the plan has it: hold-ups are played through.
    fitted = replace(fitted, held_rate=np.zeros_like(fitted.held_rate))
    learned, model = unloading.fit({"pours": pours[:LEARNED]}), hours.hours_model(None)
    found = []
    for _ in range(days // TRUTHS):
        pair = rng.choice(np.arange(LEARNED, len(pours)), 2, replace=False)
        jobs, sky = one_day(pours, weather, pair, rng)
        people = tuple(
            Person(f"hand {i}", SKILLS, 40.0) for i in range(int(jobs["hands"].max()) + 3)
        )
        rules = Rules(vehicles=6, plant_open=0.0, plant_close=48.0, day_start=0.0, day_end=60.0)
        slabs = slabs_of(jobs, sky, fitted, learned, model, {}, {}, rules, seed, PLANNED)
        ways = search(Day(tuple(slabs), people, rules), 60)
        if not ways:
            continue
        choice, out = ways[0].choice, ways[0].outcome
        end = np.maximum.reduce(out.last)
        # What happened is played behind the mornings drawn, so that people leave when the plan
        # says, not when the floor turns out to be ready.
        met = [
            with_truth(slab, season, int(row), rng) for slab, row in zip(slabs, pair, strict=True)
        ]
        happened = run(Day(tuple(met), people, rules), choice)
        for truth in range(PLANNED, PLANNED + TRUTHS):
            limit = float(np.quantile(end, rng.uniform(0.02, 0.98)))
            ended = max(float(h[truth]) for h in happened.last)
            found.append(
                (float(np.mean(end <= limit)), ended <= limit, float(np.mean(end < ended)))
            )
    return found


def one_day(
    pours: pd.DataFrame, weather: pd.DataFrame, pair: np.ndarray, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Two pours put on one date, each with its own weather under a site of its own, and errors."""
    date = pd.Timestamp(pours["place_start"].iloc[pair[0]]).normalize()
    jobs, skies = [], []
    for place, row in enumerate(pair):
        job = pours.iloc[row].copy()
        move = date - pd.Timestamp(job["place_start"]).normalize()
        own = weather[weather["site"] == job["site"]].copy()
        own["time"] += move
        near = (own["time"] > date - pd.Timedelta(days=2)) & (
            own["time"] < date + pd.Timedelta(days=2)
        )
        own = own[near].assign(site=f"site {place}", source="forecast")
        own["air_temp"] += rng.normal(0, 2)
        own["humidity"] = (own["humidity"] + rng.normal(0, 7)).clip(5, 100)
        own["wind"] *= np.exp(rng.normal(0, 0.25))
        skies.append(own)
        job["site"], job["date"] = f"site {place}", date
        job["place_start"] += move
        jobs.append(job.drop(["place_end", "machine_on", "passes_done"], errors="ignore"))
    frame = pd.DataFrame(jobs).reset_index(drop=True)
    return frame.assign(saw_type="none"), pd.concat(skies, ignore_index=True)


def with_truth(slab, season, row: int, rng: np.random.Generator):
    """The slab with some mornings of the simulator's behind its draws.

    The simulator knows no set-up and no trucks: theirs are drawn anew from the plan's own, and
    there too no placing is over before the loads are empty.
    """
    pour = season.pours.iloc[row]
    picks = rng.integers(season.first_min.shape[1], size=TRUTHS)
    place = np.full(TRUTHS, (pour["place_end"] - pour["place_start"]).total_seconds() / 3600)
    place = np.maximum(place, rng.choice(slab.out_h, TRUTHS))
    first, last = season.first_min[row, picks] / 60, season.last_min[row, picks] / 60
    truth = (place, first, last - first, np.zeros(TRUTHS), np.full(TRUTHS, 99.0))
    longer = slab.taken(
        np.concatenate([np.arange(slab.late_h.size), rng.integers(0, slab.late_h.size, TRUTHS)])
    )
    tables = []
    for table, values in zip(longer.tables, truth, strict=True):
        table = table.copy()
        table[:, -TRUTHS:] = values
        tables.append(table)
    return replace(longer, tables=tuple(tables), seen={})


def odds(seasons: int, days: int) -> None:
    rng = np.random.default_rng(5)
    began, found = time.process_time(), []
    for seed in range(seasons):
        maker = ("heat", "rules")[seed % 2]
        found += odds_of_season(maker, 7000 + seed, days // seasons, rng)
    stated, done = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    rank = np.array([f[2] for f in found])
    print(
        f"  share of mornings before what happened: mean {rank.mean():.3f} (0.5), spread"
        f" {rank.std():.3f} (0.289)"
    )
    print(f"{len(found)} days of {seasons} seasons, {time.process_time() - began:.0f} s")
    for low in np.arange(0, 1, 0.2):
        own = (stated >= low) & (stated < low + 0.2 + (low > 0.7))
        off = 100 * (done[own] - stated[own])
        # Mornings of the same two floors go together.
        floors = np.unique(np.flatnonzero(own) // TRUTHS, return_inverse=True)[1]
        sums = np.bincount(floors, off - off.mean())
        half = 1.96 * np.sqrt((sums**2).sum()) / own.sum()
        print(
            f"  stated {low:.1f} to {low + 0.2:.1f}: {own.sum()} days, stated"
            f" {stated[own].mean():.3f}, done {done[own].mean():.3f},"
            f" off by {off.mean():+.1f} points ({off.mean() - half:+.1f} to"
            f" {off.mean() + half:+.1f})"
        )


def best(days: int) -> None:
    for seed in range(days):
        day = small_day(seed)
        # Three placing makes it small enough for every choice.
        day = replace(day, slabs=tuple(replace(one, hands=3) for one in day.slabs))
        least, tried = brute_best(day)
        found = search(day)[0].outcome.score
        if least > BREACH_USD:
            print(f"  day {seed}: none of {tried} ways keeps all rules")
            continue
        print(f"  day {seed}: plan over the best of {tried} ways {found / least:.4f}")


SPEED = """
import sys, time
sys.path.insert(0, {root!r})
began, cpu = time.perf_counter(), time.process_time()
from tests.simulators.trucks_day import speed_case
from pourstats.planning.day import plan
jobs, sky, record, house = speed_case({pours}, {days})
mid, mid_cpu = time.perf_counter(), time.process_time()
plan(jobs, sky, record, house)
cold, cold_cpu = time.perf_counter(), time.process_time()
plan(jobs, sky, record, house)
print("{pours} pours on {days} days: cold", round(cold - began, 2), "s (processor",
      round(cold_cpu - cpu, 2), "s), warm", round(time.perf_counter() - cold, 2), "s (processor",
      round(time.process_time() - cold_cpu, 2), "s)")
"""


def speed() -> None:
    for pours, days in ((2, 1), (8, 5)):
        code = SPEED.format(root=str(Path(__file__).parents[2]), pours=pours, days=days)
        subprocess.run([sys.executable, "-c", code], check=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("odds", "best", "speed"))
    parser.add_argument("--seasons", type=int, default=20)
    parser.add_argument("--days", type=int, default=2000)
    asked = parser.parse_args()
    if asked.what == "odds":
        odds(asked.seasons, asked.days)
    elif asked.what == "best":
        best(min(asked.days, 30))
    else:
        speed()


if __name__ == "__main__":
    main()
