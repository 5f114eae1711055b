"""Callbacks: how often floors come back, when, at what cost, and what goes with it."""
