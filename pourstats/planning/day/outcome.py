"""What a way to do a day leads to, on every morning drawn."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pourstats.planning.day.machines import Move
from pourstats.planning.day.mornings import mean

Array = NDArray[np.float64]

SHOP = -1
BREACH_USD = 50_000.0
"""Weight of a rule broken: no such plan is taken while another keeps them."""
BREACH_USD_PER_H = 2_000.0
"""And of each hour by which it is broken, so that a search sees when it gets nearer."""
SOFT_USD = 1_000.0
"""Weight of a rule broken while a search is on its way."""


@dataclass
class Stretch:
    """A person's stretch on a task (arrays of draws)."""

    person: int
    slab: int
    task: str
    start: Array
    end: Array
    wait_for: str = ""
    road: tuple[int, int] | None = None
    """Of a drive: from and to, -1 the shop."""


@dataclass
class Outcome:
    """What a choice leads to; hours of the day and dollars, arrays of draws."""

    cost: Array
    labor_usd: Array
    truck_usd: Array
    risk_usd: Array
    """Finishes lost, windows missed, late, dark and split work, trips back."""
    begin: list[Array]
    place_end: list[Array]
    first: list[Array]
    ready: list[Array]
    last: list[Array]
    saw_done: list[Array | None]
    """NaN where it isn't cut that day."""
    opens: list[Array | None]
    lost: list[Array]
    missed: list[Array]
    done: Array
    """Whether every slab is placed, finished and cut in time (draw)."""
    stretches: list[Stretch]
    moves: list[Move]
    breaches: list[str]
    over_h: float
    """Hours by which rules are broken, added up."""
    paid_h: dict[int, Array]
    overtime_h: float
    """Expected, of everybody."""
    set_end: list[Array]
    """Forms set."""
    no_rest: list[int]
    """People whose long day leaves no wait of a break's length."""
    trowel_units: list[tuple[int, ...]] = field(default_factory=list)
    saw_units: list[int | None] = field(default_factory=list)

    @property
    def score(self) -> float:
        """Expected dollars, broken rules far above."""
        return mean(self.cost) + BREACH_USD * len(self.breaches) + self._over_usd

    @property
    def soft(self) -> float:
        """The same with broken rules weighing less."""
        return mean(self.cost) + SOFT_USD * len(self.breaches) + self._over_usd

    @property
    def _over_usd(self) -> float:
        return BREACH_USD_PER_H * min(self.over_h, 20.0)
