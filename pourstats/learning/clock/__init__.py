"""The finishing clock: physics first, the crew's own record on top."""

from pourstats.learning.clock.model import Clock, Forecast, fit
from pourstats.learning.clock.score import clock_score

__all__ = ["Clock", "Forecast", "clock_score", "fit"]
