"""Invented days for the plan's tests: slabs with draws of their own, people, and brute force."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pandas as pd

from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.people import Person
from pourstats.planning.day.rules import Rules
from pourstats.planning.day.run import run
from pourstats.planning.day.slabs import Slab

ALL = frozenset({"place", "finish", "saw"})


def slab(name: str, rng: np.random.Generator, draws: int = 200, **given) -> Slab:
    """An invented slab: first pass some two and a half hours after placing, two hours of passes."""
    place = rng.uniform(0.7, 1.6) * np.exp(rng.normal(0, 0.12, draws))
    ready = rng.uniform(1.6, 3.4) * np.exp(rng.normal(0, 0.15, draws))
    span = rng.uniform(1.2, 2.4) * np.exp(rng.normal(0, 0.12, draws))
    opens = rng.uniform(0.4, 1.5) * np.exp(rng.normal(0, 0.2, draws))
    closes = ready + span + opens + rng.uniform(2, 5)
    starts = given.pop("starts", (7.0, 8.0, 9.0, 10.0, 11.0, 12.0))
    grid = np.array(starts)
    tables = tuple(
        np.repeat(t[None, :], grid.size, axis=0) for t in (place, ready, span, opens, closes)
    )
    values = {
        "pour_id": name, "site": name, "travel_h": float(rng.uniform(0.15, 0.4)), "hands": 2,
        "finish_hands": 1, "nominal_hands": 3.0, "early": None, "latest": 22.0, "fixed": None,
        "starts": tuple(starts), "saw": "early_entry", "saw_h": float(rng.uniform(0.3, 0.8)),
        "trowels": 1, "outdoors": False, "set_up_h": np.full(draws, 0.7),
        "clean_h": np.full(draws, 0.3), "late_h": rng.gamma(1.5, 0.07, draws),
        "over_usd": np.zeros(draws), "slack_h": np.full(draws, 0.5), "loads": 2, "balance": False,
        "spacing_min": 40.0, "sunset": 20.0, "grid": grid, "tables": tables,
    }  # fmt: skip
    return Slab(**(values | given))


def small_day(seed: int) -> Day:
    """Two slabs, three people, three starts each: small enough for brute force."""
    rng = np.random.default_rng(seed)
    slabs = (
        slab("Maple", rng, 64, starts=(7.0, 9.0, 13.5)),
        slab("Oak", rng, 64, starts=(7.0, 9.0, 13.5)),
    )
    people = (
        Person("A", ALL, float(rng.uniform(40, 55))),
        Person("B", frozenset({"place", "finish"}), float(rng.uniform(35, 45))),
        Person("C", frozenset({"place", "saw"}), float(rng.uniform(25, 35))),
    )
    return Day(slabs, people, Rules(vehicles=2))


def invented_day(seed: int, slabs: int = 2, people: int = 5, draws: int = 200) -> Day:
    """A day as crews have them, drawn at random: skills, pay, machines, agreed starts."""
    rng = np.random.default_rng(1000 + seed)
    ones = []
    for place in range(slabs):
        agreed = float(rng.integers(14, 22) / 2) if rng.random() < 0.3 else None
        starts = (agreed,) if agreed else tuple(np.arange(7.0, 13.01, 0.5))
        ones.append(
            slab(
                f"S{place}", rng, draws, starts=starts, fixed=agreed,
                hands=int(rng.integers(2, 4)), nominal_hands=3.0,
                finish_hands=int(rng.integers(1, 3)), outdoors=bool(rng.random() < 0.5),
            )
        )  # fmt: skip
    crew = [Person("A", ALL, 50.0), Person("B", frozenset({"place", "finish"}), 42.0)]
    skills = (
        frozenset({"place"}),
        frozenset({"place", "saw"}),
        frozenset({"place", "finish"}),
        ALL,
    )
    for place in range(people - 2):
        crew.append(
            Person("CDEFGH"[place], skills[int(rng.integers(4))], float(rng.uniform(25, 40)))
        )
    return Day(tuple(ones), tuple(crew), Rules(vehicles=int(rng.integers(2, 4))))


def brute_best(day: Day) -> tuple[float, int]:
    """The least score over every start and every team of the least size or more; ways tried."""
    per_slab = []
    everyone = range(len(day.people))
    for one in day.slabs:
        place = [
            t for n in range(one.hands, len(day.people) + 1) for t in combinations(everyone, n)
        ]
        finish = [
            t
            for n in range(one.finish_hands, len(day.people) + 1)
            for t in combinations(everyone, n)
            if any("finish" in day.people[p].skills for p in t)
        ]
        saw = [None, *day.able("saw")]
        per_slab.append(list(product(place, finish, saw)))
    least, tried = np.inf, 0
    for teams in product(*per_slab):
        for starts in product(*(one.starts for one in day.slabs)):
            choice = Choice(
                starts, tuple(t[0] for t in teams), tuple(t[1] for t in teams),
                tuple(t[2] for t in teams),
            )  # fmt: skip
            tried += 1
            score = run(day, choice).score
            least = min(least, score)
    return float(least), tried


def speed_case(pours: int, days: int):
    """Invented jobs over some days with a record of an invented season."""
    from tests.simulators import clock_heat

    season = clock_heat.season(80, 77)
    first = pd.Timestamp("2031-10-20")
    rows, sky = [], []
    for number in range(pours):
        date = first + pd.Timedelta(days=number * days // pours)
        rows.append(
            {
                "pour_id": f"J{number}", "date": date, "site": f"S{number}", "slab_type": "basement",
                "area": 900.0 + 100 * (number % 4), "thickness": 4.0, "hands": 4.0,
                "finish_hands": 1.0, "finish": "trowel", "exposure": "shade", "base": "stone",
                "placement": "chute", "saw_type": "early_entry", "travel": 15.0,
                "plant_travel": 20.0, "mix": "3000 plain", "slump": 5.0,
            }
        )  # fmt: skip
        times = pd.date_range(date - pd.Timedelta(days=1), periods=72, freq="h")
        sky.append(
            pd.DataFrame(
                {
                    "site": f"S{number}", "time": times, "humidity": 55.0, "wind": 6.0,
                    "wind_height": np.nan, "sun": 300.0, "cloud": 30.0,
                    "air_temp": 68 + 10 * np.sin((times.hour - 9) / 24 * 2 * np.pi),
                }
            )
        )  # fmt: skip
    crew = pd.DataFrame(
        {
            "worker": list("ABCDE"), "since": pd.NaT, "pay": [38.0, 33.0, 28.0, 25.0, 22.0],
            "skills": ["place;finish;saw", "place;finish", "place;finish", "place;saw", "place"],
        }
    )  # fmt: skip
    record = {
        "pours": season.pours, "passes": season.passes, "weather": season.weather,
        "sites": season.sites, "crew": crew,
    }  # fmt: skip
    return pd.DataFrame(rows), pd.concat(sky, ignore_index=True), record, {}
