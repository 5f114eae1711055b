"""The finishing clock: physics first, the crew's own record on top."""

from pourstats.learning.clock.fitting import fit
from pourstats.learning.clock.model import Clock, Forecast

__all__ = ["Clock", "Forecast", "fit"]
