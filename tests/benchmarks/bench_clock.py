"""How good the finishing clock is, against rivals and against the one who knows the process.

    python tests/benchmarks/bench_clock.py heat 12 40 120 --seasons 200
    python tests/benchmarks/bench_clock.py rules 12 40 120 --seasons 60 --boosting 8
    python tests/benchmarks/bench_clock.py speed

Each season: the first n pours are the record, the next 25 are forecast from the measured weather.
Rivals see the same pours. "Share of the way" runs from flat quantiles by slab type (0) to the draws
of the simulator that made the season (1), by mean pinball loss over seven quantiles.

What it showed, 200 seasons a line, seeds from 1000, before the prior was brought to the published float
times in every exposure; DEVELOPERS.md has what fewer seasons show since, and boosting. clock_heat was
looked at while building, clock_rules was not. Scored on when the slab would have been begun, without waits for people. Per cent of the way by
the clock and by ridge; per cent inside the 80 and 90 % ranges, with 95 % intervals over seasons; by how
many minutes of pinball loss ridge is worse. Ridge is the best rival, but for heat 12 (science alone, worse
by 3.9 (3.6 to 4.2) for the first pass) and for boosting at rules 12 first, which it equals.

    season     pass    way    ridge   inside 80              inside 90              ridge worse by
    heat    12  first    63       1    87.7 (86.6 to 88.8)   95.4 (94.7 to 96.1)   7.91 (7.10 to 8.72)
    heat    12  last     68      30    89.9 (88.9 to 90.8)   96.1 (95.5 to 96.7)   6.96 (6.25 to 7.68)
    heat    40  first    73      23    82.6 (81.5 to 83.8)   92.4 (91.5 to 93.2)   5.92 (5.26 to 6.57)
    heat    40  last     79      54    82.6 (81.3 to 83.9)   92.3 (91.4 to 93.1)   4.00 (3.59 to 4.41)
    heat   120  first    78      46    80.2 (79.0 to 81.4)   90.8 (89.9 to 91.7)   3.88 (3.50 to 4.26)
    heat   120  last     84      70    77.8 (76.6 to 79.0)   88.9 (87.9 to 89.9)   2.34 (2.03 to 2.65)
    rules   12  first    54      10    81.1 (79.7 to 82.5)   91.2 (90.3 to 92.2)   4.80 (4.29 to 5.31)
    rules   12  last     63      32    83.7 (82.5 to 84.9)   92.4 (91.5 to 93.3)   5.93 (5.24 to 6.62)
    rules   40  first    72      37    82.0 (80.8 to 83.3)   91.8 (90.8 to 92.7)   3.35 (2.98 to 3.72)
    rules   40  last     73      55    82.5 (81.4 to 83.7)   91.6 (90.8 to 92.5)   2.61 (2.01 to 3.22)
    rules  120  first    81      60    80.4 (79.1 to 81.7)   89.7 (88.6 to 90.7)   2.08 (1.81 to 2.35)
    rules  120  last     82      73    82.3 (81.1 to 83.5)   91.7 (90.8 to 92.5)   1.36 (1.06 to 1.65)
"""

from __future__ import annotations

import argparse
import sys
import time
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning import clock, draws, scoring
from tests.simulators import clock_heat, clock_rules

MAKERS = {"heat": clock_heat.season, "rules": clock_rules.season}
LEVELS = np.array(list(draws.LEVELS.values()))
AHEAD = 25
JOB_COLUMNS = [
    "pour_id", "date", "site", "slab_type", "area", "thickness", "hands", "finish_hands", "mix",
    "slump", "base", "placement", "exposure", "finish", "lead", "place_start", "admixtures", "scm",
    "concrete_temp",
]  # fmt: skip


def flat(train_y, train, test):
    """Quantiles of the slab type's own past, of the whole crew's where there are under five."""
    whole = np.quantile(train_y, LEVELS)
    out = np.tile(whole, (len(test), 1))
    for kind in test["slab_type"].unique():
        own = train_y[(train["slab_type"] == kind).to_numpy()]
        if own.size >= 5:
            out[(test["slab_type"] == kind).to_numpy()] = np.quantile(own, LEVELS)
    return out


def median_shift(train_y, groups, test_groups):
    """The crew's median by a group, with the spread of all residuals about it."""
    whole = np.median(train_y)
    centre = {
        g: (np.median(train_y[groups == g]) * (groups == g).sum() + 3 * whole)
        / ((groups == g).sum() + 3)
        for g in np.unique(groups)
    }
    residual = train_y - np.array([centre[g] for g in groups])
    spread = np.quantile(residual, LEVELS)
    return np.array([centre.get(g, whole) for g in test_groups])[:, None] + spread


def matrix(frame, weather):
    """What a regression would be given: means of three hours, size and categories."""
    base = np.empty((len(frame), 4))
    start = frame["place_start"].to_numpy()
    for site, own in weather.groupby("site"):
        at = (frame["site"] == site).to_numpy()
        time, felt = own["time"].to_numpy(), own[["air_temp", "humidity", "wind", "sun"]].to_numpy()
        whole = np.concatenate([np.zeros((1, 4)), np.cumsum(felt, axis=0)])
        low = np.searchsorted(time, start[at], side="left")
        high = np.searchsorted(time, start[at] + np.timedelta64(3, "h"), side="right")
        base[at] = (whole[high] - whole[low]) / (high - low)[:, None]
    cats = pd.get_dummies(frame[["slab_type", "mix", "base", "exposure", "finish", "lead"]])
    plain = frame[["thickness", "slump", "hands", "concrete_temp"]].to_numpy(float)
    return np.column_stack(
        [base, plain, np.log(frame["area"].to_numpy(float)), cats.to_numpy(float)]
    )


def ridge(train_y, x, x_new):
    from sklearn.linear_model import RidgeCV
    from sklearn.preprocessing import StandardScaler

    shift = max(0.0, 30.0 - train_y.min())
    y = np.log(train_y + shift)
    scaler = StandardScaler().fit(x)
    model = RidgeCV(np.logspace(-1, 3, 15)).fit(scaler.transform(x), y)
    left = []
    for part in range(5):
        keep = np.arange(y.size) % 5 != part
        again = RidgeCV(np.logspace(-1, 3, 15)).fit(scaler.transform(x[keep]), y[keep])
        left.append(y[~keep] - again.predict(scaler.transform(x[~keep])))
    spread = np.quantile(np.concatenate(left), LEVELS)
    return np.exp(model.predict(scaler.transform(x_new))[:, None] + spread) - shift


def boosted(train_y, x, x_new):
    from sklearn.ensemble import GradientBoostingRegressor

    out = [
        GradientBoostingRegressor(
            loss="quantile",
            alpha=a,
            n_estimators=60,
            max_depth=2,
            min_samples_leaf=3,
            random_state=0,
        )
        .fit(x, train_y)
        .predict(x_new)
        for a in LEVELS
    ]
    return np.sort(np.stack(out, axis=1), axis=1)


@cache
def science_alone():
    """The clock without a record."""
    return clock.fit(None)


def one(maker, n, seed, boosting):
    season = maker(n + AHEAD, seed)
    pours = season.pours
    known, ahead = pours.iloc[:n], pours.iloc[n:]
    passes = season.passes[season.passes["pour_id"].isin(known["pour_id"])]
    jobs = ahead[JOB_COLUMNS]
    fitted = clock.fit(known, passes, None, season.weather, season.sites)
    cast = fitted.forecast(jobs, season.weather, seed=seed)
    bare = science_alone().forecast(jobs, season.weather, seed=seed)
    x = matrix(pours, season.weather)
    end = pours["place_end"]
    result = {}
    for name in ("first", "last"):
        column = "machine_on" if name == "first" else "passes_done"
        logged = ((pours[column] - end).dt.total_seconds() / 60).to_numpy()
        truth = season.first_min if name == "first" else season.last_min
        y_train, y = logged[:n], truth[n:, 0]
        stay = (cast.last_h - cast.place_end_h) * 60
        stay_bare = (bare.last_h - bare.place_end_h) * 60
        own = cast.since_placed_min if name == "first" else stay
        alone = bare.since_placed_min if name == "first" else stay_bare
        band = np.digitize(x[:, 0], [50, 60, 70, 80])
        models = {
            "clock": np.stack(list(draws.quantiles(own).values()), axis=1),
            "flat": flat(y_train, known, ahead),
            "crew median": median_shift(y_train, np.zeros(n), np.zeros(AHEAD)),
            "by temperature": median_shift(y_train, band[:n], band[n:]),
            "ridge": ridge(y_train, x[:n], x[n:]),
            "physics": np.stack(list(draws.quantiles(alone).values()), axis=1),
            "knows": np.quantile(truth[n:, 1:], LEVELS, axis=1).T,
        }
        if boosting:
            models["boosting"] = boosted(y_train, x[:n], x[n:])
        result[name] = {m: scoring.mean_pinball(y, q) for m, q in models.items()}
        q = models["clock"]
        result[name + " inside"] = {
            "80": (y >= q[:, 1]) & (y <= q[:, 5]),
            "90": (y >= q[:, 0]) & (y <= q[:, 6]),
            "50": (y >= q[:, 2]) & (y <= q[:, 4]),
            "low": y < q[:, 3],
            "80 as logged": (logged[n:] >= q[:, 1]) & (logged[n:] <= q[:, 5]),
        }
    return result


def bench(kind, n, seasons, boosting, first_seed):
    rows = [one(MAKERS[kind], n, first_seed + s, s < boosting) for s in range(seasons)]
    season = np.repeat(np.arange(seasons), AHEAD)
    for name in ("first", "last"):
        print(f"{kind} {n} pours, {name} pass, {seasons} seasons x {AHEAD}")
        for m in rows[0][name]:
            # Boosting is slow: it may have run on the first seasons only, and is paired with those.
            ran = [r[name] for r in rows if m in r[name]]
            loss, ours, worst, best = (
                np.concatenate([r[of] for r in ran]) for of in (m, "clock", "flat", "knows")
            )
            gap = scoring.mean_interval(loss - ours, season[: loss.size])
            way = (worst.mean() - loss.mean()) / (worst.mean() - best.mean())
            few = f"  {len(ran)} seasons" if len(ran) < seasons else ""
            print(
                f"  {m:15s} {loss.mean():6.2f} min  way {100 * way:5.1f} %  worse by {gap.value:5.2f} ({gap.low:5.2f} to {gap.high:5.2f}){few}"
            )
        for level in rows[0][name + " inside"]:
            inside = np.concatenate([r[name + " inside"][level] for r in rows]).astype(float)
            c = scoring.mean_interval(inside, season)
            print(
                f"  inside {level}: {100 * c.value:.1f} % ({100 * c.low:.1f} to {100 * c.high:.1f})"
            )
        sys.stdout.flush()


def speed():
    season = clock_rules.season(5025, 5)
    known, ahead = season.pours.iloc[:5000], season.pours.iloc[5000:5002]
    for _ in range(3):
        begun = time.perf_counter()
        fitted = clock.fit(known, season.passes, None, season.weather, season.sites)
        refit = time.perf_counter() - begun
        begun = time.perf_counter()
        fitted.forecast(
            ahead[JOB_COLUMNS], season.weather[season.weather["time"] >= ahead["date"].min()]
        )
        print(
            f"refit on 5,000 pours {refit:.2f} s, forecast of two jobs {time.perf_counter() - begun:.3f} s"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", choices=[*MAKERS, "speed"])
    parser.add_argument("sizes", nargs="*", type=int, default=[12, 40, 120])
    parser.add_argument("--seasons", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--boosting", type=int, default=0, help="seasons that boosting is run on")
    a = parser.parse_args()
    if a.kind == "speed":
        speed()
    else:
        for size in a.sizes:
            bench(a.kind, size, a.seasons, a.boosting, a.seed)
