"""The three pictures a practitioner takes of a part: which is chosen, and what each gives in its limit."""

import numpy as np
import pytest

from coilwright.field.formulas_hand import PartSize, part_in_coil
from coilwright.field.formulas_loads import bar_power, tube_power
from coilwright.field.formulas_skin import skin_depth

PITCH = 5e-3
LONG_COIL = np.column_stack([np.full(400, 0.03), PITCH * (np.arange(400) - 199.5), np.ones(400)])


def cylinder(radius, length, bore=0.0):
    area, sides = (radius - bore) * length, 2 if bore else 1
    perimeter = sides * length + 2 * (radius - bore)
    return PartSize(bore, radius, -length / 2, length / 2, area, perimeter, np.pi * (radius**2 - bore**2) * length)


def test_long_bar_in_a_long_coil_is_the_textbook_bar():
    rho, f = 7.2e-7, 20e3
    found = part_in_coil(cylinder(0.02, 3.0), LONG_COIL, f, rho)
    assert "endless" in found.formula
    assert found.resistance == pytest.approx(2.0 * float(bar_power(0.02, 1 / PITCH, f, rho)), rel=0.02)


def test_short_bar_inside_a_long_coil_takes_its_length():
    rho, f = 7.2e-7, 20e3
    delta = float(skin_depth(f, rho))
    thick, thin = cylinder(4 * delta, 80 * delta), cylinder(0.8 * delta, 40 * delta)
    for part, word in ((thick, "one turn"), (thin, "axis")):
        found = part_in_coil(part, LONG_COIL, f, rho)
        assert word in found.formula
        bar = part.length * float(bar_power(part.outer, 1 / PITCH, f, rho))
        assert found.resistance == pytest.approx(bar, rel=0.2)


def test_thin_tube_inside_a_long_coil():
    rho, f = 7.2e-7, 20e3
    found = part_in_coil(cylinder(0.02, 0.4, 0.0195), LONG_COIL, f, rho)
    power, _ = tube_power(0.02, 0.0195, 1 / PITCH, f, rho)
    assert found.resistance == pytest.approx(0.4 * float(power), rel=0.15)


def test_plate_beside_a_flat_coil_is_the_same_above_and_below():
    coil = np.column_stack([np.linspace(0.01, 0.04, 5), np.zeros(5), np.ones(5)])
    area = 0.06 * 0.004
    above = PartSize(0.0, 0.06, 0.006, 0.010, area, 0.124, np.pi * 0.06**2 * 0.004)
    below = PartSize(0.0, 0.06, -0.010, -0.006, area, 0.124, np.pi * 0.06**2 * 0.004)
    one = part_in_coil(above, coil, 50e3, 7.2e-7)
    assert "plate" in one.formula
    assert part_in_coil(below, coil, 50e3, 7.2e-7).resistance == pytest.approx(one.resistance, rel=1e-12)


def test_twice_the_turns_four_times_the_resistance():
    ring = cylinder(4.5e-3, 0.6e-3, 2.5e-3)
    coil = np.array([[0.012, 0.01, 1.0], [0.012, 0.015, 1.0]])
    double = coil * [1, 1, 2]
    one = part_in_coil(ring, coil, 100e3, 7.2e-7).resistance
    assert part_in_coil(ring, double, 100e3, 7.2e-7).resistance == pytest.approx(4 * one, rel=1e-12)
