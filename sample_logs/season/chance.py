"""Seeded chance that gives the same numbers on every machine and Python version."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from statistics import NormalDist
from typing import TypeVar

Item = TypeVar("Item")
_NORMAL = NormalDist()


class Chance:
    """A stream of chance of its own name, so that a change in one slab leaves the others alone.

    Everything rests on ``random.Random.random``, whose numbers Python promises to keep.
    """

    def __init__(self, seed: int, name: str) -> None:
        self._stream = random.Random(f"{seed} {name}")

    def between(self, low: float, high: float) -> float:
        """Evenly spread from low to high."""
        return low + (high - low) * self._stream.random()

    def normal(self, mean: float = 0.0, sd: float = 1.0) -> float:
        """Normally spread."""
        return mean + sd * _NORMAL.inv_cdf(self.between(1e-12, 1 - 1e-12))

    def factor(self, sd: float) -> float:
        """A factor around 1, lognormal; one in ten is spread two and a half times as wide."""
        wide = 2.5 if self.yes(0.1) else 1.0
        return math.exp(self.normal(0.0, sd * wide))

    def yes(self, share: float) -> bool:
        """True in that share of cases."""
        return self._stream.random() < share

    def pick(self, items: Sequence[Item], weights: Sequence[float] | None = None) -> Item:
        """One of the items."""
        weights = weights or [1.0] * len(items)
        at = self._stream.random() * sum(weights)
        for item, weight in zip(items, weights, strict=True):
            at -= weight
            if at < 0:
                return item
        return items[-1]

    def shuffled(self, items: Sequence[Item]) -> list[Item]:
        """The items in another order."""
        order = sorted((self._stream.random(), nth) for nth in range(len(items)))
        return [items[nth] for _, nth in order]
