"""Without numba the very same functions run in the interpreter and give the same numbers."""

import subprocess
import sys

import pytest

PROGRAM = """
import sys
if {without}: sys.modules["numba"] = None
import numpy as np
from coilwright.field.inputs import CoilModel, ConductorTurn, FieldModel
from coilwright.field.solve import solve_field
from coilwright.section.blocks import disc
mesh = disc((0.01, 0.0), np.array([0.0, 0.5e-3, 1e-3]), 4, "turn")
coil = CoilModel((ConductorTurn(mesh, 1.7e-8), ConductorTurn(mesh, 1.7e-8, shift=3e-3)))
result = solve_field(FieldModel(coil, (), 1e4, {{"middle": (0.0, 1e-3)}}))
print(repr(result.loaded.inductance), repr(result.loaded.resistance), repr(abs(result.points["middle"][1])))
"""


def numbers(without):
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(without=without)], capture_output=True, text=True, check=True
    )
    return [float(x) for x in done.stdout.replace("np.float64(", "").replace(")", "").split()]


def test_numbers_do_not_depend_on_numba():
    assert numbers(True) == pytest.approx(numbers(False), rel=1e-12)
