"""Trucks that go round against printed queues: the simulation and SimPy must find the same.

Erlang C and the machine repair model need several servers or a closed loop; the day's truck line has
one chute, so what is tried here is that its one chute, fed by trucks that go round, is the published
one, and that SimPy, its oracle elsewhere, is right about chutes side by side.
"""

from __future__ import annotations

import numpy as np
import pytest

from pourstats.learning.unloading import JobLoads
from pourstats.planning.truck_line import line
from tests.published_trucks import AWAY_MIN, ERLANG_C, FINITE_SOURCE, MATCH, UNLOAD_MIN

simpy = pytest.importorskip("simpy", reason="SimPy is the oracle of the truck line")


def going_round(trucks: int, away: np.ndarray, unload: np.ndarray) -> np.ndarray:
    """Start of each unloading (run x load) of trucks that come back once they have been away.

    The truck line takes arrivals as given, so each load's arrival is found from the line of the
    loads before it: the truck that is back first takes the next load.
    """
    runs, n = away.shape
    back = np.zeros((runs, trucks))
    late = np.zeros((runs, n))
    start = np.zeros((runs, n))
    rows = np.arange(runs)
    for load in range(n):
        truck = np.argmin(back, axis=1)
        late[:, load] = back[rows, truck]
        found = line(
            0.0, np.full(load + 1, 10.0), loads(late[:, : load + 1], unload[:, : load + 1]),
            False, 1e9, False,
        )  # fmt: skip
        start[:, load] = found.start_min[:, load]
        back[rows, truck] = found.start_min[:, load] + unload[:, load] + away[:, load]
    return start


def loads(late: np.ndarray, unload: np.ndarray) -> JobLoads:
    zero = np.zeros_like(late)
    return JobLoads(unload, late, zero, zero, zero + 35.0)


def round_in_simpy(trucks: int, away, unload, until: float) -> tuple[float, float, float]:
    """Loads an hour, share of time the crew unloads, mean wait; trucks going round in SimPy."""
    world = simpy.Environment()
    chute = simpy.Resource(world, 1)
    seen = {"loads": 0, "busy": 0.0, "wait": 0.0}

    def truck():
        while True:
            yield world.timeout(away())
            came = world.now
            with chute.request() as turn:
                yield turn
                seen["wait"] += world.now - came
                need = unload()
                yield world.timeout(need)
                seen["loads"] += 1
                seen["busy"] += need

    for _ in range(trucks):
        world.process(truck())
    world.run(until=until)
    return (
        60 * seen["loads"] / until,
        seen["busy"] / until,
        seen["wait"] / max(seen["loads"], 1),
    )


@pytest.mark.parametrize(("trucks", "per_h", "busy", "wait_min"), FINITE_SOURCE)
def test_trucks_going_round_are_the_finite_source_table(trucks, per_h, busy, wait_min):
    rng = np.random.default_rng(trucks)
    runs, n = 250, 60
    away = rng.exponential(AWAY_MIN, (runs, n))
    unload = rng.exponential(UNLOAD_MIN, (runs, n))
    start = going_round(trucks, away, unload)
    # The first loads come all at once; what follows is the steady round.
    skip = 20
    hours = (start[:, -1] - start[:, skip]) / 60
    rate = (n - 1 - skip) / hours.mean()
    assert rate == pytest.approx(per_h, rel=0.04)
    assert rate * UNLOAD_MIN / 60 == pytest.approx(busy, rel=0.04)
    # Little's law over the round: trucks = rate x (away + wait + unload).
    assert trucks / rate * 60 - AWAY_MIN - UNLOAD_MIN == pytest.approx(wait_min, abs=3.0)


@pytest.mark.parametrize(("trucks", "per_h", "busy", "wait_min"), FINITE_SOURCE)
def test_simpy_finds_the_finite_source_table(trucks, per_h, busy, wait_min):
    rng = np.random.default_rng(20 + trucks)
    found = round_in_simpy(
        trucks, lambda: rng.exponential(AWAY_MIN), lambda: rng.exponential(UNLOAD_MIN), 250_000
    )
    assert found[0] == pytest.approx(per_h, rel=0.03)
    assert found[1] == pytest.approx(busy, rel=0.03)
    assert found[2] == pytest.approx(wait_min, rel=0.06, abs=0.01)


def test_the_worked_match_needs_five_trucks():
    # Even times: with 49/15 = 3.27 trucks the chute would just be kept busy; the worked example
    # rounds 4.27 up to 5. The line agrees: four keep the crew busy on even times, three don't, and
    # five still do when a truck is held up for as long as one discharge.
    discharge, cycle = MATCH["discharge_min"], MATCH["cycle_min"]
    away = cycle - discharge

    def busy(trucks: int, more: float = 0.0) -> float:
        n = 40
        start = going_round(trucks, np.full((1, n), away + more), np.full((1, n), discharge))[0]
        return float(discharge * (n - 11) / (start[-1] - start[10]))

    assert busy(3) == pytest.approx(3 * discharge / cycle, abs=0.01)
    assert busy(4) == pytest.approx(1.0)
    assert busy(4, discharge) < 1.0
    assert busy(MATCH["trucks"], discharge) == pytest.approx(1.0)


@pytest.mark.parametrize(("offered", "chutes", "waits"), ERLANG_C[:3])
def test_erlang_c_is_simpys_and_the_delay_formulas(offered, chutes, waits):
    rng = np.random.default_rng(chutes)
    world = simpy.Environment()
    chute = simpy.Resource(world, chutes)
    seen = []

    def truck(need: float):
        came = world.now
        with chute.request() as turn:
            yield turn
            seen.append(world.now > came)
            yield world.timeout(need)

    def plant():
        for _ in range(40_000):
            yield world.timeout(rng.exponential(1 / offered))
            world.process(truck(rng.exponential(1.0)))

    world.process(plant())
    world.run()
    assert np.mean(seen[500:]) == pytest.approx(waits, rel=0.06)


def test_one_chute_is_erlang_c_for_one_server():
    # Erlang C of one server is its load: the share of trucks that find another under the chute.
    rng = np.random.default_rng(9)
    offered, n, runs = 0.6, 3000, 16
    late = np.cumsum(rng.exponential(1 / offered, (runs, n)), axis=1)
    unload = rng.exponential(1.0, (runs, n))
    found = line(0.0, np.full(n, 10.0), loads(late, unload), False, 1e9, False)
    waits = (found.start_min - found.arrived_min)[:, 300:] > 1e-9
    assert waits.mean() == pytest.approx(offered, abs=0.02)
