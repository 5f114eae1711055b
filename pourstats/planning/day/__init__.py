"""The day's plan: when each pour starts, who goes where, finished and sawn in the window."""

from pourstats.planning.day.afterwards import kept_numbers, plans_and_log
from pourstats.planning.day.plan import FRAMES, plan

__all__ = ["FRAMES", "kept_numbers", "plan", "plans_and_log"]
