"""Hazards of a job in figures: stored energy, field against distance, radio emission, and the cautions to print."""
