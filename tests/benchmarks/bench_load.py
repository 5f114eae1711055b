"""Load and measures at growing size, as a ratio to DuckDB's own reading of the same files.

    python tests/benchmarks/bench_load.py [--pours 10000 100000]

The reference, in the same run: DuckDB's `read_csv` of every file and an insert into a table, with no
check at all. Each load runs in a process of its own, so that peak memory is its own.
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

REFERENCE = """
import sys, time, duckdb, pathlib
folder, store = sys.argv[1:3]
began = time.perf_counter()
connection = duckdb.connect(store)
for path in sorted(pathlib.Path(folder).glob("*.csv")):
    connection.execute(f"CREATE TABLE {path.stem} AS SELECT * FROM read_csv('{path}')")
connection.close()
print(time.perf_counter() - began)
"""

LOAD = """
import sys, time, json, resource, pathlib
from pourstats.store.database import Store
from pourstats.store.loading import load
folder, store = sys.argv[1:3]
began = time.perf_counter()
report = load(Store(pathlib.Path(store)), [pathlib.Path(folder)])
took = time.perf_counter() - began
assert not report.set_aside, report.set_aside[:3]
print(json.dumps([took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, report.rows]))
"""

MEASURES = """
import sys, time, json, pathlib
from pourstats.store.database import Store
from pourstats.store import measures
times = {}
with Store(pathlib.Path(sys.argv[1])).read() as connection:
    for name in measures.MEASURES:
        began = time.perf_counter()
        measures.define(connection, *[n for n in measures.needed(name) if n not in measures._made(connection)])
        connection.execute(f"CREATE TEMP TABLE done_{name} AS SELECT * FROM temp.{name}")
        times[name] = time.perf_counter() - began
print(json.dumps(times))
"""


def _run(code: str, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code, *arguments],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def main() -> None:
    """Print one block a size, and the growth from the smallest to the largest."""
    from big_log import write_log

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pours", type=int, nargs="+", default=[10_000, 100_000])
    took: list[tuple[int, float, float]] = []
    for pours in parser.parse_args().pours:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "log"
            rows = sum(write_log(folder, pours).values())
            reference = float(_run(REFERENCE, str(folder), str(Path(place) / "plain.duckdb")))
            store = str(Path(place) / "pours.duckdb")
            load_s, peak_kib, read = json.loads(_run(LOAD, str(folder), store))
            measures = json.loads(_run(MEASURES, store))
        assert read == rows, (read, rows)
        took.append((pours, load_s, sum(measures.values())))
        print(f"{pours:,} pours, {rows:,} rows")
        print(
            f"  DuckDB read_csv and insert {reference:.2f} s; load {load_s:.2f} s:"
            f" ratio {load_s / reference:.1f}; peak {peak_kib / 1024**2:.2f} GiB"
        )
        print(
            f"  measures {sum(measures.values()):.2f} s: "
            + ", ".join(f"{name} {s:.2f}" for name, s in measures.items())
        )
    if len(took) > 1:
        (small, load_a, count_a), (large, load_b, count_b) = took[0], took[-1]
        grown = math.log(large / small)
        print(
            f"growth exponent {small:,} to {large:,}: load {math.log(load_b / load_a) / grown:.2f},"
            f" measures {math.log(count_b / count_a) / grown:.2f} (1 is linear)"
        )


if __name__ == "__main__":
    main()
