"""What the job's own source makes of a healthy machine: where it runs, and what instruments at tank and source read there."""

from __future__ import annotations

import math
from collections.abc import Iterator

from coilwright.errors import BadInput
from coilwright.heating.setup import programme_of
from coilwright.heating.tank_source import has_source, tank_of, tank_source
from coilwright.job import Job
from coilwright.tank.inputs import TankInput
from coilwright.tank.operating import operating_point
from coilwright.tank.result import OperatingPoint

Coil = tuple[float, float]


def running_frequency(job: Job, impedance: complex, frequency: float) -> float:
    """Where (Hz) the source settles on a coil of this impedance (ohm, leads included) at `frequency`; that one when it stops."""
    answer = tank_source(job).response(1.0, impedance, frequency)
    return answer.frequency if answer.running else frequency


def sourced_readings(job: Job, stations: int, loaded: complex, empty: complex, hot: complex,
                     frequency: float) -> dict[str, float]:  # fmt: skip
    """Healthy readings, SI, at the operating points of cold, hot and missing parts, coil impedances (ohm) at `frequency` (Hz).

    Empty for a job without a source, and for several stations on one tank: the operating point knows one coil.
    """
    if not has_source(job) or "tank" not in job.later or stations > 1:
        return {}
    tank, omega = tank_of(job), 2.0 * math.pi * frequency
    bare = (empty.real, empty.imag / omega)
    out: dict[str, float] = {}
    programme = programme_of(job)
    first, last = programme.level(0.0) or 1.0, programme.last or 1.0
    for end, z, level in (("", loaded, first), ("-hot", hot, last), ("-empty", empty, 1.0)):
        point = _point(tank, (z.real, z.imag / omega), bare, level)
        if point is not None:
            out |= dict(_of(point, end))
    return out


def _point(tank: TankInput, coil: Coil, bare: Coil, level: float) -> OperatingPoint | None:
    try:
        return operating_point(tank, coil, bare, level)
    except BadInput:  # many sources cannot run on the empty coil: no reading is told for it
        return None


def _of(point: OperatingPoint, end: str) -> Iterator[tuple[str, float]]:
    yield f"frequency{end}", point.frequency
    yield f"q{end}", point.loaded_q
    yield f"coil-current{end}", point.coil_current
    yield f"source-power{end}", point.source_power
    if end != "-empty":  # nobody reads the tank voltage with the parts out
        yield f"tank-voltage{end}", point.component("tank").voltage
