"""Fit the clock to a record, and forecast jobs as draws.

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
    Conditions,
    Plant,
    conditions,
    hours,
    number,
    words,
)
from pourstats.learning.clock.habits import FLOOR_MIN, Chasing, RideOn, Tools
from pourstats.learning.clock.passes import Passes, pass_draws, passes_of
from pourstats.learning.clock.record import Record, record
from pourstats.learning.clock.regression import Group, Posterior
from pourstats.learning.clock.regression import fit as regression
from pourstats.learning.clock.waits import BEND_MIN, soft_exp, soft_log, soft_slope
from pourstats.learning.clock.weather_error import weather_shift
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

DRAWS = 1000
CHASES = (0.0, 0.25, 0.5, 0.75, 1.0)
CHASE_ODDS = (0.18, 0.20, 0.24, 0.20, 0.18)
"""How far the machine follows the placing of a long slab: not at all, to all the way. Unknown until
the record shows it."""
NOISE = 0.15
"""Prior median of what nobody could have foretold, in log time. Common practice, no source."""
SLACK_MIN = 6.0
"""Minutes by which people start early or late and clocks are rounded, whatever the concrete."""
PRINT_EFFECT = (-0.17, 0.10)
"""Log time by a unit of log boot print, and its doubt: a quarter inch near initial set, a scuff
near final set (Concrete News 0810), is 0.3 to 0.4 of log time over three halvings."""
USUAL_PRINT_IN = 0.25
RIDE_ON_EFFECT = (0.06, 0.10)
"""Log time by which a ride-on goes on later than a walk-behind, beyond its shallower print: it
wants about an eighth of an inch (ACI 302.1R-04, from memory), half of which the prints may show."""
TOOL_EFFECT = 0.05
"""Prior sd of log time between tools: a pan may go on a little sooner than blades. No source."""
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
    cuts_earlier: dict[saw.Method, Array]
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
        lead = np.maximum(length - 45.0, 0.0)
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


def fit(
    pours: pd.DataFrame | None,
    passes: pd.DataFrame | None = None,
    trucks: pd.DataFrame | None = None,
    weather: pd.DataFrame | None = None,
    sites: pd.DataFrame | None = None,
    house: Mapping[str, Any] | None = None,
    seed: int = 0,
    crew_time: pd.DataFrame | None = None,
) -> Clock:
    """The clock of a record in the log's columns and house units; None or empty: science alone.

    Works from the short log (machine_on, passes_done, pass_count) and from logged passes. Starts
    that were late for people only bound the concrete from above; ``crew_time`` tells of more of
    them. ``trucks`` gives the concrete's temperature and slump where the pour has none.
    """
    empty = pd.DataFrame({"pour_id": [], "place_start": pd.to_datetime([])})
    pours = empty if pours is None or not len(pours) else _with_loads(pours, trucks)
    begun = "place_start" in pours
    pours = pours[pd.to_datetime(pours["place_start"]).notna()] if begun else empty
    kept = record(pours, passes, crew_time)
    found = conditions(pours, weather, sites, house)
    plant = Plant.of(found)
    found = plant.fills(found)
    science = physics.ready(found)
    levels = features.Levels.of(found)
    table = features.table(found, science, levels)
    end_h = hours(pours["place_end"]) if "place_end" in pours else np.full(len(pours), np.nan)
    since = (kept.first_h - end_h) * 60.0
    usable = ~np.isnan(since) & ~np.isnan(table.columns).any(axis=1)
    usable &= (since > -found.place_min) & (since < 2880.0)

    area = number(pours, "area", 1000.0)
    at_once = usable & (since < FLOOR_MIN) & (found.lead_min > 20.0)
    chasing = Chasing(np.log(area[at_once]), (since[at_once] < 0).astype(float))
    # Ready before the crew had placed to the end: the start only bounds it.
    placed_first = at_once & (since >= 0) & (chasing.chance(area) < 0.5)
    bounded = kept.late | placed_first

    prints = np.log(kept.print_in / USUAL_PRINT_IN)
    seen = prints[np.isfinite(prints) & usable]
    shrink = seen.size / (seen.size + 3.0)
    print_mean = float(shrink * seen.mean()) if seen.size else 0.0
    print_spread = float(np.clip(seen.std(), 0.0, 0.8)) if seen.size > 4 else 0.0
    prints = np.where(np.isfinite(prints), prints, print_mean)

    machine = RideOn(np.log(area[~np.isnan(kept.ride_on)]), kept.ride_on[~np.isnan(kept.ride_on)])
    ridden = np.where(np.isnan(kept.ride_on), machine.chance(area), kept.ride_on)

    finishes = words(pours, "finish")
    tools = Tools.of([t for t, u in zip(kept.tool, usable, strict=True) if u],
                     [f for f, u in zip(finishes, usable, strict=True) if u])  # fmt: skip
    with_tool = tools.columns(kept.tool, finishes)
    columns = np.concatenate([table.columns, with_tool, ridden[:, None], prints[:, None]], axis=1)
    width = columns.shape[1]
    groups = (
        *table.groups,
        Group("tool", table.columns.shape[1], width - 2, TOOL_EFFECT),
        Group("machine", width - 2, width - 1, RIDE_ON_EFFECT[1]),
        Group("print", width - 1, width, PRINT_EFFECT[1]),
    )
    offset = science.log_h + np.log(60.0) + PRINT_EFFECT[0] * prints
    offset = offset + RIDE_ON_EFFECT[0] * ridden + features.usual_shift(found)
    factor = noise_factor(science, found)
    # The end placed last, where it was logged apart, is the same slab without a lead.
    late_end = (kept.last_end_h - end_h) * 60.0
    both = np.flatnonzero(usable & (late_end > 0) & (late_end < 2880.0) & ~kept.held)
    rows = np.concatenate([np.flatnonzero(usable), both])
    at_end = np.arange(rows.size) >= usable.sum()
    waited = np.where(at_end, late_end[rows], since[rows])
    lead = np.where(at_end, 0.0, found.lead_min[rows])
    at_most = bounded[rows] & ~at_end
    long_enough = usable & (found.lead_min > 10.0)
    tried = CHASES if long_enough.any() else (0.5,)
    posteriors: dict[float, Posterior] = {}
    score = np.zeros(len(tried))
    start: Array | None = None

    def fitted(chase: float, draws: int, start: Array | None) -> tuple[Posterior, float]:
        age = waited + chase * lead
        posterior = regression(
            columns[rows],
            soft_log(age) - offset[rows],
            groups,
            noise=NOISE,
            noise_factor=factor[rows],
            at_most=at_most,
            draws=draws,
            seed=seed,
            name=f"first pass {chase}",
            start=start,
        )
        # In minutes, not in log minutes: else the shares could not be compared.
        slope = soft_slope(age[~at_most])
        return posterior, posterior.log_evidence + float(np.sum(np.log(slope)))

    for place, chase in enumerate(tried if len(tried) > 1 else ()):
        posterior, score[place] = fitted(chase, 0, start)
        start = posterior.peak
    odds = np.array([CHASE_ODDS[CHASES.index(chase)] for chase in tried])
    odds = odds * np.exp(score - score.max())
    odds = np.where(odds < 0.01 * odds.max(), 0.0, odds)
    if len(tried) == 1:
        # No long slab tells how far the machine chases the placing: keep every share open.
        share = np.asarray(CHASE_ODDS)
        which = stream(seed, "chase").choice(len(CHASES), size=DRAWS, p=share / share.sum())
        chases = np.asarray(CHASES)[which]
        of_draw = np.full(DRAWS, tried[0])
    else:
        which = stream(seed, "chase").choice(len(tried), size=DRAWS, p=odds / odds.sum())
        chases = np.asarray(tried)[which]
        of_draw = chases
    for chase in tried:
        if np.any(of_draw == chase):
            posteriors[chase] = fitted(chase, DRAWS, start)[0]
    stages = {chase: Stage(posterior, levels) for chase, posterior in posteriors.items()}
    best = tried[int(np.argmax(odds))]
    surprise = _surprise(offset, since, found, usable, kept, posteriors, best)
    passes_model = passes_of(kept, found, science, surprise, seed)
    rate = stream(seed, "held rate").beta(
        0.3 + float((kept.held & usable).sum()), 20.0 + float((~kept.held & usable).sum()), DRAWS
    )
    kinds = words(pours, "slab_type")
    earlier, cuts = saw.own_openings(pours, science, kept.last_h, DRAWS, seed)
    return Clock(
        chases=np.asarray(chases, dtype=float),
        stages=stages,
        chase_of_draw=np.asarray(of_draw, dtype=float),
        passes=passes_model,
        placing=placing.fit(pours, seed),
        print_mean=print_mean,
        print_spread=print_spread,
        ride_on=machine,
        tools=tools,
        chasing=chasing,
        held_rate=rate,
        held_wait_min=_waits(kept, since, offset, found, usable, posteriors, best),
        plant=plant,
        cuts_earlier=earlier,
        cuts=cuts,
        pours=int(usable.sum()),
        timed=passes_model.rows,
        by_kind={
            kind: sum(a == kind for a, u in zip(kinds, usable, strict=True) if u)
            for kind in sorted(set(kinds))
        },
        seed=seed,
        house=dict(house or {}),
        sites=sites,
    )


def _surprise(
    offset: Array,
    since: Array,
    found: Conditions,
    usable: NDArray[np.bool_],
    kept: Record,
    posteriors: Mapping[float, Posterior],
    best: float,
) -> Array:
    """Log time by which each logged first pass was later than fitted; NaN where unknown."""
    result = np.full(found.count, np.nan)
    if not usable.any():
        return result
    y = soft_log(since + best * found.lead_min) - offset
    result[usable] = y[usable] - posteriors[best].fitted[: usable.sum()]
    return np.where(kept.held, np.nan, result)


def _waits(
    kept: Record,
    since: Array,
    offset: Array,
    found: Conditions,
    usable: NDArray[np.bool_],
    posteriors: Mapping[float, Posterior],
    best: float,
) -> Array:
    """Minutes that held-up starts came after the slab was ready: logged, else by the model."""
    known = kept.wait_min[kept.held & ~np.isnan(kept.wait_min)]
    if not usable.any():
        return np.asarray(known)
    expected = np.full(found.count, np.nan)
    expected[usable] = soft_exp(posteriors[best].fitted[: usable.sum()] + offset[usable])
    over = since + best * found.lead_min - expected
    guessed = over[kept.late & usable]
    waits = np.concatenate([known, np.maximum(guessed, 5.0)])
    return np.asarray(waits[waits > 0])


def _with_loads(pours: pd.DataFrame, trucks: pd.DataFrame | None) -> pd.DataFrame:
    """Pours with the mean temperature and slump of their loads where they have none themselves."""
    pours = pours.copy()
    if trucks is None or not len(trucks):
        return pours
    for name in ("concrete_temp", "slump"):
        if name not in trucks:
            continue
        mean = pd.to_numeric(trucks[name], errors="coerce").groupby(trucks["pour_id"]).mean()
        own = pd.Series(number(pours, name), index=pours.index)
        pours[name] = own.where(own.notna(), pours["pour_id"].map(mean))
    return pours
