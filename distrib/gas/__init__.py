"""Ideal-gas relations of dry and humid air: arrays in, arrays out, SI units, no state."""
