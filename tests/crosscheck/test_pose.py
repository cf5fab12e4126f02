"""Real tube turns with a gap of 1 mm, set aside and tilted, against own three-dimensional runs of the library ngsolve.

There the turns' currents crowd as the pose drives them; here they stay as they flow in line. pose_reference.json holds runs of
ngsolve_pose.py at two resolutions; what is held is as fine as the last refinement, or the crowding, allows.
"""

import json
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coilwright.field.inputs import FieldModel
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose
from coilwright.field.solve import Field
from tests.crosscheck.ngsolve_pose import CASES
from tests.field.cases import FINE, block, body, coil

REFERENCE = json.loads(Path(__file__).with_name("pose_reference.json").read_text(encoding="utf-8"))["cases"]
every_case = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name.split(",")[0].replace(" ", "-"))


@cache
def ours(case):
    f, (radius, half) = case.frequency, [1e-3 * x for x in case.bar]
    turns = [(1e-3 * r, 1e-3 * z, *(1e-3 * d for d in case.tube), case.rho_turn) for r, z in case.turns]
    bar = body("bar", block(0.0, radius, -half, half, f, case.rho_bar, 1.0, FINE, "bar"), case.rho_bar)
    solver = Field.of(FieldModel(coil(turns, f, FINE), (bar,), f))
    return PosePart.of(solver), solver.state().impedance


def read(case, pose):
    """Power of the bar (W), its cos and cos 2 shares round the axis, and R, L of the coil as the pose changes them."""
    part, in_line = ours(case)
    azimuth = 2 * np.pi * np.arange(24) / 24
    loss = np.array([part.inside.inside.power(row) for row in part.loss_map(pose, azimuth)])
    added = part.answers(np.array([[0.0] * 6, [pose.offset_x, 0, 0, 0, pose.tilt_y, 0]]), ["bar"])[1]
    z = in_line + added[1] - added[0]
    moments = [float(np.mean(loss * np.cos(n * azimuth)) / loss.mean()) for n in (1, 2)]
    return float(part.power(pose)[0][0]), moments, z.real, z.imag / (2 * math.pi * case.frequency)


def stages(case):
    return list(REFERENCE[case.name].values())


def out_of(case):
    return Pose(1e-3 * case.offset, tilt_y=math.radians(case.tilt))


@every_case
def test_three_dimensions_in_line_are_the_axisymmetric_solution(case):
    """What the 3-D mesh resolves, told by the case that two dimensions know to 1e-5."""
    power, _, resistance, inductance = read(case, Pose())
    row = stages(case)[-1]["in line"]
    assert row["bar_W"] == pytest.approx(power, rel=2e-4)
    assert row["R_ohm"] == pytest.approx(resistance, rel=2e-4)
    assert row["L_H"] == pytest.approx(inductance, rel=3e-4)
    assert abs(row["cos"]) < 1e-4


@every_case
def test_bar_of_a_coil_out_of_line(case):
    power, (first, second), resistance, inductance = read(case, out_of(case))
    row = stages(case)[-1]["out of line"]
    assert row["bar_W"] == pytest.approx(power, rel=3e-4)
    assert row["cos"] == pytest.approx(first, abs=3e-4)
    assert row["cos_2"] == pytest.approx(second, abs=1e-4)
    assert row["R_ohm"] == pytest.approx(resistance, rel=6e-4)  # the turns' own extra loss by crowding is not in ours
    assert row["L_H"] == pytest.approx(inductance, rel=3e-4)


@every_case
def test_change_of_power_with_the_pose(case):
    """dP / P, in which most of the error of the mesh drops out."""
    mine = read(case, out_of(case))[0] / read(case, Pose())[0] - 1.0
    rows = stages(case)[-1]
    assert rows["out of line"]["bar_W"] / rows["in line"]["bar_W"] - 1.0 == pytest.approx(mine, abs=2.5e-4)
    assert mine > 2e-3


@every_case
def test_refinement_closes_in_on_ours(case):
    power = read(case, out_of(case))[0]
    rough, fine = (abs(s["out of line"]["bar_W"] / power - 1.0) for s in stages(case))
    assert fine < 0.3 * rough
