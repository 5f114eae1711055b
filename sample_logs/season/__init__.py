"""The invented season's truth: valley, slabs, crew days, finishing, office work."""
