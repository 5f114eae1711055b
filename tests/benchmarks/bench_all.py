"""Load, measures, week, bid, finishing and plan as the record grows, each beside a reference.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_all.py [--pours 100 5000 100000] [--most 300]

Each is done in a process of its own on the invented log of big_log.py, imports not counted; what takes
longer than --most seconds is stopped and said. The references, on the same log in the same run:

- load: DuckDB's own `read_csv` of every file and an insert, with no check at all
- measures: pandas reading the stored tables and working out yards, person-hours, truck waits and pass
  gaps a pour the plain way (no overlaps, no weather)
- week: the same pandas work, then sums a week and their eight-in-ten ranges
- bid, finishing, plan: scikit-learn's gradient boosting, three quantiles, on a row a pour and 12
  columns

The growth exponent is that between two sizes: 1 means twice the pours take twice the time.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bench_load
from big_log import write_log

JOBS = """pour_id,date,site,slab_type,area,thickness,hands,finish,placement,concrete_temp,place_start
J1,2035-07-01,S0-1,garage,620,4,4,trowel,chute,74,6:30
J2,2035-07-01,S0-2,shop,1800,5,5,hard_trowel,pump,74,8:00
"""

PANDAS = """
import sys, time, pathlib, duckdb, pandas as pd
store, what = sys.argv[1:3]
connection = duckdb.connect(store, read_only=True)
began = time.perf_counter()
read = lambda name: connection.execute(f"SELECT * FROM {name}").df()
pours, trucks, passes, people = (read(n) for n in ("pours", "trucks", "passes", "crew_time"))
yards = (trucks.volume - trucks.returned.fillna(0)).groupby(trucks.pour_id).sum()
hours = ((people.end - people.start).dt.total_seconds() / 3600).groupby(people.pour_id).sum()
trucks["wait"] = (trucks.pour_start - trucks.arrived).dt.total_seconds() / 60
waits = trucks.groupby("pour_id").wait.sum()
passes = passes.sort_values(["pour_id", "pass_no"])
passes["gap"] = (passes.start - passes.groupby("pour_id").end.shift()).dt.total_seconds() / 60
gaps = passes.groupby("pour_id").gap.mean()
out = pours.set_index("pour_id").assign(yards=yards, hours=hours, wait=waits, gap=gaps)
out["rate"] = out.yards / out.hours
if what == "week":
    week = out.groupby(pd.to_datetime(out.date).dt.to_period("W"))
    sums = week[["yards", "hours", "wait"]].sum()
    sums.rolling(26).quantile(0.1), sums.rolling(26).quantile(0.9)
print(time.perf_counter() - began)
"""

BOOSTING = """
import sys, time, numpy as np
from sklearn.ensemble import HistGradientBoostingRegressor
n = int(sys.argv[1])
rng = np.random.default_rng(1)
x, y = rng.normal(size=(n, 12)), rng.normal(size=n)
began = time.perf_counter()
for q in (0.1, 0.5, 0.9):
    HistGradientBoostingRegressor(loss="quantile", quantile=q).fit(x, y)
print(time.perf_counter() - began)
"""

OURS = """
import sys, time, pathlib
import numpy, pandas, scipy.stats, duckdb, pint, pvlib
from pourstats.store.database import Store
from pourstats.reporting import answers, planned, week_record
store, jobs, forecast, what = (pathlib.Path(sys.argv[1]), sys.argv[2], pathlib.Path(sys.argv[3]),
                               sys.argv[4])
record = Store(store)
began = time.perf_counter()
if what == "week":
    week_record.review(record, None)
elif what == "bid":
    answers.bid_answer(record, (jobs,))
elif what == "finishing":
    answers.finishing_answer(record, (jobs,), forecast)
elif what == "plan":
    planned.plan_answer(record, (jobs,), forecast)
print(time.perf_counter() - began)
"""

REFERENCES = {"load": "DuckDB alone", "measures": "pandas", "week": "pandas",
              "bid": "scikit-learn", "finishing": "scikit-learn", "plan": "scikit-learn"}  # fmt: skip


def seconds(code: str, most_s: float, *arguments: str) -> float | None:
    """What a process of its own printed as its seconds; None if it took too long."""
    try:
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", code, *arguments], capture_output=True,
            text=True, check=False, timeout=most_s,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return None
    if done.returncode:
        raise SystemExit(done.stderr)
    said = json.loads(done.stdout.splitlines()[-1])
    return float(said[0] if isinstance(said, list) else sum(said.values()) if isinstance(said, dict)
                 else said)  # fmt: skip


def write_ahead(folder: Path) -> tuple[Path, Path]:
    """Two jobs, and the forecast of their day."""
    jobs, forecast = folder / "ahead_jobs" / "jobs.csv", folder / "ahead_weather" / "weather.csv"
    jobs.parent.mkdir()
    forecast.parent.mkdir()
    jobs.write_text(JOBS)
    lines = ["site,time,air_temp,humidity,wind,cloud"]
    for site in ("S0-1", "S0-2"):
        lines += [f"{site},2035-07-0{1 + h // 24} {h % 24:02d}:00,{60 + h % 24},55,6,30"
                  for h in range(48)]  # fmt: skip
    forecast.write_text("\n".join(lines) + "\n")
    return jobs, forecast


def measured(pours: int, most_s: float) -> dict[str, tuple[float | None, float | None]]:
    """By what was done, its seconds and its reference's, at that many pours."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_log(folder / "log", pours)
        jobs, forecast = write_ahead(folder)
        plain, store = str(folder / "plain.duckdb"), str(folder / "s.duckdb")
        found: dict[str, tuple[float | None, float | None]] = {}
        reference = seconds(bench_load.REFERENCE, most_s, str(folder / "log"), plain)
        found["load"] = (seconds(bench_load.LOAD, most_s, str(folder / "log"), store), reference)
        found["measures"] = (seconds(bench_load.MEASURES, most_s, store),
                             seconds(PANDAS, most_s, store, "measures"))  # fmt: skip
        found["week"] = (seconds(OURS, most_s, store, str(jobs), str(forecast), "week"),
                         seconds(PANDAS, most_s, store, "week"))  # fmt: skip
        boosting = seconds(BOOSTING, most_s, str(pours))
        for what in ("bid", "finishing", "plan"):
            found[what] = (
                seconds(OURS, most_s, store, str(jobs), str(forecast), what), boosting
            )  # fmt: skip
        return found


def told(value: float | None, most_s: float) -> str:
    """Seconds for the table."""
    return f"over {most_s:g}" if value is None else f"{value:.2f}"


def main() -> None:
    """Print the table as it stands in DEVELOPERS.md, a row at a time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pours", type=int, nargs="+", default=[100, 5_000, 100_000])
    parser.add_argument("--most", type=float, default=300.0, help="seconds before one is stopped")
    given = parser.parse_args()
    print("| pours | what | seconds | reference | its seconds | ratio | growth since the row before"
          " of its kind |\n|---|---|---|---|---|---|---|")  # fmt: skip
    before: dict[str, tuple[int, float]] = {}
    for pours in given.pours:
        for what, (ours, theirs) in measured(pours, given.most).items():
            ratio = f"{ours / theirs:.1f}" if ours and theirs else ""
            grown = ""
            if ours and what in before:
                size, was = before[what]
                grown = f"{math.log(ours / was) / math.log(pours / size):.2f}"
            if ours:
                before[what] = (pours, ours)
            print(f"| {pours:,} | {what} | {told(ours, given.most)} | {REFERENCES[what]} |"
                  f" {told(theirs, given.most)} | {ratio} | {grown} |", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
