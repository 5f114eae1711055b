"""Published formulas of what slab and weather do: arrays in, arrays out."""
