"""Five tanks (invented figures in the trade's usual range), one per way of feeding a coil, and their coils (R, L)."""

import math
from dataclasses import dataclass

from coilwright.tank.inputs import (
    Bank,
    BankGroup,
    Cable,
    Can,
    RatingCurve,
    SourceInput,
    SourceLimits,
    TankInput,
    Transformer,
)

DEGREE = math.pi / 180.0


def can(farad, name="film", tan=0.0, **more):
    return Can(name, farad, loss_tangent=tan, **more)


def bank(*groups, **more):
    return Bank(tuple(BankGroup(*g) for g in groups), **more)


def limits(low, high, **more):
    return SourceLimits(lowest_frequency=low, highest_frequency=high, **more)


@dataclass(frozen=True)
class Case:
    name: str
    tank: TankInput
    coil: tuple[float, float]
    frequency: float


RATED = {
    "voltage": RatingCurve((5e4, 4e5), (800.0, 500.0)),
    "current": RatingCurve.constant(40.0),
    "reactive_power": RatingCurve.constant(15e3),
    "tolerance": 0.05,
}

SERIES = TankInput(
    "series",
    bank((can(24.33e-9, tan=3e-4, **RATED), 1, 6)),
    lead_inductance=30e-9,
    lead_resistance=0.6e-3,
    source=SourceInput("voltage-fed full bridge", 12.0, resistance=5e-3, limits=limits(250e3, 450e3)),
)
MATCHED = TankInput(
    "series",
    bank((can(0.2e-6, tan=5e-4), 1, 1)),
    bank_side="source",
    transformer=Transformer(8.0, 1e-7, 0.01, 5e-9, 5e-4, 200e-6, 2000.0),
    lead_inductance=30e-9,
    lead_resistance=1e-3,
    cable=Cable(3.0, 0.01, 2e-7, 2e-10),
    source=SourceInput("voltage-fed half bridge", 320.0, phase=8 * DEGREE, limits=limits(60e3, 160e3)),
)
PARALLEL = TankInput(
    "parallel",
    bank((can(1.5e-6, tan=4e-4), 1, 8)),
    lead_inductance=40e-9,
    lead_resistance=0.3e-3,
    source=SourceInput(
        "current-fed bridge", 30.0, phase=5 * DEGREE, choke=1e-3, choke_resistance=0.02, limits=limits(8e3, 60e3)
    ),
)
COUPLED = TankInput(
    "inductor-coupled",
    bank((can(0.33e-6, tan=4e-4), 1, 4), (can(0.1e-6, "trim"), 1, 2, 1e-4, 1e-8)),
    inductor_inductance=2.5e-6,
    inductor_resistance=0.02,
    lead_inductance=20e-9,
    lead_resistance=0.5e-3,
    source=SourceInput("voltage-fed full bridge", 320.0, phase=10 * DEGREE, limits=limits(120e3, 420e3)),
)
TAPPED = TankInput(
    "inductor-coupled",
    bank((can(0.5e-6, tan=4e-4), 1, 1)),
    tap=bank((can(1e-6, "tap"), 1, 1)),
    block=bank((can(4e-6, "block"), 1, 1)),
    inductor_inductance=2.5e-6,
    inductor_resistance=0.03,
    cable=Cable(0.8, 5e-3, 1.2e-7, 3e-10, "coil"),
    source=SourceInput("voltage-fed full bridge", 200.0, phase=10 * DEGREE, limits=limits(120e3, 320e3)),
)

CASES = (
    Case("series", SERIES, (0.0413, 1.38e-6), 353e3),
    Case("matched", MATCHED, (0.0141, 0.17e-6), 100e3),
    Case("parallel", PARALLEL, (0.06, 3.0e-6), 26e3),
    Case("coupled", COUPLED, (0.08, 1.0e-6), 160e3),
    Case("tapped", TAPPED, (0.06, 2.0e-6), 200e3),
)
