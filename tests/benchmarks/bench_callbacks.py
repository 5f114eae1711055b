"""What the callbacks page tells crews whose truth is known, and how fast.

    OMP_NUM_THREADS=1 nice -n 15 python tests/benchmarks/bench_callbacks.py null --crews 1000
    ... power --crews 1000      evaporation triples the odds on the drier half of days
    ... coverage --crews 1000   profile intervals at 90 %, without the prior and with it
    ... need --crews 300        are the pours "that would show a doubling" about right?
    ... chances --crews 200     log loss of the chances of new floors, against the usual rate
    ... come --crews 300        do the intervals of what is still to come hold?
    ... cost --crews 2000       does the cost a yard hold the truth at 2, 3, 5, 10 calls?
    ... watch --crews 1000      how often a steady crew is told of a bad run, and how soon a bad one
    ... speed

Crews are tests/simulators/callbacks_crews.py's. Shares come with their 90 % score interval.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning.callbacks.features import beside
from pourstats.learning.callbacks.logistic import fit
from pourstats.learning.callbacks.rare import watch
from pourstats.learning.callbacks.rates import cost_interval
from pourstats.learning.callbacks.record import pours_record
from pourstats.learning.callbacks.risk import PRIOR_M, fitted_risk, risk
from pourstats.learning.callbacks.waiting import share_shown, still_to_come
from pourstats.learning.callbacks.year import this_year
from pourstats.learning.intervals import score_interval
from pourstats.planning.callbacks import callback_picture
from tests.simulators.callbacks_crews import Truth, crew

TRIPLED = {"dried_fast": 3.0}
ON_DRY_DAYS = 0.083
"""Base rate of the mild half that makes 15 % in all when the dry half has three times the odds."""


def share(count, trials):
    low, high = score_interval(count, trials, 0.90)
    return (
        f"{count} of {trials} = {100 * count / trials:.1f} % ({100 * low:.1f} to {100 * high:.1f})"
    )


def any_crew(rng):
    """A crew of any size, rate and thoroughness, whose habits do nothing."""
    rate = float(np.exp(rng.uniform(np.log(0.02), np.log(0.30))))
    truth = Truth(rate, {}, float(rng.choice([1, 2, 4])))
    return crew(rng, int(rng.integers(40, 600)), truth, logged=float(rng.uniform(0.3, 1.0)))


def null(crews, rng):
    told, year, run, anything, names = 0, 0, 0, 0, Counter()
    for _ in range(crews):
        pours, found = looked(any_crew(rng))
        habits = [effect.name for effect in found.effects if effect.told]
        latest, charts = this_year(pours), watch(pours)
        off_year = latest is not None and latest["verdict"] in ("worse", "better")
        bad = bool(charts and charts["bad_run"] and charts["bad_run"]["told"])
        told += bool(habits)
        year += off_year
        run += bad
        anything += bool(habits) or off_year or bad
        names.update(habits)
    print("told of a habit:", share(told, crews), dict(names))
    print("told of a year:", share(year, crews))
    print("told of a bad run:", share(run, crews))
    print("told of any of these:", share(anything, crews))


def looked(one):
    pours = pours_record(one.frames, {})
    return pours, risk(one.frames, pours, 90.0, sizes=False)[0]


def power(crews, rng):
    # The last three, which are for information, get a third of the crews.
    for words, base, young, count in (
        ("15 % on mild days, all floors old", 0.15, False, crews),
        ("15 % in all, all floors old", ON_DRY_DAYS, False, crews),
        ("15 % on mild days, latest floors young", 0.15, True, crews // 3),
        ("5 % on mild days, all floors old", 0.05, False, crews // 3),
        ("5 % in all, all floors old", 0.0262, False, crews // 3),
    ):
        hit, other, rate = 0, 0, 0.0
        for _ in range(count):
            pours, found = looked(crew(rng, 400, Truth(base, TRIPLED), young=young))
            names = [effect.name for effect in found.effects if effect.told]
            hit += "dried_fast" in names
            other += bool(set(names) - {"dried_fast"})
            rate += pours["called_back"].mean() / count
        print(f"{words} ({100 * rate:.1f} % called): found {share(hit, count)};"
              f" something else too {share(other, count)}", flush=True)  # fmt: skip


def coverage(crews, rng):
    # The last two, which are for information, get a fifth of the crews.
    for base, pours, count in (
        (0.15, 400, crews),
        (0.05, 400, crews // 5),
        (0.15, 100, crews // 5),
    ):
        held, fits = Counter(), 0
        for _ in range(count):
            one = crew(rng, pours, Truth(0.2), young=False)
            record, found = looked(one)
            if found.model is None or "dried_fast" not in found.names:
                continue
            # The truth is set on the model's own columns, so that it is one of its parameters.
            x, column = found.model.x, 1 + found.names.index("dried_fast")
            beta = np.zeros(x.shape[1])
            beta[0], beta[column] = np.log(base / (1 - base)), np.log(3.0)
            y = (rng.random(len(record)) < 1 / (1 + np.exp(-x @ beta))).astype(float)
            if min(y.sum(), len(y) - y.sum()) < 5:
                continue
            fits += 1
            for name, model in (
                ("likelihood alone", fit(x, y)),
                ("Firth", fit(x, y, firth=True)),
                ("with the prior", fit(x, y, PRIOR_M)),
            ):
                low, high = model.interval(column, 0.90)
                held[name] += low <= beta[column] <= high
        for name, inside in held.items():
            print(f"{100 * base:.0f} %, {pours} pours, {name}: {share(inside, fits)}", flush=True)


def need(crews, rng):
    """Crews of 200 say how many more pours they need; crews of that size then try."""
    truth = Truth(0.12, {"no_cure": 2.0})
    more = []
    for _ in range(40):
        _, found = looked(crew(rng, 200, truth, young=False))
        effect = next(each for each in found.effects if each.name == "no_cure")
        if effect.more_pours is not None:
            more.append(200 + effect.more_pours)
    size = int(np.median(more))
    hit = 0
    for _ in range(crews):
        _, found = looked(crew(rng, size, truth, young=False))
        hit += any(effect.told and effect.name == "no_cure" for effect in found.effects)
    print(
        f"{size} pours were asked for; no cure at twice the odds is then found {share(hit, crews)}"
    )


def chances(crews, rng):
    for words, odds in (
        ("nothing in it", {}),
        ("evaporation x 3", TRIPLED),
        ("no cure x 3, water x 2, early x 3", {"no_cure": 3, "water_added": 2, "machine_early": 3}),
    ):
        for size in (60, 200, 400):
            losses = []
            for _ in range(crews):
                one = crew(rng, size + 100, Truth(0.1, odds), young=False)
                pours = pours_record(one.frames, {})
                _, values = risk(one.frames, pours, 90.0)
                first = np.arange(len(pours)) < size
                back = pours["called_back"].to_numpy(float)
                found = fitted_risk(values[first], back[first], beside(pours)[first],
                                    share_shown(pours)[first])  # fmt: skip
                later = found.chances(values[~first], beside(pours)[~first])["chance"]
                truth = one.chance[~first]
                loss = [-(truth * np.log(p) + (1 - truth) * np.log(1 - p)).mean()
                        for p in (later.to_numpy(), np.full(100, found.usual), truth)]  # fmt: skip
                losses.append(loss)
            model, usual, best = np.mean(losses, axis=0)
            print(f"{words}, {size} pours: excess log loss {1000 * (model - best):.1f} of the risk,"
                  f" {1000 * (usual - best):.1f} of the usual rate (thousandths)", flush=True)  # fmt: skip


def come(crews, rng):
    for base in (0.05, 0.15):
        held, wide = 0, []
        for _ in range(crews):
            one = crew(rng, int(rng.integers(60, 400)), Truth(base, {}, 2.0))
            pours = pours_record(one.frames, {})
            found = still_to_come(pours)
            waiting = ~pours["old_enough"] & ~pours["called_back"]
            truth = int((one.will_be_back & waiting.to_numpy()).sum())
            held += found["p05"] <= truth <= found["p95"]
            wide.append(found["p95"] - found["p05"])
        print(f"base {100 * base:.0f} %: still to come holds {share(held, crews)},"
              f" {np.mean(wide):.1f} floors wide")  # fmt: skip


def cost(crews, rng):
    for words, made in (
        ("all alike", np.ones),
        ("exponential", lambda count: rng.exponential(1.0, count)),
        ("gamma, shape a half", lambda count: rng.gamma(0.5, 2.0, count)),
        ("lognormal, sigma 1", lambda count: rng.lognormal(-0.5, 1.0, count)),
        ("lognormal, sigma 1.3", lambda count: rng.lognormal(-0.845, 1.3, count)),
    ):
        for calls in (2, 3, 5, 10):
            held, wide = 0, []
            for _ in range(crews):
                count = 0
                while not count:
                    count = rng.poisson(calls)
                pours = pd.DataFrame(
                    {"old_enough": True, "called_back": True, "callbacks": 1, "hours": 0.0,
                     "placed_yd3": 1.0 / count, "labor_usd": 0.0, "cost_usd": made(count),
                     "without_hours": 0, "without_cost": 0, "without_either": 0, "unpriced": 0},
                    index=range(count))  # fmt: skip
                found = cost_interval(pours)
                held += found["p05"] <= calls <= found["p95"]
                wide.append(found["p95"] / found["p05"])
            print(f"costs {words}, {calls} calls: {share(held, crews)},"
                  f" ends {np.median(wide):.0f} times apart", flush=True)  # fmt: skip


A_YEAR, SEASON_DAYS = 80, 260
"""Floors of a season from March to November."""


def watch_crew(rng, years, rate, later, from_year, spring):
    """Floors of a crew whose rate is ``later`` from that year on; half are outdoors. With
    ``spring`` seven in ten calls outdoors come in March to May after the first winter."""
    year = np.repeat(np.arange(years), A_YEAR)
    day = np.sort(365 * year + 60 + rng.integers(0, SEASON_DAYS, len(year)))
    outdoors = rng.random(len(day)) < 0.5
    wait = np.where(outdoors, rng.uniform(20, 360, len(day)),
                    np.minimum(rng.gamma(1.5, 45.0, len(day)), 175)).astype(int)  # fmt: skip
    if spring:
        frost = outdoors & (rng.random(len(day)) < 0.7)
        after = 365 * (year + 1) + 60 + rng.integers(0, 75, len(day)) - day
        wait = np.where(frost, after, wait)
    back = rng.random(len(day)) < np.where(day >= 365 * from_year, later, rate)
    return pd.DataFrame(
        {"pour_id": [f"p{k}" for k in range(len(day))], "day": day, "outdoors": outdoors,
         "date": pd.Timestamp("2030-01-01") + pd.to_timedelta(day, unit="D"),
         "counts_at_days": np.where(outdoors, 365.0, 180.0),
         "call": np.where(back, day + wait, np.inf)}
    )  # fmt: skip


def told_days(floors, first, last):
    """Of each day with a call from ``first`` to ``last``: the day, and if a bad run is told of."""
    calls = np.unique(floors["call"])
    for day in calls[(calls >= first) & (calls < last)]:
        pours = floors[floors["day"] <= day]
        age, called = day - pours["day"], (pours["call"] <= day).to_numpy()
        charts = watch(pours.assign(
            age_days=age, old_enough=age >= pours["counts_at_days"], called_back=called,
            first_call_days=np.where(called, pours["call"] - pours["day"], np.nan)))  # fmt: skip
        yield day, bool(charts and charts["bad_run"] and charts["bad_run"]["told"])


def watching(crews, rng):
    change = 365 * 3 + 60
    for rate, spring in ((0.05, False), (0.12, False), (0.08, True)):
        words = f"{100 * rate:.0f} %{', most outdoors in spring' if spring else ''}"
        season = ten = 0
        for _ in range(crews):
            looks = list(told_days(watch_crew(rng, 10, rate, rate, 10, spring), 0, 3650))
            begun = [day for (day, so), (_, before) in zip(looks[1:], looks, strict=False)
                     if so and not before]  # fmt: skip
            ten += bool(begun)
            season += any(4 * 365 <= day < 5 * 365 for day in begun)
        print(f"{words}, steady: told in the fifth year {share(season, crews)}, in ten years"
              f" {share(ten, crews)}", flush=True)  # fmt: skip
        for times in (3, 2):
            after, days = [], []
            for _ in range(crews):
                one = watch_crew(rng, 6, rate, times * rate, 3, spring)
                told = (day for day, so in told_days(one, change, change + 730) if so)
                days.append(next(told, np.inf) - change)
                poured = one["day"].between(change, change + days[-1])
                after.append(poured.sum() if days[-1] < np.inf else np.inf)
            low, middle, high = np.quantile(after, [0.1, 0.5, 0.9], method="lower")
            year = share(np.sum(np.array(days) < 365), crews)
            print(f"{words}, {times} times from the fourth season on: told after {middle:.0f} floors"
                  f" ({low:.0f} to {high:.0f}, eight in ten), within a year {year}, within two"
                  f" {share(np.isfinite(days).sum(), crews)}", flush=True)  # fmt: skip


def speed(_, rng):
    for size in (75, 400, 2000):
        one = crew(rng, size, Truth(0.12, TRIPLED))
        begun = time.perf_counter()
        callback_picture(one.frames, {})
        print(f"{size} pours: picture {time.perf_counter() - begun:.2f} s")
    begun = time.perf_counter()
    code = "import pourstats.planning.callbacks, pourstats.reporting.callbacks, scipy.special"
    subprocess.run([sys.executable, "-c", code], check=True)
    print(f"imports from cold: {time.perf_counter() - begun:.2f} s")


def main():
    kinds = {"null": null, "power": power, "coverage": coverage, "need": need, "chances": chances,
             "come": come, "cost": cost, "watch": watching, "speed": speed}  # fmt: skip
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=kinds)
    parser.add_argument("--crews", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20310603)
    asked = parser.parse_args()
    begun = time.perf_counter()
    kinds[asked.what](asked.crews, np.random.default_rng(asked.seed))
    print(f"{time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
