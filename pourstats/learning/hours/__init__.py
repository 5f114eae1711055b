"""What a floor takes in labor: the crew's own record on the shape that every job shares."""

from pourstats.learning.hours.calibration import hours_model
from pourstats.learning.hours.model import HoursDraws, HoursModel
from pourstats.learning.hours.reasons import (
    Driver,
    Outside,
    air_of,
    drivers,
    most_like,
    outside,
    similar,
)
from pourstats.learning.hours.record import hours_frame

__all__ = [
    "Driver",
    "HoursDraws",
    "HoursModel",
    "Outside",
    "air_of",
    "drivers",
    "hours_frame",
    "hours_model",
    "most_like",
    "outside",
    "similar",
]
