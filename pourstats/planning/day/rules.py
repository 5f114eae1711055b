"""What a day must keep to and what its mishaps cost: the house rules as in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Rules:
    """House rules of a day; hours of the day, USD, counts. Defaults: common practice, no source."""

    day_start: float = 4.5
    day_end: float = 22.0
    plant_open: float = 6.0
    plant_close: float = 17.0
    overtime_after_h: float = 8.0
    overtime_week_after_h: float = 40.0
    overtime_premium: float = 0.5
    break_after_h: float = 5.0
    break_min: float = 30.0
    break_paid: bool = True
    shop_wait_paid_h: float = 2.0
    trowels_walk_behind: int = 2
    trowels_ride_on: int = 0
    saws: int = 1
    vehicles: int = 2
    vehicle_seats: int = 5
    finish_grace_min: float = 30.0
    """How late the machine may come on before a finish is taken for lost."""
    lost_finish_usd: float = 1500.0
    missed_saw_usd: float = 400.0
    """A window missed: cracks to answer for. The trip back is costed apart."""
    late_usd: float = 400.0
    """A pour not done by its site's or the day's end."""
    trip_back_usd: float = 250.0
    """A trip back beside its hours: the drive, and the next day's work put off."""
    evening: float = 17.0
    evening_usd_per_h: float = 20.0
    """What a person's hour after that is worth beyond its pay: tired people, tomorrow's start."""
    split_usd: float = 50.0
    """What an unpaid gap in somebody's day is worth to him: people leave over split days."""
    dark_usd_per_h: float = 60.0
    """Lights and slower work outdoors after sunset."""
    truck_wait_usd_per_min: float = 2.0
    free_min_per_yd3: float = 10.0

    @property
    def trowels(self) -> int:
        """Machines that finish."""
        return self.trowels_walk_behind + self.trowels_ride_on


CLOCKS = ("day_start", "day_end", "plant_open", "plant_close", "evening")


def rules_of(house: Mapping[str, Any], people: int = 4) -> Rules:
    """The rules of a day from the house's settings; a vehicle for every two people, two at
    least, until set."""
    found: dict[str, Any] = {"vehicles": max(2, -(-people // 2))}
    for name, usual in Rules().__dict__.items():
        value = house.get(name)
        if value is None or value != value:
            continue
        if name in CLOCKS:
            hour, _, minute = str(value).partition(":")
            found[name] = int(hour) + int(minute or 0) / 60.0
        elif isinstance(usual, bool):
            found[name] = str(value) in ("yes", "True", "1")
        else:
            found[name] = int(value) if isinstance(usual, int) else float(value)
    return Rules(**found)
