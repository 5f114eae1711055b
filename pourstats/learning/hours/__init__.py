"""What a floor takes in labor: the crew's own record on the shape that every job shares."""

from pourstats.learning.hours.model import HoursDraws, HoursModel, hours_model

__all__ = ["HoursDraws", "HoursModel", "hours_model"]
