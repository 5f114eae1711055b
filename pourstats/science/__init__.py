"""What slab and weather do: published formulas, arrays in, arrays out."""
