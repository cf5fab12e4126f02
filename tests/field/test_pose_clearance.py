"""Coil and bodies out of line: when they touch."""

import math

import pytest

from coilwright.errors import BadInput
from coilwright.field.pose_clearance import check_poses, pose_clearance
from coilwright.field.pose_incident import Pose
from coilwright.section.geometry import Section, SectionBody, turn_outline
from coilwright.section.outline import Outline


def section():
    bar = SectionBody("bar", "work", "steel", (Outline.rectangle((0.0, 5e-3), (-20e-3, 20e-3)),), "bar")
    turn = turn_outline(1, 10e-3, 0.0, 1.0, "round tube", outside=4e-3, bore=2e-3)
    return Section((bar,), (turn,))


def test_clearance_in_line_and_sideways():
    assert pose_clearance(section(), Pose()) == pytest.approx(3e-3, abs=2e-5)
    assert pose_clearance(section(), Pose(1e-3)) == pytest.approx(2e-3, abs=2e-5)
    assert pose_clearance(section(), Pose(0.6e-3, -0.8e-3, 5e-3)) == pytest.approx(2e-3, abs=2e-5)
    assert pose_clearance(section(), Pose(3.5e-3)) < 0.0


def test_clearance_when_tilted():
    """A bar much longer than the coil: nearest is the circle of the turn's middle line, radius R cos(tilt), from the
    side (exact for the torus: distance of its middle line from the bar, less the wire)."""
    tilt = 0.3
    assert pose_clearance(section(), Pose(tilt_y=tilt)) == pytest.approx(10e-3 * math.cos(tilt) - 7e-3, abs=5e-5)


def test_tilt_about_a_far_pivot_is_an_offset():
    far = Pose(tilt_y=0.1, pivot=-20e-3)
    near = Pose(offset_x=20e-3 * math.sin(0.1), axial=20e-3 * (math.cos(0.1) - 1), tilt_y=0.1)
    assert pose_clearance(section(), far) == pytest.approx(pose_clearance(section(), near), abs=1e-12)


def test_the_offending_draw_is_named():
    poses = [Pose(), Pose(3.2e-3), Pose(1e-3), Pose(0, -4e-3)]
    with pytest.raises(BadInput) as told:
        check_poses(section(), poses)
    assert [f.where for f in told.value.faults] == ["poses: draw 2", "poses: draw 4"]
    assert 'turn 1 and "bar" overlap by' in str(told.value)
    assert check_poses(section(), poses[::2]) == pytest.approx([3e-3, 2e-3], abs=2e-5)
    with pytest.raises(BadInput, match=r"2\.5 mm apart"):
        check_poses(section(), poses[::2], least=2.5e-3)
