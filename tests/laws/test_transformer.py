"""Common practice, no source: coil and ring are an air-cored transformer with a short-circuited secondary.

For a ring thin against its skin depth one current flows round it, and dR, dL follow from (wM)^2 / (R2 + jwL2).
"""

import cmath
import math

import numpy as np
import pytest

import coilwright as cw
from coilwright.field.formulas_coupling import reflected_load, ring_inductance, ring_resistance
from coilwright.field.formulas_inductance import loop_mutual
from tests.heating.jobs import WASHER

RING = WASHER.replace(
    'kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm"',
    'kind = "ring", outer_diameter = "12.4 mm", inner_diameter = "12 mm", height = "0.4 mm"',
)


@pytest.mark.parametrize("frequency", [20e3, 100e3, 400e3])
def test_ring_is_a_shorted_secondary(frequency):
    result = cw.field(cw.loads(RING.replace("100 kHz", f"{frequency} Hz")), estimate_error=False).result
    mutual = sum(float(loop_mutual(0.012, 6.1e-3, 3e-3 - z)) for z in (0.0, -5e-3, -10e-3, -15e-3))
    resistance = float(ring_resistance(6.1e-3, 0.2e-3, 0.4e-3, frequency, 0.72e-6))
    inductance = ring_inductance(6.1e-3, 0.2e-3, 0.4e-3)
    added, removed = (float(x) for x in reflected_load(mutual, resistance, inductance, frequency))
    reflected = complex(added, 2 * math.pi * frequency * removed)
    change = complex(
        result.loaded.resistance - result.unloaded.resistance,
        2 * math.pi * frequency * (result.loaded.inductance - result.unloaded.inductance),
    )
    # the current of a tube crowds towards the ring, so filaments in its middle give some 10 % too little of both
    assert abs(change) == pytest.approx(abs(reflected), rel=0.15)
    # the angle R2 : wL2 is what tells a shorted secondary; skin effect in the tube turns it by hundredths of a radian
    assert cmath.phase(change) == pytest.approx(cmath.phase(reflected), abs=0.03)


def test_power_goes_with_the_square_of_the_current_and_vanishes_when_the_ring_is_cut():
    job = cw.loads(RING)
    one = cw.field(job, estimate_error=False).result.body_powers["washer"]
    two = cw.field(job.with_value("drive.coil_current", "460.2 A"), estimate_error=False).result.body_powers["washer"]
    cut = cw.field(job.with_value("body.washer.slit", True), estimate_error=False).result.body_powers["washer"]
    assert two == pytest.approx(4 * one, rel=1e-9)
    assert cut < 0.02 * one
    assert np.isfinite(cut)
