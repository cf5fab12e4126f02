"""The helix against the rings that stand for it."""

import math

import numpy as np
import pytest

from coilwright.field.formulas_inductance import loop_self_inductance, ring_stack_inductance
from coilwright.field.helix import helix_excess, helix_inductance_thin, rings_inductance_thin

MU0 = 4e-7 * math.pi


def test_one_ring_has_the_published_inductance():
    """mu0 R (ln(8 R / a) - 2), current on the surface: Rosa & Grover 1912, as `loop_self_inductance`."""
    ours = rings_inductance_thin(0.05, np.zeros(1), np.ones(1), 1e-4)
    assert ours == pytest.approx(float(loop_self_inductance(0.05, 1e-4, "surface")), rel=2e-5)


def test_rings_in_series_are_the_published_loops():
    z = 0.01 * np.arange(5)
    assert rings_inductance_thin(0.03, z, np.ones(5), 1e-4) == pytest.approx(
        ring_stack_inductance(0.03, z, 1e-4), rel=2e-5
    )


@pytest.mark.parametrize("turns", [1.0, 2.5])
def test_helix_is_the_double_sum_along_its_wire(turns):
    radius, pitch, distance = 0.02, 0.012, 1e-3
    n = int(500 * turns)
    u = 2 * math.pi * turns * (np.arange(n) + 0.5) / n
    step = 2 * math.pi * turns / n
    at = np.column_stack([radius * np.cos(u), radius * np.sin(u), pitch * u / (2 * math.pi)])
    along = np.column_stack([-radius * np.sin(u), radius * np.cos(u), np.full(n, pitch / (2 * math.pi))]) * step
    total = 0.0
    for block in np.array_split(np.arange(n), 12):
        square = np.sum((at[block, None, :] - at[None, :, :]) ** 2, axis=2)
        total += np.sum((along[block] @ along.T) / np.sqrt(square + distance**2))
    assert helix_inductance_thin(radius, pitch, turns, distance) == pytest.approx(MU0 / (4 * math.pi) * total, rel=1e-5)


def test_straight_wire_is_the_limit_of_a_steep_helix():
    """mu0 l / (2 pi) (ln(2 l / g) - 1): a straight wire, Rosa, Bulletin of the Bureau of Standards 4 (1908) 301."""
    length, g = 1.0, 1e-3
    ours = helix_inductance_thin(1e-7, length, 1.0, g)
    assert ours == pytest.approx(MU0 * length / (2 * math.pi) * (math.log(2 * length / g) - 1 + g / length), rel=1e-4)


def test_the_flatter_the_helix_the_better_the_rings():
    excess = []
    for pitch in (2e-3, 4e-3, 8e-3, 16e-3):
        z = pitch * np.arange(5)
        excess.append(helix_excess(0.025, pitch, z, np.ones(5), 0.9e-3))
    lengths = [e.length for e in excess]
    assert lengths == sorted(lengths)
    assert lengths[1] == pytest.approx(0.5 * (4 / (2 * math.pi * 25)) ** 2, rel=1e-3)
    assert abs(excess[0].inductance) < abs(excess[-1].inductance) < 0.1
