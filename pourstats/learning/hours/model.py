"""The labor-hours model: fit on the crew's pours, ask for jobs ahead; estimates leave as draws."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.draws import stream
from pourstats.learning.hours.crew import CrewClock, crew_clock
from pourstats.learning.hours.drift import STRAYS, rolling_origin
from pourstats.learning.hours.features import (
    AREA_CENTRE_FT2,
    Array,
    Features,
    Habit,
    days,
    features,
    habit_of,
    numbers,
    words,
)
from pourstats.learning.hours.fit import FAMILY_WORTH, Fit, fitted, slopes
from pourstats.learning.hours.noise import LOOSE, Noise, Record, row_variance
from pourstats.learning.hours.readings import read_h
from pourstats.learning.hours.structure import (
    PARTS,
    Design,
    Levels,
    Logged,
    design,
    effects,
    knots_back,
)

DRAWS = 4000

AIRS = (-2.5, -1.25, 0.0, 1.25, 2.5)
"""Airs about the season's at which the hours are worked out, in scatters."""


@dataclass(frozen=True)
class HoursDraws:
    """Jobs x draws: labor-hours on the pour and crew-hours; ``parts_h`` the parts' expected hours.

    ``parts_h`` is jobs x PARTS, each part's mean over the draws before the day's own luck.
    """

    labor_h: Array
    crew_h: Array
    expected_h: Array
    parts_h: Array


@dataclass(frozen=True)
class _Told:
    """Jobs x draws of log hours, with and without the day's luck, and jobs x PARTS shares."""

    log_expected: Array
    log_hours: Array
    share: Array


@dataclass(frozen=True)
class HoursModel:
    """Labor-hours of a described job, from published rates bent by the crew's own record."""

    pours: int
    habit: Habit
    levels: Levels
    stray: float
    beta: Array
    covariance: Array
    noise: Noise
    centre: float
    lead_spread: float
    clock: CrewClock
    seen: pd.DataFrame
    """The pours learned from, in date order, with `labor_h` as logged and `read_h` as read."""
    names: tuple[str, ...] = ()
    """Of the effects, as ``beta`` has them."""
    fit: Fit | None = None
    stretch: float = 1.0
    """By how much the ranges' logs are stretched about the middle: what the crew's own past asks
    for."""

    @property
    def freedom(self) -> float:
        """How many effects' worth the common scale of the effects rests on: the prior's, and those
        that the record tells apart (MacKay 1992)."""
        if self.fit is None:
            return FAMILY_WORTH
        told = 1.0 - np.diag(self.covariance) / self.fit.spread**2
        return FAMILY_WORTH + float(np.clip(told, 0.0, 1.0).sum())

    def design(self, jobs: pd.DataFrame) -> tuple[Design, Features]:
        """The jobs in the model's terms: after the last pour, logged as crew time would."""
        f = features(jobs, self.habit)
        return self._laid(f, np.zeros(len(f)), np.zeros(len(f))), f

    def _laid(self, f: Features, headcount: Array, partial: Array) -> Design:
        order = np.full(len(f), float(self.pours))
        return design(effects(f, self.levels, Logged(order, headcount, partial), self.stray), f)

    def expected_h(self, jobs: pd.DataFrame) -> Array:
        """Labor-hours of a middling day at the most probable effects, one a job."""
        laid, _ = self.design(jobs)
        return np.asarray(laid.parts(self.beta).sum(axis=1))

    def as_crew_time(self, pours: pd.DataFrame) -> tuple[Array, Array]:
        """Hours of logged pours as crew time would have logged them, and the doubt of that.

        Rows as `usable` gives them. A headcount is taken down (or up) by what this crew's counts
        read too high by the model; the doubt is the standard deviation of that on the log scale, 0
        for crew time.
        """
        hours = numbers(pours, "read_h")
        source = words(pours, "hours_from").astype(str)
        counted = np.char.startswith(source.astype("U16"), "headcount").astype(float)
        if self.fit is None:
            return hours, np.zeros(len(hours))
        off = np.column_stack([counted, (source == "headcount_part").astype(float)])
        own = [self.names.index(name) for name in ("headcount", "headcount_part")]
        doubt = np.einsum("ij,jk,ik->i", off, self.covariance[np.ix_(own, own)], off)
        return hours * np.exp(-off @ self.beta[own]), np.sqrt(np.maximum(doubt, 0.0))

    def draws(self, jobs: pd.DataFrame, count: int = DRAWS, seed: int = 0) -> HoursDraws:
        """Draws for each job (house units, log column names).

        Draw k has the same rates and the same crew level for every job; each pour's own luck hangs
        on its pour_id, so that two versions of one job are compared on the same day.
        """
        laid, f = self.design(jobs)
        names = words(jobs, "pour_id")
        told = self._told(laid, f, names, np.zeros(len(f)), count, seed)
        labor, expected = np.exp(told.log_hours), np.exp(told.log_expected)
        crew = np.empty_like(labor)
        for job in range(len(f)):
            own = stream(seed, "hours", "clock", names[job] if names[job] != "" else job)
            crew[job] = labor[job] / self.clock.hands(f, told.share, job, own, count)
        return HoursDraws(labor, crew, expected, told.share * expected.mean(axis=1)[:, None])

    def chance_below(self, pours: pd.DataFrame, count: int = 400) -> Array:
        """The chance that the forecast gave to less than what was logged, for later pours.

        Rows as `usable` gives them, each told as it was logged: by crew time or by headcount.
        """
        f = features(pours, self.habit)
        record, partial = record_of(pours, f)
        laid = self._laid(f, record.headcount, partial)
        told = self._told(laid, f, words(pours, "pour_id"), record.headcount, count, 0)
        below = (told.log_hours < record.log_hours[:, None]).sum(axis=1)
        return np.asarray((below + 0.5) / (count + 1.0))

    def _told(
        self,
        laid: Design,
        f: Features,
        names: NDArray[np.object_],
        headcount: Array,
        count: int,
        seed: int,
    ) -> _Told:
        rng = stream(seed, "hours", "rates")
        root = _root(self.covariance)
        level = self.stray * np.sqrt(6.0) * rng.standard_normal(count)
        chi = rng.chisquare(self.noise.worth, count) / self.noise.worth
        # Linear about the most probable effects, as the covariance is: through the curve itself
        # rates that the record can't tell apart would push every forecast up.
        log_mean, share, slope = slopes(laid, self.beta)
        scale = np.sqrt(self.freedom / rng.chisquare(self.freedom, count))
        bend = slope @ (root @ rng.standard_normal((self.beta.size, count))) * scale + level
        known_lead = np.isin(f.lead.astype(str), self.levels.leads)
        beyond = self.beyond(f)
        bend += self._weather(f, count, seed)
        luck = np.empty((len(f), count))
        for job in range(len(f)):
            own = stream(seed, "hours", "luck", names[job] if names[job] != "" else job)
            if not known_lead[job]:
                bend[job] += self.lead_spread * own.standard_normal(count)
            bend[job] += beyond[job] * own.standard_normal(count)
            luck[job] = self._luck(log_mean[job] + bend[job], headcount[job], chi, own)
        middle = log_mean[:, None]
        expected = middle + self.stretch * bend
        return _Told(expected, expected + self.stretch * luck, share)

    def _weather(self, f: Features, count: int, seed: int) -> Array:
        """What a day's weather may add to log hours, jobs x draws; 0 where the air is known.

        Jobs of one day share it. Bent as the effects are, by way of a few airs about the season's.
        """
        found = np.zeros((len(f), count))
        if f.air_known.all() or not self.habit.air_scatter_f:
            return found
        blank = np.zeros(len(f))
        turned = []
        for step in AIRS:
            air = f.air_temp_f + step * self.habit.air_scatter_f
            laid = self._laid(replace(f, air_temp_f=air), blank, blank)
            turned.append(np.log(laid.parts(self.beta).sum(axis=1)))
        for job in np.flatnonzero(~f.air_known):
            drawn = stream(seed, "hours", "air", f.day[job]).standard_normal(count)
            curve = [float(value[job]) for value in turned]
            found[job] = np.interp(drawn, AIRS, curve) - curve[len(AIRS) // 2]
        return found

    def _luck(
        self, log_mean: Array, headcount: float, chi: Array, rng: np.random.Generator
    ) -> Array:
        noise = self.noise
        by_count = np.full_like(log_mean, headcount)
        variance = row_variance(noise, log_mean, by_count, self.centre) / chi
        z, pick = rng.standard_normal((2, chi.size)), rng.random((2, chi.size))
        over = noise.wreck + noise.wreck_spread * z[1]
        wrecked = pick[0] < noise.wreck_share_ahead
        wide = np.where((pick[1] < noise.loose_share) & ~wrecked, LOOSE, 1.0)
        return np.asarray(np.sqrt(variance) * wide * z[0] + np.where(wrecked, over, 0.0))

    def beyond(self, f: Features) -> Array:
        """Extra log spread of jobs bigger, smaller or thicker than any pour in the record."""
        extra = np.zeros(len(f))
        if self.pours == 0:
            return extra
        for values, seen, pull in (
            (f.area_ft2, numbers(self.seen, "area"), 0.15),
            (f.thickness_in, numbers(self.seen, "thickness"), 0.2),
        ):
            low, high = np.nanmin(seen), np.nanmax(seen)
            extra += pull * np.log(np.maximum(values / high, 1.0))
            extra += pull * np.log(np.maximum(low / values, 1.0))
        return extra


def _root(covariance: Array) -> Array:
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def usable(frame: pd.DataFrame | None) -> pd.DataFrame:
    """The pours that can be learned from: hours above zero and an area; in date order."""
    if frame is None or len(frame) == 0:
        return pd.DataFrame()
    hours, area = numbers(frame, "labor_h"), numbers(frame, "area")
    kept = frame[(hours > 0) & (area > 0)]
    if "read_h" not in kept:
        kept = kept.assign(read_h=read_h(kept, habit_of(kept)))
    start = words(kept, "place_start").astype(str)
    order = np.lexsort((start, days(kept)))
    return kept.iloc[order].reset_index(drop=True)


TASK_COLUMNS = {
    "fixed": "other_labor_h",
    "place": "place_labor_h",
    "finish": "finish_labor_h",
    "wait": "wait_labor_h",
    "saw": "saw_labor_h",
}


def record_of(frame: pd.DataFrame, f: Features) -> tuple[Record, Array]:
    """What the fit sees of the record, and which rows are only partly a headcount."""
    hours = numbers(frame, "read_h")
    source = words(frame, "hours_from").astype(str)
    headcount = np.char.startswith(source.astype("U16"), "headcount").astype(float)
    tasks = np.column_stack([numbers(frame, TASK_COLUMNS[part]) for part in PARTS])
    told = ~np.isnan(tasks[:, :3]).any(axis=1) & (headcount == 0)
    tasks = np.nan_to_num(tasks)
    total = tasks.sum(axis=1)
    told &= total > 0
    shares = np.where(told[:, None], tasks / np.where(told, total, 1.0)[:, None], np.nan)
    partial = (source == "headcount_part").astype(float)
    return Record(np.log(hours), headcount, f.troubled, shares), partial


def fitted_model(seen: pd.DataFrame) -> HoursModel:
    """The model of a record as `usable` gives it, its ranges not yet held against the past."""
    habit = habit_of(seen)
    pours = len(seen)
    if pours == 0:
        return _unlearned(habit)
    f = features(seen, habit)
    record, partial = record_of(seen, f)
    counted = pd.Series(f.lead.astype(str)).value_counts()
    leads = tuple(name for name in counted.index[:40] if name != "")
    levels = Levels(leads, knots_back(pours), pours)
    logged = Logged(np.arange(pours, dtype=float), record.headcount, partial)
    found = effects(f, levels, logged, 0.0)
    still = design(found, f)
    calm = fitted(still, record)
    stray = rolling_origin(calm, still)
    found = effects(f, levels, logged, stray)
    laid = design(found, f)
    start = np.concatenate([calm.beta, np.zeros(len(found) - calm.beta.size)])
    fit = fitted(laid, record, calm.noise, start)
    return HoursModel(
        pours, habit, levels, stray, fit.beta, fit.covariance, fit.noise, fit.centre,
        _lead_spread(laid, fit.spread), crew_clock(seen, f, slopes(laid, fit.beta)[1]), seen,
        laid.names, fit,
    )  # fmt: skip


def _lead_spread(laid: Design, spread: Array) -> float:
    own = [value for value, pool in zip(spread, laid.pool, strict=True) if pool == "lead"]
    return float(own[0]) if own else 0.0


def _unlearned(habit: Habit) -> HoursModel:
    blank = features(pd.DataFrame({"area": [AREA_CENTRE_FT2], "thickness": [4.0]}), habit)
    zero = np.zeros(1)
    laid = design(effects(blank, Levels(), Logged(zero, zero, zero), 0.0), blank)
    centre = float(np.log(laid.parts(laid.mean).sum()))
    return HoursModel(
        0, habit, Levels(), STRAYS[1], laid.mean, np.diag(laid.spread**2), Noise(), centre,
        0.07, crew_clock(pd.DataFrame(), features(pd.DataFrame(), habit), np.zeros((0, 5))),
        pd.DataFrame(),
    )  # fmt: skip
