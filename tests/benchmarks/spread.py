"""Every measure's SQL on an engine that spreads over machines, value by value against DuckDB's.

    python tests/benchmarks/spread.py [--python PATH] [--pours 0]

A crew never needs it (DEVELOPERS.md has the figures). The measures' SQL is transpiled by sqlglot and
run by PySpark in local mode on the sample season (or an invented log of --pours), every value
compared: numbers within 1e-9 relative, all else exactly. It needs Java and a Python that has pyspark
and pandas (``--python`` names it, if it is not this one); elsewhere it says that it was skipped.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pandas as pd
import sqlglot

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from big_log import write_log

from pourstats.logs.tables import TABLES
from pourstats.store import measures
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder

SPARK = """
import json, pathlib, sys, time
from pyspark.sql import SparkSession
place = pathlib.Path(sys.argv[1])
spark = (SparkSession.builder.master("local[2]").appName("measures")
         .config("spark.sql.session.timeZone", "UTC").config("spark.ui.enabled", "false")
         .config("spark.sql.shuffle.partitions", "4").config("spark.sql.ansi.enabled", "false")
         .config("spark.sql.timestampType", "TIMESTAMP_NTZ")
         .config("spark.driver.extraJavaOptions", "-Xss64m").getOrCreate())
spark.sparkContext.setLogLevel("ERROR")
for path in sorted(place.glob("*.parquet")):
    spark.read.parquet(str(path)).createOrReplaceTempView(path.stem)
times = {}
for name, sql in json.loads((place / "sql.json").read_text()).items():
    began = time.perf_counter()
    out = str(place / "out" / name)
    spark.sql(sql).coalesce(1).write.mode("overwrite").parquet(out)
    # Read back, so that a later measure's plan doesn't hold this one's.
    spark.read.parquet(out).createOrReplaceTempView(name)
    times[name] = time.perf_counter() - began
print("TIMES " + json.dumps(times))
"""


def spark_sql(name: str) -> str:
    """A measure's SQL in Spark's dialect. Raises sqlglot's error for what it can't carry over."""
    tree = sqlglot.parse_one(measures.sql(name), read="duckdb")

    def double(node: sqlglot.exp.Expression) -> sqlglot.exp.Expression:
        # Spark counts with 60.0 in decimals, and rounds them.
        plain = isinstance(node, sqlglot.exp.Literal) and not node.is_string
        return sqlglot.exp.cast(node.copy(), "double") if plain and not node.is_int else node

    return tree.transform(double).sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)


def missing(python: str) -> str:
    """Why it can't be run here; empty if it can."""
    if shutil.which("java") is None:
        return "there is no Java"
    found = subprocess.run(
        [python, "-c", "import pyspark, pandas"], capture_output=True, check=False
    )
    return "" if found.returncode == 0 else f"{python} has no pyspark and pandas"


def differences(name: str, ours: pd.DataFrame, theirs: pd.DataFrame) -> tuple[int, list[str]]:
    """How many values were compared, and which differ."""
    key = list(measures.header(name).key)
    columns = [column.name for column in measures.header(name).columns]
    if len(ours) != len(theirs):
        return 0, [f"{name}: {len(ours)} rows and {len(theirs)}"]
    place = lambda frame: frame[columns].sort_values(key).reset_index(drop=True)  # noqa: E731
    one, other = place(ours), place(theirs)
    told, compared = [], 0
    for column in columns:
        for at, (a, b) in enumerate(zip(one[column], other[column], strict=True)):
            compared += 1
            if not alike(a, b):
                told.append(f"{name}, {column}, {[one[k][at] for k in key]}: {a!r} and {b!r}")
    return compared, told


def alike(a: Any, b: Any) -> bool:
    """The same value: unknown as unknown, numbers within 1e-9 relative, moments as moments."""
    if pd.isna(a) or pd.isna(b):
        return bool(pd.isna(a) and pd.isna(b))
    if isinstance(a, (int, float)) and not isinstance(a, bool):
        return math.isclose(float(a), float(b), rel_tol=1e-9, abs_tol=1e-9)
    if hasattr(a, "isoformat"):
        return pd.Timestamp(a) == pd.Timestamp(b)
    return bool(a == b)


def main() -> int:
    """Print a line a measure; 1 if a value differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--python", default=sys.executable, help="a Python that has pyspark")
    parser.add_argument(
        "--pours", type=int, default=0, help="an invented log instead of the season"
    )
    given = parser.parse_args()
    if why := missing(given.python):
        print(f"skipped: {why}")
        return 0
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        store = Store(place / "s.duckdb")
        if given.pours:
            write_log(place / "log", given.pours)
        load(store, [place / "log"] if given.pours else sorted(sample_folder().glob("*.csv")))
        ours, took = {}, {}
        with store.read() as connection:
            for name in (*TABLES, "house"):
                frame = connection.execute(f"SELECT * FROM {name}").to_arrow_table()
                connection.register("one", frame)
                connection.execute(f"COPY one TO '{place / name}.parquet' (FORMAT parquet)")
                connection.unregister("one")
            for name in measures.ORDER:
                began = time.perf_counter()
                ours[name] = measures.frame(connection, name)
                took[name] = time.perf_counter() - began
        texts = {name: spark_sql(name) for name in measures.ORDER}
        (place / "sql.json").write_text(json.dumps(texts))
        done = subprocess.run([given.python, "-c", SPARK, str(place)], capture_output=True,
                              text=True, check=False)  # fmt: skip
        if done.returncode:
            print(done.stderr[-3000:])
            return 1
        line = next(s for s in done.stdout.splitlines() if s.startswith("TIMES "))
        times = json.loads(line.removeprefix("TIMES "))
        wrong = 0
        for name in measures.ORDER:
            theirs = pd.read_parquet(place / "out" / name)
            compared, told = differences(name, ours[name], theirs)
            wrong += len(told)
            print(f"{name:<18} {len(ours[name]):>7,} rows, {compared:>9,} values compared,"
                  f" {len(told)} differ; DuckDB {took[name]:.2f} s, Spark {times[name]:.2f} s")  # fmt: skip
            for each in told[:5]:
                print(f"  {each}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
