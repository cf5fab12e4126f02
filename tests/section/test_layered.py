"""Meshes of sloped and curved outlines: sound elements, right volumes, and the same field as a lattice gives."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coilwright as cw
import coilwright.section.meshing as meshing
from coilwright.errors import BadInput
from coilwright.section.core import core_quads
from coilwright.section.layered import mesh_layered
from coilwright.section.outline import Outline
from coilwright.section.quad9 import quad_table
from coilwright.section.sizes import BodySize, MeshRule, Surroundings
from tests.heating.jobs import WASHER

MM = 1e-3
QUARTER = math.tan(math.pi / 8)  # bulge of a quarter circle
ALONE = Surroundings(np.empty((0, 9)), np.empty((0, 2)))


def loop(*points, bulges=None):
    return Outline.closed(np.array(points) * MM, bulges)


SHAPES = {
    "flat dome": [loop((0, 5), (10, 0), (10, -25), (11, -25), (11, 0), (0, 6))],
    "bulb": [loop((11, -25), (11, 0), (0, 11), (0, 10), (10, 0), (10, -25), bulges=[0, QUARTER, 0, -QUARTER, 0, 0])],
    "cone": [loop((0, 0), (10, 0), (6, 20), (0, 20))],
    "triangle": [loop((5, 0), (15, 0), (10, 8))],
    "chamfered shaft": [loop((0, 0), (10, 0), (10, 20), (7, 23), (7, 50), (0, 50))],
    "lens": [loop((5, 0), (15, 0), (15, 10), (5, 10), bulges=[0.3, 0, 0.3, 0])],
    "block with a bore": [
        Outline.rectangle((5 * MM, 20 * MM), (0, 15 * MM)),
        Outline.circle((12 * MM, 7 * MM), 3 * MM),
    ],
}
SIZES = {
    "glass": BodySize(conducting=False),
    "thick skin": BodySize(5e-3, 5e-3),
    "skin": BodySize(0.5e-3, 0.5e-3),
    "thin skin": BodySize(0.1e-3, 0.1e-3),
}


def determinants(mesh):
    t = quad_table()
    at = mesh.points[mesh.quads]
    r_xi, z_xi, r_eta, z_eta = (at[:, :, k] @ d for d in (t.d_xi, t.d_eta) for k in (0, 1))
    return r_xi * z_eta - r_eta * z_xi


@pytest.mark.parametrize("level", ["coarse", "normal", "fine"])
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("shape", SHAPES)
def test_elements_are_sound_and_volumes_right(shape, size, level):
    loops = SHAPES[shape]
    mesh = mesh_layered("it", loops, SIZES[size], MeshRule(level=level), ALONE)
    det = determinants(mesh)
    assert np.all(np.abs(np.sign(det).sum(axis=1)) == det.shape[1])
    volume = loops[0].volume - sum(hole.volume for hole in loops[1:])
    assert mesh.volume() == pytest.approx(volume, rel=3e-4 if level == "coarse" else 3e-5)
    ends = mesh.boundary.edges[:, [0, 2]]
    on_axis = mesh.on_axis[ends]
    nodes, count = np.unique(ends[~on_axis], return_counts=True)
    assert np.all(count == 2), nodes[count != 2]  # closed loops, up to where they meet the axis


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.6, 1.0), st.floats(0.7, 1.3)), min_size=5, max_size=9),
    st.sampled_from(sorted(SIZES)),
)
def test_star_shaped_profiles(wobble, size):
    angle = np.linspace(0, 2 * math.pi, len(wobble), endpoint=False)
    radius = 6 * np.array([w[0] for w in wobble])
    loops = [loop(*zip(12 + radius * np.cos(angle), radius * np.sin(angle), strict=True))]
    mesh = mesh_layered("it", loops, SIZES[size], MeshRule(), ALONE)
    assert mesh.volume() == pytest.approx(loops[0].volume, rel=1e-9)


@pytest.mark.parametrize(("frequency", "mu"), [("10 kHz", 1), ("100 kHz", 1), ("10 kHz", 30)])
def test_same_field_as_a_lattice(monkeypatch, frequency, mu):
    """A straight bar meshed in layers against the tensor lattice at its fine level."""
    text = WASHER.replace('kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm"',
                          'kind = "bar", diameter = "14 mm", length = "30 mm"')  # fmt: skip
    text = text.replace('centre = "3 mm"', 'centre = "-7.5 mm"').replace("100 kHz", frequency)
    text = text.replace("relative_permeability = 1", f"relative_permeability = {mu}")
    job = cw.loads(text)
    fine = cw.field(job, level="fine", estimate_error=False).result
    lattice = meshing.mesh_rectilinear

    def layered(names, outlines, sizes, rule, around):
        if names[0] != "washer":
            return lattice(names, outlines, sizes, rule, around)
        return mesh_layered(names[0], outlines[0], sizes[0], rule, around)

    monkeypatch.setattr(meshing, "mesh_rectilinear", layered)
    here = cw.field(job, estimate_error=False).result
    assert here.body_powers["washer"] == pytest.approx(fine.body_powers["washer"], rel=5e-4)
    assert here.loaded.inductance == pytest.approx(fine.loaded.inductance, rel=1.5e-4)


def test_a_lost_edge_gives_no_core():
    crossing = np.array([[0, 0], [0.5, 0.25], [1, 1], [0.5, 0.5], [0, 1], [0.5, 0.9], [1, 0], [0.5, 0.1]], float)
    assert core_quads([np.repeat(crossing, 4, axis=0)], 0.5) is None


def test_hopeless_outlines_are_refused_in_a_sentence():
    needle = loop((0, 0), (10, 0), (10, 1e-4), (0, 1.0001e-4))
    try:
        mesh = mesh_layered("needle", [needle], SIZES["skin"], MeshRule(), ALONE)
    except BadInput as error:
        assert "simplify its outline" in str(error)
    else:
        assert mesh.volume() == pytest.approx(needle.volume, rel=1e-6)
