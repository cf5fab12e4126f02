"""Laws any coil out of line must keep, whatever part and pose."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coilwright.field.inputs import FieldModel
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose, filament_rings
from coilwright.field.solve import Field
from tests.field.cases import COARSE, block, body

F = 5e4
few = settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])

parts = st.builds(
    lambda inner, wall, height, rho, mu: (inner, inner + wall, height, rho, mu),
    st.floats(1e-3, 4e-3),
    st.floats(0.8e-3, 4e-3),
    st.floats(1e-3, 10e-3),
    st.floats(1e-7, 2e-6),
    st.sampled_from([1.0, 5.0]),
)
poses = st.builds(
    Pose,
    st.floats(-1.5e-3, 1.5e-3),
    st.floats(-1.5e-3, 1.5e-3),
    st.floats(-3e-3, 3e-3),
    st.floats(-0.1, 0.1),
    st.floats(-0.1, 0.1),
    st.floats(-5e-3, 5e-3),
)


def prepared(inner, outer, height, rho, mu):
    mesh = block(inner, outer, -height / 2, height / 2, F, rho, mu, COARSE, "part")
    model = FieldModel(None, (body("part", mesh, rho, mu),), F)
    return PosePart.of(Field.of(model), rings=filament_rings([14e-3] * 3, [-5e-3, 0.0, 5e-3]))


@few
@given(parts, poses, st.floats(0.0, 2 * math.pi))
def test_power_is_positive_is_the_change_of_resistance_and_knows_no_azimuth(shape, pose, azimuth):
    part = prepared(*shape)
    reading = part.reading(pose)
    assert min(reading.by_mode) >= -1e-12 * reading.power
    assert reading.mismatch < 1e-3
    turned = part.power(pose.turned(azimuth))[0][0]
    assert turned == pytest.approx(reading.power, rel=1e-6)


@few
@given(parts, poses)
def test_mirror_image_is_the_same(shape, pose):
    """Mirrored in the plane y = 0: offsets in y and tilts about x change sign; that of the current does not matter."""
    part = prepared(*shape)
    mirrored = Pose(pose.offset_x, -pose.offset_y, pose.axial, -pose.tilt_x, pose.tilt_y, pose.pivot)
    assert part.power(mirrored)[1] == pytest.approx(part.power(pose)[1], rel=1e-8, abs=1e-20)
    here, there = part.loss_map(pose, [0.7]), part.loss_map(mirrored, [-0.7])
    assert np.sum(there) == pytest.approx(np.sum(here), rel=1e-8)
