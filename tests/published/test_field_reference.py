"""The field of coil and part at the tool's default meshes against converged computations by another method.

Source: data/field_reference.json, own converged ngsolve runs (axisymmetric, high order, with a meshed air space), 1 A rms.
A: washer before a helix of four tube turns, five distances; B: washer over a flat coil of five rings, four gaps; D: bar in a
helix of eight turns. This compares computation with computation, not with measurement.
"""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coilwright.field.solve import solve_field
from tests.field.sections import reference_model

CASES = json.loads((Path(__file__).parent / "data" / "field_reference.json").read_text(encoding="utf-8"))["cases"]
by_name = pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"].replace(" ", "-"))


@cache
def solved(number):
    return solve_field(reference_model(CASES[number]), coarse=reference_model(CASES[number], "coarse"))


def result_of(case):
    return solved(CASES.index(case))


def errors(case):
    """(actual, estimated) relative errors of R, L and part power."""
    result, want = result_of(case), case["result"]
    return {
        "R": (result.loaded.resistance / want["R"] - 1.0, result.error.resistance),
        "L": (result.loaded.inductance / want["L"] - 1.0, result.error.inductance),
        "P": (result.body_powers["part"] / want["P_part"] - 1.0, result.error.power["part"]),
    }


@by_name
def test_resistance_inductance_and_power(case):
    actual = {name: abs(pair[0]) for name, pair in errors(case).items()}
    assert actual["R"] < 1e-4 and actual["L"] < 5e-5 and actual["P"] < 5e-5


@by_name
def test_error_estimate_is_never_three_times_too_small(case):
    for name, (actual, estimated) in errors(case).items():
        assert abs(actual) < 3.0 * estimated, name


@by_name
def test_empty_coil_turn_powers_and_balance(case):
    result, want = result_of(case), case["result"]
    assert result.unloaded.resistance == pytest.approx(want["R0"], rel=1e-4)
    assert result.unloaded.inductance == pytest.approx(want["L0"], rel=5e-5)
    listed = len(want["P_turns"])
    assert result.turn_powers[-listed:] == pytest.approx(want["P_turns"], rel=3e-4)
    assert result.power_mismatch < 3e-5


@by_name
def test_flux_density_at_points(case):
    """Deep inside the bar B is a slope of A where it has decayed to a few per cent, hence the wider margin there."""
    result, want = result_of(case), case["result"]
    for name, b in result.points.items():
        reference = want["B_" + name]
        actual = float(np.linalg.norm(b)) / reference - 1.0
        assert abs(actual) < (2e-3 if name == "inside" else 1e-4), name
        assert abs(actual) < 3.0 * result.error.flux_density[name] + 3e-5, name  # 3e-5: the reference's own error
