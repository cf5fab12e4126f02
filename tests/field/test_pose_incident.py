"""The coil's field in any pose against a plain sum over short pieces of wire, and symmetry of the poses."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.exterior import MU0
from coilwright.field.pose_incident import Pose, filament_rings, incident, pose_rows

RINGS = filament_rings([12e-3, 15e-3], [-4e-3, 3e-3], np.array([1.0, 0.5 - 0.25j]))
AT = np.array([[3e-3, 1e-3], [8e-3, -2e-3], [1e-6, 4e-3]])
POSES = [
    Pose(),
    Pose(1e-3, -2e-3, 0.5e-3),
    Pose(tilt_x=0.1, pivot=2e-3),
    Pose(1e-3, 2e-3, 1e-3, 0.07, -0.12, 3e-3),
    Pose(1.5e-3, 0, 0, 0, 0.1, 1e-3),
]


def by_pieces(pose, points, pieces=2000):
    """A (Wb/m) and H (A/m) of the posed rings at points (n, 3) by Biot and Savart's sum."""
    t = 2 * np.pi * (np.arange(pieces) + 0.5) / pieces
    A, H = np.zeros((len(points), 3), complex), np.zeros((len(points), 3), complex)
    pivot, shift = np.array([0, 0, pose.pivot]), np.array([pose.offset_x, pose.offset_y, pose.axial])
    for a, z, current in zip(RINGS.radius, RINGS.z, RINGS.current, strict=True):
        wire = np.stack([a * np.cos(t), a * np.sin(t), np.full_like(t, z)], axis=1)
        wire = (wire - pivot) @ pose.rotation.T + pivot + shift
        piece = np.stack([-a * np.sin(t), a * np.cos(t), 0 * t], axis=1) @ pose.rotation.T * (2 * np.pi / pieces)
        away = points[:, None] - wire
        distance = np.linalg.norm(away, axis=2)[:, :, None]
        A += MU0 * current * np.sum(piece / distance, axis=1) / (4 * np.pi)
        H += current * np.sum(np.cross(piece[None], away) / distance**3, axis=1) / (4 * np.pi)
    return A, H


@pytest.mark.parametrize("pose", POSES)
def test_field_against_pieces_of_wire(pose):
    found = incident(RINGS, AT, pose_rows(pose), 8, 36)
    for i, (r, z) in enumerate(AT):
        angle = 2 * np.pi * np.arange(48) / 48
        c, s = np.cos(angle), np.sin(angle)
        A, H = by_pieces(pose, np.stack([r * c, r * s, np.full_like(c, z)], axis=1))
        mean = r * np.mean(A[:, 1] * c - A[:, 0] * s)
        size = abs(H).max()
        assert found.potential[0, i] == pytest.approx(mean, abs=1e-9 * MU0 * r * r * size + 1e-22, rel=1e-8)
        local = np.array([H[:, 0] * c + H[:, 1] * s, H[:, 1] * c - H[:, 0] * s, H[:, 2]])
        for k, m in enumerate([*range(9), *range(-1, -9, -1)]):
            wanted = np.mean(local * np.exp(-1j * m * angle), axis=1)
            assert found.field[:, k, 0, i] == pytest.approx(wanted, abs=1e-7 * size)


def test_tilt_convention():
    """tilt_y > 0 lowers the +x side."""
    assert (Pose(tilt_y=0.1).rotation @ [1, 0, 0])[2] == pytest.approx(-math.sin(0.1))
    assert (Pose(tilt_x=0.1).rotation @ [0, 1, 0])[2] == pytest.approx(math.sin(0.1))


def test_bad_poses_and_rings():
    with pytest.raises(BadInput, match="offset_x must be finite"):
        Pose(offset_x=math.nan)
    with pytest.raises(BadInput, match="draw 2"):
        pose_rows(np.array([[0.0] * 6, [0, 0, math.inf, 0, 0, 0]]))
    with pytest.raises(BadInput, match="six numbers"):
        pose_rows(np.zeros((3, 5)))
    with pytest.raises(BadInput, match="positive radii"):
        filament_rings([-1.0], [0.0])
