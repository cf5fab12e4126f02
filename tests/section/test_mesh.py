"""Volumes and areas of revolution against elementary geometry; boundary orientation."""

import numpy as np
import pytest

from coilwright.section.blocks import disc, graded, half_disc, rectangle
from coilwright.section.mesh import union


def test_rectangle_volume_and_area():
    mesh = rectangle(graded(0.02, 0.05, 1e-3), graded(-0.01, 0.03, 1e-3), "ring")
    assert mesh.volume() == pytest.approx(np.pi * (0.05**2 - 0.02**2) * 0.04, rel=1e-12)
    area = 2 * np.pi * 0.04 * (0.05 + 0.02) + 2 * np.pi * (0.05**2 - 0.02**2)
    assert mesh.surface_area() == pytest.approx(area, rel=1e-12)


def test_torus_is_pappus():
    mesh = disc((0.012, 0.0), [0, 0.5e-3, 1.25e-3, 1.6e-3, 2e-3], 16, "turn", bore=(1.25e-3, "bore"))
    assert mesh.volume() == pytest.approx(2 * np.pi**2 * 0.012 * 4e-6, rel=2e-4)
    assert mesh.volume("bore") == pytest.approx(2 * np.pi**2 * 0.012 * 1.25e-3**2, rel=2e-4)
    assert mesh.surface_area() == pytest.approx(4 * np.pi**2 * 0.012 * 2e-3, rel=2e-4)


def test_ball():
    mesh = half_disc(0.0, graded(0, 0.01, 1e-3, ends="end"), 16, "ball")
    assert mesh.volume() == pytest.approx(4 / 3 * np.pi * 1e-6, rel=2e-4)
    assert mesh.on_axis[mesh.boundary.edges].sum() == 2


def test_normals_point_out_of_every_body():
    both = union([rectangle([0, 0.01], [0, 0.02], "bar"), disc((0.03, 0.0), [0, 1e-3, 2e-3], 12, "turn")])
    for edge in both.boundary.points:
        tangent = edge[2] - edge[0]
        out = np.array([tangent[1], -tangent[0]])
        inside = np.array([0.005, 0.01]) if edge[1, 0] < 0.02 else np.array([0.03, 0.0])
        assert out @ (edge[1] - inside) > 0


def test_region_names_must_differ():
    bar = rectangle([0, 0.01], [0, 0.02], "bar")
    with pytest.raises(ValueError, match="must differ"):
        union([bar, bar])


@pytest.mark.parametrize("ends", ["both", "start", "end"])
def test_graded_is_monotone_and_hits_both_ends(ends):
    x = graded(1.0, 3.0, 0.01, 1.5, 0.4, ends=ends)
    assert x[0] == 1.0
    assert x[-1] == 3.0
    assert np.all(np.diff(x) > 0)
    assert np.diff(x).max() < 0.45
