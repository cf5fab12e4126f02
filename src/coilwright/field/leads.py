"""The pair of leads between coil and tank: what they add to the impedance at the terminals."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coilwright.field.formulas_conductors import busbar_inductance, busbar_resistance, pair_inductance, pair_resistance
from coilwright.job.schema_coil import Leads, Litz, RectangularTube, RoundTube, RoundWire, Strip


@dataclass(frozen=True)
class LeadPair:
    """Go and return conductor together: `inductance` H, `resistance` ohm at `frequency` Hz."""

    inductance: float
    resistance: float
    frequency: float

    @property
    def impedance(self) -> complex:
        return complex(self.resistance, 2.0 * math.pi * self.frequency * self.inductance)

    def to_dict(self) -> dict[str, float]:
        return {"inductance_H": self.inductance, "resistance_ohm": self.resistance}


NO_LEADS = LeadPair(0.0, 0.0, 0.0)


def lead_pair(
    leads: Leads | None,
    conductor: RoundTube | RectangularTube | RoundWire | Strip | Litz,
    resistivity: float,
    frequency: float,
) -> LeadPair:
    """Parallel round conductors, or a flat pair whose broad faces are `height` wide and face each other.

    The formulas of `formulas_conductors`; the loop between the ends of the leads and the coil is not counted.
    """
    if leads is None:
        return LeadPair(0.0, 0.0, frequency)
    if isinstance(conductor, RectangularTube | Strip):
        gap = max(leads.spacing - conductor.width, 1e-5)
        per_length = float(busbar_inductance(gap, conductor.height))
        ohms = float(busbar_resistance(conductor.height, frequency, resistivity))
    else:
        outside = conductor.outside if isinstance(conductor, RoundTube) else conductor.diameter
        spacing = max(leads.spacing, 1.0001 * outside)
        per_length = float(pair_inductance(outside, spacing))
        ohms = float(pair_resistance(outside, spacing, frequency, resistivity))
    return LeadPair(per_length * leads.length, ohms * leads.length, frequency)
