"""The day's plan: when each pour starts, who goes where, finished and sawn in the window."""

from pourstats.planning.day.plan import FRAMES, kept_numbers, plan

__all__ = ["FRAMES", "kept_numbers", "plan"]
