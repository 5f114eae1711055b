"""How a crew begins a slab: on which machine, with which tool, after the placing or during it.

Counted from the record, by size or finish, with a usual habit where the record is thin. A job ahead
doesn't say any of it, so a forecast draws it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FLOOR_MIN = 15.0
"""A first pass that begins so soon after the end of placing waited for the placing, not the set."""
TOOL_STRENGTH = 3.0
"""Pours that the crew's tools over all finishes are worth against those of one finish."""


@dataclass(frozen=True)
class RideOn:
    """On which machine slabs of a size were begun: log area and 1 for a ride-on, a pour each."""

    log_area: Array
    ridden: Array

    def chance(self, area_ft2: Array) -> Array:
        """Chance of a ride-on by area: the share among slabs of like size, leaning to none."""
        if not self.ridden.any():
            return np.zeros(area_ft2.size)
        near = np.exp(-0.5 * ((np.log(area_ft2)[:, None] - self.log_area) / 0.4) ** 2)
        return np.asarray((near @ self.ridden) / (near.sum(axis=1) + 0.5))


@dataclass(frozen=True)
class Tools:
    """With which tool first passes were begun: pours of each tool, by finish and over all."""

    names: tuple[str, ...]
    by_finish: dict[str, Array]
    overall: Array

    @classmethod
    def of(cls, tool: list[str], finish: list[str]) -> Tools:
        """Count the tools of first passes, empty where nobody wrote one, with their finishes."""
        names = tuple(sorted(set(tool) - {""}))
        by_finish: dict[str, Array] = {}
        overall = np.zeros(len(names))
        for word, kind in zip(tool, finish, strict=True):
            if word:
                place = names.index(word)
                overall[place] += 1
                by_finish.setdefault(kind, np.zeros(len(names)))[place] += 1
        return cls(names, by_finish, overall)

    def share(self, finish: list[str]) -> Array:
        """Chance of each tool (job x tool) by finish; sums to 1, no columns without a record."""
        usual = self.overall / max(float(self.overall.sum()), 1.0)
        none = np.zeros(len(self.names))
        counts = np.array([self.by_finish.get(word, none) for word in finish])
        counts = counts.reshape(len(finish), len(self.names))
        whole = counts + TOOL_STRENGTH * usual
        return np.asarray(whole / (counts.sum(axis=1, keepdims=True) + TOOL_STRENGTH))

    def columns(self, tool: list[str], finish: list[str]) -> Array:
        """1 for the tool that was written (pour x tool), the chances where none was."""
        columns = self.share(finish)
        for row, word in enumerate(tool):
            if word in self.names:
                columns[row] = [float(word == name) for name in self.names]
        return columns

    def draws(self, finish: list[str], k: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """A tool's place among the names (job x draw)."""
        steps = np.cumsum(self.share(finish), axis=1)[:, None, :-1]
        return np.asarray((rng.random((len(finish), k, 1)) > steps).sum(axis=2))


@dataclass(frozen=True)
class Chasing:
    """Whether the crew sends the machine after the placing, before it is done, by size of slab.

    One row a pour that was ready, or nearly, by the end of placing: its log area, and 1 where the
    machine was on before that, 0 where the crew placed to the end first.
    """

    log_area: Array
    early: Array

    def chance(self, area_ft2: Array) -> Array:
        """Chance that a slab of an area is begun early if ready: the crew's own, else by size.

        Before the record says, half of slabs of 3,500 ft2 and more of larger ones: it takes hands
        to spare (common practice, no source).
        """
        log_area = np.log(area_ft2)
        usual = 1.0 / (1.0 + np.exp(-2.5 * (log_area - np.log(3500.0))))
        near = np.exp(-0.5 * ((log_area[:, None] - self.log_area) / 0.5) ** 2)
        return np.asarray((near @ self.early + usual) / (near.sum(axis=1) + 1.0))
