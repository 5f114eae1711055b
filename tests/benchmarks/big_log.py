"""A large log for the benchmarks: invented, regular, about twenty rows a pour over all tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

TYPES = np.array(["garage", "basement", "shop", "driveway", "patio"])
FINISHES = np.array(["trowel", "hard_trowel", "broom"])
PLACEMENTS = np.array(["chute", "pump", "wheelbarrow"])


def _clock(times: np.ndarray) -> pa.Array:
    return pc.strftime(pa.array(times.astype("datetime64[s]")), format="%Y-%m-%d %H:%M")


def _write(folder: Path, name: str, columns: dict[str, object]) -> int:
    table = pa.table(columns)
    options = csv.WriteOptions(quoting_style="none")
    csv.write_csv(table, folder / f"{name}.csv", options)
    return table.num_rows


def write_log(folder: Path, pours: int, seed: int = 1) -> dict[str, int]:
    """Writes a log folder of that many pours; how many rows each file has."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    number = np.arange(pours)
    # Two pours a day and crew, so that a larger log is more crews as well as more years.
    crew = number // 4000
    day = np.datetime64("2000-03-01") + (number % 4000) // 2
    second = number % 2
    start = day.astype("datetime64[m]") + 360 + 240 * second + rng.integers(0, 60, pours)
    ids = np.char.add("P", np.char.zfill(number.astype(str), 7))
    site = np.char.add(
        np.char.add("S", crew.astype(str)), np.char.add("-", (number % 8).astype(str))
    )
    area = np.round(rng.lognormal(7.2, 0.5, pours)).clip(200, 20000)
    thick = rng.choice([4.0, 5.0, 6.0], pours)
    yards = np.round(area * thick / 324 * 1.05, 1)
    long = 40 + 2 * yards
    end = start + long.astype("timedelta64[m]")
    counts = {"pours": _write(folder, "pours", {
        "pour_id": ids, "date": _clock(day.astype("datetime64[m]")).cast(pa.string()).to_pandas().str[:10],
        "site": site, "slab_type": rng.choice(TYPES, pours), "area": area, "thickness": thick,
        "ordered_volume": yards, "hands": rng.integers(3, 7, pours), "crew_in": _clock(start - 45),
        "crew_out": _clock(end + 360), "slump": rng.choice([4.0, 5.0, 6.0], pours),
        "finish": rng.choice(FINISHES, pours), "placement": rng.choice(PLACEMENTS, pours),
        "concrete_temp": np.round(rng.normal(72, 8, pours), 1), "place_start": _clock(start),
        "place_end": _clock(end), "bull_float_end": _clock(end + 15),
    })}  # fmt: skip
    loads = 4
    which = np.repeat(number, loads)
    k = np.tile(np.arange(loads), pours)
    arrived = start[which] + (k * long[which] / loads).astype("timedelta64[m]")
    wait = rng.integers(0, 15, len(which))
    poured = arrived + wait
    empty = poured + (long[which] / loads * 0.8 + 1).astype("timedelta64[m]")
    counts["trucks"] = _write(folder, "trucks", {
        "pour_id": ids[which], "ticket": (100000 + np.arange(len(which))).astype(str),
        "volume": np.maximum(0.5, np.round(yards[which] / loads, 2)), "plant": rng.choice(["north", "river"], len(which)),
        "due": _clock(arrived - 5), "batched": _clock(arrived - 30), "arrived": _clock(arrived),
        "pour_start": _clock(poured), "pour_end": _clock(empty), "left": _clock(empty + 5),
    })  # fmt: skip
    passes = 4
    which = np.repeat(number, passes)
    k = np.tile(np.arange(passes), pours)
    begun = end[which] + 100 + 45 * k + rng.integers(0, 20, len(which))
    counts["passes"] = _write(folder, "passes", {
        "pour_id": ids[which], "pass_no": k + 1, "tool": rng.choice(["pan", "float_blades", "finish_blades"], len(which)),
        "start": _clock(begun), "end": _clock(begun + 25),
    })  # fmt: skip
    people, tasks = 3, 3
    which = np.repeat(number, people * tasks)
    who = np.tile(np.repeat(np.arange(people), tasks), pours)
    what = np.tile(np.arange(tasks), pours * people)
    edges = np.stack([start[which] - 45, start[which], end[which] + 1, end[which] + 300])
    crew_of = crew[which] * 2 + second[which]
    counts["crew_time"] = _write(folder, "crew_time", {
        "pour_id": ids[which], "worker": np.char.add(np.char.add("w", crew_of.astype(str)), np.char.add("-", who.astype(str))),
        "task": np.array(["set_up", "place", "finish"])[what],
        "start": _clock(np.choose(what, edges[:3])), "end": _clock(np.choose(what, edges[1:])),
    })  # fmt: skip
    places = np.unique(site)
    hours = max(24, int(pours * 2.4 / len(places)))
    when = np.datetime64("2000-03-01T00:00") + np.arange(hours) * np.timedelta64(60, "m")
    n = len(places) * hours
    t = np.tile(np.arange(hours), len(places))
    counts["weather"] = _write(folder, "weather", {
        "site": np.repeat(places, hours), "time": _clock(np.tile(when, len(places))),
        "air_temp": np.round(60 + 15 * np.sin(t / 24 * 2 * np.pi) + rng.normal(0, 5, n), 1),
        "humidity": np.round(rng.uniform(20, 95, n)), "wind": np.round(rng.gamma(2, 3, n), 1),
        "sun": np.round(np.maximum(0, 800 * np.sin((t % 24 - 6) / 12 * np.pi)), 0),
    })  # fmt: skip
    counts["crew"] = _write(folder, "crew", {
        "worker": np.unique(np.char.add(np.char.add("w", crew_of.astype(str)), np.char.add("-", who.astype(str)))),
        "pay": np.full(len(np.unique(crew_of * 10 + who)), 28.0),
    })  # fmt: skip
    some = number[::20]
    counts["callbacks"] = _write(folder, "callbacks", {
        "callback_id": np.char.add("C", some.astype(str)), "pour_id": ids[some],
        "reported": _clock((day[some] + 90).astype("datetime64[m]")).cast(pa.string()).to_pandas().str[:10],
        "defect": rng.choice(["random_crack", "dusting", "scaling"], len(some)), "hours": rng.integers(1, 12, len(some)),
    })  # fmt: skip
    counts["bids"] = _write(folder, "bids", {
        "pour_id": ids, "bid_date": _clock((day - 20).astype("datetime64[m]")).cast(pa.string()).to_pandas().str[:10],
        "bid_hours": np.round(yards * 0.8 + 10, 1),
    })  # fmt: skip
    return counts
