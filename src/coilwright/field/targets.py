"""What the finished coil should read on the bench, before any part is near it."""

from __future__ import annotations

from dataclasses import dataclass

from coilwright.field.report import FieldReport
from coilwright.job.schema_workshop import Workshop


@dataclass(frozen=True)
class CoilTarget:
    """At the lead ends, empty, at `frequency` (Hz): inductance (H) and resistance (ohm), each with the range that is let
    pass. `assumed` when the shop states no tolerance of its own."""

    frequency: float
    inductance: float
    resistance: float
    inductance_range: tuple[float, float]
    resistance_range: tuple[float, float]
    inductance_tolerance: float
    resistance_tolerance: float
    assumed: bool


def coil_target(report: FieldReport, workshop: Workshop) -> CoilTarget | None:
    """The empty coil with its leads; None for a job without a coil."""
    empty = report.result.unloaded
    if empty is None:
        return None
    henry, ohm = empty.inductance + report.leads.inductance, empty.resistance + report.leads.resistance
    t, u = workshop.inductance_tolerance, workshop.resistance_tolerance
    return CoilTarget(
        empty.frequency,
        henry,
        ohm,
        (henry * (1.0 - t), henry * (1.0 + t)),
        (ohm * (1.0 - u), ohm * (1.0 + u)),
        t,
        u,
        workshop.assumed("inductance_tolerance") or workshop.assumed("resistance_tolerance"),
    )
