"""Loads: minutes a yard, lateness, and what is ordered beyond the plan, as draws."""

from pourstats.learning.unloading.model import JobLoads, Unloading, fit

__all__ = ["JobLoads", "Unloading", "fit"]
