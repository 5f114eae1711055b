"""Labor-hours on simulated seasons: the model against its rivals and against the truth.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.bench_hours --seasons 200 --sizes 12 40 120

prints, per simulator and size, coverage with a season-clustered 95 % interval, mean pinball loss of
all, paired differences, and how far of the way from flat per-type quantiles to the true process.
Tuned on `hours_stages`; powerlaw and ratebook were looked at while choosing noise and priors, so they
are only partly unseen. `hours_streaks` and `hours_rough` were written after the model was settled.
"""

from __future__ import annotations

import argparse
import importlib
import json
import time
import warnings

import numpy as np
import pandas as pd

from pourstats.learning.draws import LEVELS, quantiles
from pourstats.learning.hours import hours_model
from pourstats.learning.scoring import coverage, mean_interval, mean_pinball

TAUS = np.array(list(LEVELS.values()))


def model(record: pd.DataFrame, jobs: pd.DataFrame) -> np.ndarray:
    found = quantiles(hours_model(record).draws(jobs, count=2000).labor_h)
    return np.stack([found[name] for name in LEVELS], axis=-1)


def flat_bid(record, jobs):
    """The foreman's flat bid: hours a foot over all pours, times the area."""
    rate = record["labor_h"].sum() / record["area"].sum()
    return np.tile((jobs["area"].to_numpy() * rate)[:, None], TAUS.size)


def _by_type(record, jobs, pick, by_foot=True):
    size = record["area"] if by_foot else 1.0
    rate = (record["labor_h"] / size).to_numpy()
    kinds = record["slab_type"].to_numpy()
    rows = []
    for kind, area in zip(jobs["slab_type"], jobs["area"], strict=True):
        own = rate[kinds == kind]
        rows.append(pick(own if own.size >= 3 else rate) * (area if by_foot else 1.0))
    return np.array(rows)


def type_median(record, jobs):
    return np.tile(_by_type(record, jobs, np.median)[:, None], TAUS.size)


def type_quantiles(record, jobs):
    return _by_type(record, jobs, lambda rate: np.quantile(rate, TAUS))


def type_hours(record, jobs):
    """Quantiles of the type's hours as they are, whatever the area."""
    return _by_type(record, jobs, lambda rate: np.quantile(rate, TAUS), by_foot=False)


def table(frame: pd.DataFrame) -> pd.DataFrame:
    x = pd.DataFrame({"area": np.log(frame["area"]), "thickness": np.log(frame["thickness"])})
    x["hands"] = np.log(frame["hands"].astype(float))
    for name in ("slab_type", "placement", "finish", "reinforcement", "lead"):
        x = pd.concat([x, pd.get_dummies(frame[name], prefix=name).astype(float)], axis=1)
    return x


def both(record, jobs):
    x = table(pd.concat([record[jobs.columns], jobs], ignore_index=True)).fillna(0.0)
    return x.iloc[: len(record)].to_numpy(), x.iloc[len(record) :].to_numpy()


def ridge(record, jobs):
    from sklearn.linear_model import RidgeCV
    from sklearn.preprocessing import StandardScaler

    x, x_ahead = both(record, jobs)
    scale = StandardScaler().fit(x)
    y = np.log(record["labor_h"].to_numpy())
    found = RidgeCV(alphas=np.logspace(-2, 3, 20), store_cv_results=True).fit(scale.transform(x), y)
    best = int(np.argmin(found.cv_results_.mean(axis=0)))
    spread = np.sqrt(found.cv_results_[:, best].mean())
    from scipy.stats import norm

    return np.exp(found.predict(scale.transform(x_ahead))[:, None] + spread * norm.ppf(TAUS))


def boosting(record, jobs):
    from sklearn.ensemble import GradientBoostingRegressor

    x, x_ahead = both(record, jobs)
    y = np.log(record["labor_h"].to_numpy())
    columns = []
    for tau in TAUS:
        tree = GradientBoostingRegressor(
            loss="quantile", alpha=tau, n_estimators=60, max_depth=2, min_samples_leaf=3,
            learning_rate=0.1, random_state=0,
        )  # fmt: skip
        columns.append(tree.fit(x, y).predict(x_ahead))
    return np.exp(np.sort(np.column_stack(columns), axis=1))


RIVALS = {
    "flat bid": flat_bid, "type median": type_median, "type quantiles": type_quantiles,
    "type hours": type_hours,
    "ridge": ridge, "boosting": boosting,
}  # fmt: skip


def run(simulator: str, size: int, seasons: int, rivals: list[str], first: int = 0) -> dict:
    season = importlib.import_module(f"tests.simulators.{simulator}").season
    losses: dict[str, list] = {name: [] for name in ("ours", "truth", *rivals)}
    inside, cluster, seconds = [], [], 0.0
    for seed in range(first, first + seasons):
        s = season(seed, size)
        began = time.perf_counter()
        ours = model(s.record, s.jobs)
        seconds += time.perf_counter() - began
        losses["ours"].append(mean_pinball(s.labor_h, ours))
        losses["truth"].append(mean_pinball(s.labor_h, s.oracle))
        for name in rivals:
            losses[name].append(mean_pinball(s.labor_h, RIVALS[name](s.record, s.jobs)))
        inside.append(np.column_stack([s.labor_h, ours]))
        cluster += [seed] * len(s.labor_h)
    told = np.concatenate(inside)
    y, q = told[:, 0], told[:, 1:]
    loss = {name: np.concatenate(value) for name, value in losses.items()}
    result: dict = {"simulator": simulator, "pours": size, "seasons": seasons, "jobs": y.size}
    for share, low, high in (("80", 1, 5), ("90", 0, 6)):
        held = coverage(y, q[:, low], q[:, high], cluster)
        result[f"holds_{share}"] = [round(v, 3) for v in (held.value, held.low, held.high)]
    result["below_p50"] = round(float((y < q[:, 3]).mean()), 3)
    result["loss"] = {name: round(float(value.mean()), 4) for name, value in loss.items()}
    for flat in ("type quantiles", "type hours"):
        gap = loss[flat].mean() - loss["truth"].mean()
        result[f"way_from_{flat.replace(' ', '_')}"] = {
            name: round(float((loss[flat].mean() - value.mean()) / gap), 3)
            for name, value in loss.items()
        }
    for name in rivals:
        d = mean_interval(loss["ours"] - loss[name], cluster)
        result.setdefault("ours_less", {})[name] = [round(v, 4) for v in (d.value, d.low, d.high)]
    result["seconds_a_season"] = round(seconds / seasons, 3)
    return result


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seasons", type=int, default=200)
    asked.add_argument("--sizes", type=int, nargs="+", default=[12, 40, 120])
    asked.add_argument(
        "--simulators",
        nargs="+",
        default=[
            "hours_stages",
            "hours_powerlaw",
            "hours_ratebook",
            "hours_streaks",
            "hours_rough",
        ],
    )
    asked.add_argument("--first", type=int, default=0, help="first seed")
    asked.add_argument("--quick", action="store_true", help="leave out boosting, which is slow")
    call = asked.parse_args()
    rivals = [name for name in RIVALS if not (call.quick and name == "boosting")]
    warnings.simplefilter("ignore")
    for simulator in call.simulators:
        for size in call.sizes:
            print(json.dumps(run(simulator, size, call.seasons, rivals, call.first)), flush=True)


if __name__ == "__main__":
    main()
