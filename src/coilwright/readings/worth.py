"""What a reading of the shop floor is worth: one standard uncertainty of a change against the healthy machine.

One place for what the window forecasts and the line diagnoses. Common practice, no source, except where said; put the
repeatability of your own hand-over record in its place.
"""

from __future__ import annotations

from typing import Final

# Relative, but SI where the unit stands beside it.
WORTH: Final[dict[str, float]] = {
    "frequency": 1e-3,  # a counter shows far more digits; the drift of the bank is the limit (polypropylene 2.5e-4 per K, memory)
    "coil-current": 0.02,  # current transformer or Rogowski coil, 1 to 3 %
    "source-power": 0.03,
    "tank-voltage": 0.03,  # probe
    # A fit to the ring-down gives 0.1 to 1 %, 0.5 % as a rule; water 5 K warmer moves the loaded Q by 0.65 % more (own
    # computation: half of copper's 3.9e-3 per K, most of the resistance being the coils'). By cursor it is 5 %.
    "q": 0.01,
    "setback": 0.05e-3,  # m, setting block or feeler
    "pick-up": 0.01,  # stations compared with one loop and one meter
    "voltage-share": 0.02,  # one probe moved from coil to coil
}
