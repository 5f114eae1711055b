"""A clock that was fitted, and its forecast of jobs as draws.

First pass: log time since the end of placing, less a share of what placing took beyond three
quarters of an hour (the machine chases the placing). Last pass: log time from the first pass on,
given how many passes. Draw k is the same crew, mix and morning in every number of a job.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock import features, physics, placing, saw
from pourstats.learning.clock.conditions import (
    LEAD_FREE_MIN,
    Conditions,
    Plant,
    conditions,
    hours,
    number,
    words,
)
from pourstats.learning.clock.habits import FLOOR_MIN, Chasing, RideOn, Tools
from pourstats.learning.clock.passes import Passes, pass_draws
from pourstats.learning.clock.regression import Posterior
from pourstats.learning.clock.waits import BEND_MIN, soft_exp
from pourstats.learning.clock.weather_error import weather_shift
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

DRAWS = 1000
NOISE = 0.15
"""Prior median of what nobody could have foretold, in log time. Common practice, no source."""
SLACK_MIN = 6.0
"""Minutes by which people start early or late and clocks are rounded, whatever the concrete."""
PRINT_EFFECT = (-0.17, 0.10)
"""Log time by a unit of log boot print, and its doubt: a quarter inch near initial set, a scuff
near final set (Concrete News 0810), is 0.3 to 0.4 of log time over three halvings."""
RIDE_ON_EFFECT = (0.06, 0.10)
"""Log time by which a ride-on goes on later than a walk-behind, beyond its shallower print: it
wants about an eighth of an inch (ACI 302.1R-04, from memory), half of which the prints may show."""
HELD_SHARE = 0.5
"""A crew's own rate of being held up counts half: a plan made ahead is there to avoid it."""


@dataclass(frozen=True)
class Stage:
    """One regression with the columns it was fitted on."""

    posterior: Posterior
    levels: features.Levels


@dataclass(frozen=True)
class Clock:
    """A clock fitted to a record; see :func:`fit`."""

    chases: Array
    """Share of the lead that each draw takes off (draw)."""
    stages: dict[float, Stage]
    chase_of_draw: Array
    passes: Passes
    placing: placing.Placing
    print_mean: float
    print_spread: float
    ride_on: RideOn
    tools: Tools
    chasing: Chasing
    held_rate: Array
    held_wait_min: Array
    plant: Plant
    cuts_earlier: dict[str, Array]
    cuts: dict[saw.Method, int]
    pours: int
    """Pours whose first pass was learned from."""
    timed: int
    """Pours whose last pass was learned from."""
    by_kind: dict[str, int]
    seed: int
    house: Mapping[str, Any]
    sites: pd.DataFrame | None

    def forecast(
        self,
        jobs: pd.DataFrame,
        weather: pd.DataFrame | None,
        n_draws: int = DRAWS,
        seed: int = 0,
        weather_error: bool = True,
    ) -> Forecast:
        """Draws of jobs (rows with place_start, local time) under a forecast.

        A job that has place_end is taken as placed by then. Minutes and hours since 1970; shapes
        (job x draw).
        """
        jobs = jobs.reset_index(drop=True)
        k = min(n_draws, DRAWS)
        dates = [str(pd.Timestamp(d).date()) for d in pd.to_datetime(jobs["place_start"])]
        names = [f"{site} {day}" for site, day in zip(words(jobs, "site"), dates, strict=True)]
        length = self.placing.draws(jobs, seed)[:, :k]
        found = conditions(
            jobs, weather, self.sites, self.house, np.median(length, axis=1), self.plant
        )
        logged = hours(jobs["place_end"]) if "place_end" in jobs else np.full(len(jobs), np.nan)
        length = np.where(np.isnan(logged)[:, None], length, found.place_min[:, None])
        science = physics.ready(found)
        log_min = self._log_first(found, science, k, seed)
        if weather_error and found.count:
            log_min = log_min + weather_shift(found, science, names, k, seed)
        lead = np.maximum(length - LEAD_FREE_MIN, 0.0)
        age = soft_exp(np.minimum(log_min, np.log(4320.0)))
        # No machine goes on before the first concrete has lain a while.
        since = np.maximum(age - self.chases[:k] * lead, BEND_MIN - length)
        since = self._placed_first(since, found, k, seed)
        # The end placed last is not begun before the first one.
        last_end = np.maximum(age, since)
        surprise = log_min - np.median(log_min, axis=1, keepdims=True)
        held = self._held(found.count, k, seed)
        start_h = hours(jobs["place_start"])
        end_h = start_h[:, None] + length / 60.0
        first_h = end_h + (since + held) / 60.0
        later = pass_draws(self.passes, found, science, surprise, k, seed)
        return Forecast(
            jobs=jobs,
            conditions=found,
            science=science,
            place_end_h=end_h,
            since_placed_min=since + held,
            first_h=first_h,
            last_end_ready_h=end_h + (last_end + held) / 60.0,
            count=later.count,
            pass_start_h=first_h[:, :, None] + later.share * later.total_min[:, :, None] / 60.0,
            last_h=first_h + later.total_min / 60.0,
            surprise=surprise,
            clock=self,
        )

    def _log_first(self, found: Conditions, science: physics.Ready, k: int, seed: int) -> Array:
        """Log minutes of the age at the first pass (job x draw)."""
        result = np.empty((found.count, k))
        prints = stream(seed, "boot print").normal(size=(found.count, k))
        chance = self.ride_on.chance(number(found.frame, "area", 1000.0))
        ridden = stream(seed, "machine").random((found.count, k)) < chance[:, None]
        held_tool = self.tools.draws(words(found.frame, "finish"), k, stream(seed, "tool"))
        tools = len(self.tools.names)
        for chase, stage in self.stages.items():
            own = np.flatnonzero(self.chase_of_draw[:k] == chase)
            if own.size == 0:
                continue
            table = features.table(found, science, stage.levels)
            post = stage.posterior
            width = table.columns.shape[1]
            mean = table.columns @ post.effects[:width, own]
            if tools:
                of_tool = post.effects[width : width + tools][:, own]
                mean += of_tool[held_tool[:, own], np.arange(own.size)]
            mean += (science.log_h + features.usual_shift(found))[:, None] + np.log(60.0)
            mean += ridden[:, own] * (RIDE_ON_EFFECT[0] + post.effects[-2, own])
            bend = PRINT_EFFECT[0] + post.effects[-1, own]
            mean += bend * (self.print_mean + self.print_spread * prints[:, own])
            shock = stream(seed, "first pass", chase).standard_t(
                post.tail, size=(found.count, own.size)
            )
            factor = noise_factor(science, found)
            result[:, own] = mean + factor[:, None] * post.noise[own] * shock
        return result

    def _placed_first(self, since: Array, found: Conditions, k: int, seed: int) -> Array:
        """Minutes since the end of placing, where the crew may place first and float then."""
        rng = stream(seed, "chasing")
        chance = self.chasing.chance(number(found.frame, "area", 1000.0))
        chases = rng.random((found.count, k)) < chance[:, None]
        after = FLOOR_MIN * (0.15 + 0.85 * rng.random((found.count, k)))
        return np.where((since < after) & ~chases, after, since)

    def _held(self, count: int, k: int, seed: int) -> Array:
        rng = stream(seed, "held up")
        happens = rng.random((count, k)) < HELD_SHARE * self.held_rate[:k]
        if self.held_wait_min.size == 0:
            return np.zeros((count, k))
        waits = rng.choice(self.held_wait_min, size=(count, k))
        return np.where(happens, waits, 0.0)


@dataclass(frozen=True)
class Forecast:
    """Draws of jobs; hours since 1970 in local clock time, shapes (job x draw) and more."""

    jobs: pd.DataFrame
    conditions: Conditions
    science: physics.Ready
    place_end_h: Array
    since_placed_min: Array
    first_h: Array
    last_end_ready_h: Array
    """When the machine goes on the end placed last; on short slabs, with the first pass."""
    count: NDArray[np.int64]
    """Passes (job x draw)."""
    pass_start_h: Array
    """(job x draw x pass), NaN where a draw has no such pass."""
    last_h: Array
    surprise: Array
    """Log time by which a draw is slower than its job's middle."""
    clock: Clock


def noise_factor(science: physics.Ready, found: Conditions) -> Array:
    """How much wider the log noise of a short wait is: minutes of people's slack weigh more."""
    minutes = np.exp(science.log_h) * 60.0
    return np.asarray(np.sqrt(1.0 + (SLACK_MIN / NOISE / minutes) ** 2))
