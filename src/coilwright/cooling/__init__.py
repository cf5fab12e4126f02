"""Cooling water: flow, pressure drop, wall temperature, margin to boiling of coil, leads, capacitors, transformer."""
