"""Dodd & Deeds: limits, other routes to the same number, refusals."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.formulas_inductance import current_sheet_inductance, loop_mutual
from coilwright.field.formulas_layers import (
    Layer,
    Winding,
    air_inductance,
    impedance_over_layers,
    impedance_round_rod,
)
from coilwright.field.formulas_loads import tube_power


def test_thin_insulator_on_top_is_a_larger_gap():
    coil, metal = Winding(0.01, 0.02, 0.003, 0.008, 5), Layer(7.2e-7)
    raised = Winding(0.01, 0.02, 0.004, 0.009, 5)
    spaced = impedance_over_layers(coil, [Layer(None, 1.0, 0.001), metal], 100e3)
    assert spaced == pytest.approx(impedance_over_layers(raised, [metal], 100e3), rel=1e-12)


def test_split_layers_change_nothing():
    coil = Winding(0.01, 0.02, 0.003, 0.008, 5)
    whole = impedance_over_layers(coil, [Layer(7.2e-7, 1, 0.6e-3), Layer(2e-7, 80)], 50e3)
    split = impedance_over_layers(coil, [Layer(7.2e-7, 1, 0.2e-3), Layer(7.2e-7, 1, 0.4e-3), Layer(2e-7, 80)], 50e3)
    assert split == pytest.approx(whole, rel=1e-12)


def test_magnetic_block_at_rest_is_an_image():
    """µr without eddy currents: ΔL = (µr-1)/(µr+1) M(2h)."""
    R, h, mur = 0.02, 0.003, 9.0
    change = impedance_over_layers(Winding(R, R, h, h, 1), [Layer(1e3, mur)], 1.0)
    assert change.imag / (2 * np.pi) == pytest.approx(0.8 * float(loop_mutual(R, R, 2 * h)), rel=1e-8)


def test_air_inductance_of_a_thin_long_winding_is_a_current_sheet():
    sheet = float(current_sheet_inductance(0.05, 0.1, 40))
    short = [1 - air_inductance(Winding(0.05 - w / 2, 0.05 + w / 2, 0.0, 0.1, 40)) / sheet for w in (4e-4, 8e-4)]
    assert 0 < short[0] < 5e-3  # a thick winding has less, in proportion to its width
    assert short[1] == pytest.approx(2 * short[0], rel=0.05)


def test_loop_in_the_far_gap_meets_scaling():
    """Lengths x s with frequency / s²: R and X scale with s x f."""
    coil, twice = Winding(0.01, 0.02, 0.003, 0.008, 5), Winding(0.02, 0.04, 0.006, 0.016, 5)
    one = impedance_over_layers(coil, [Layer(7.2e-7, 3.0)], 40e3)
    assert impedance_over_layers(twice, [Layer(7.2e-7, 3.0)], 10e3) == pytest.approx(one / 2, rel=1e-10)
    rod = impedance_round_rod([0.02, 0.021], [0.0, 0.004], 0.015, 40e3, 7.2e-7, 3.0, bore_radius=0.012)
    double = impedance_round_rod([0.04, 0.042], [0.0, 0.008], 0.03, 10e3, 7.2e-7, 3.0, bore_radius=0.024)
    assert double == pytest.approx(rod / 2, rel=1e-9)


def test_tube_with_a_pinhole_is_a_rod_and_long_coil_meets_the_exact_tube():
    rod = impedance_round_rod(0.02, 0.0, 0.015, 20e3, 1e-6)
    assert impedance_round_rod(0.02, 0.0, 0.015, 20e3, 1e-6, bore_radius=1e-6) == pytest.approx(rod, rel=1e-8)
    pitch = 1e-3
    short, long = (
        impedance_round_rod(0.02, 0.0, 0.015, 20e3, 1e-6, 1.0, 0.013, sheet_length=s).real * (s / pitch) ** 2
        for s in (0.5, 1.0)
    )
    power, _ = tube_power(0.015, 0.013, 1 / pitch, 20e3, 1e-6)
    assert (long - short) / 0.5 == pytest.approx(float(power), rel=1e-3)


def test_refusals():
    with pytest.raises(BadInput, match="bottom: must be finite and above zero"):
        impedance_over_layers(Winding(0.01, 0.02, 0.0, 0.008, 5), [Layer(7.2e-7)], 1e4)
    with pytest.raises(BadInput, match="greater than the rod's radius"):
        impedance_round_rod(0.01, 0.0, 0.01, 1e4, 1e-6)
    with pytest.raises(BadInput, match="every layer but the last"):
        impedance_over_layers(Winding(0.01, 0.02, 0.001, 0.008, 5), [Layer(7e-7), Layer(7e-7, 1, 1e-3)], 1e4)
    with pytest.raises(BadInput, match="outer_radius"):
        Winding(0.02, 0.01, 0.0, 0.1, 1)
    with pytest.raises(BadInput, match="radial width"):
        air_inductance(Winding(0.02, 0.02, 0.0, 0.1, 1))
