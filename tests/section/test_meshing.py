"""Meshes of a section: sound elements, right volumes, shared turns, sizes by the rule."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.section import shapes
from coilwright.section.geometry import Section, SectionBody, SectionPoint, turn_outline
from coilwright.section.meshing import mesh_section
from coilwright.section.quad9 import quad_table
from coilwright.section.sizes import BodySize, MeshRule

MM = 1e-3
MU0 = 4e-7 * math.pi


def skin_depth(frequency, resistivity, mu=1.0):
    return math.sqrt(resistivity / (math.pi * frequency * MU0 * mu))


def body(name, *outlines, group=None):
    return SectionBody(name, "work", "steel", outlines, group or name)


def helix(turns, mean_diameter, pitch, centre, kind="round tube", **size):
    rings = shapes.helix_rings(turns, mean_diameter, pitch, centre)
    return tuple(turn_outline(i + 1, *ring, kind, **size) for i, ring in enumerate(rings))


RING_JOB = Section(
    (body("ring", shapes.ring(9 * MM, 5 * MM, 0.6 * MM)),),
    helix(4, 24 * MM, 5 * MM, 12 * MM, outside=4 * MM, bore=2.5 * MM),
)
RING_SIZES = {"ring": BodySize(skin_depth(1e5, 0.72e-6)), "coil": BodySize(skin_depth(1e5, 1.72e-8))}
BAR_JOB = Section(
    (body("bar", shapes.bar(20 * MM, 60 * MM)),),
    helix(8, 36 * MM, 8 * MM, 0.0, outside=6 * MM, bore=4 * MM),
)
BAR_SIZES = {"bar": BodySize(0.45 * MM, 4.9 * MM, 5 * MM), "coil": BodySize(skin_depth(1e4, 1.72e-8))}


def assert_sound(mesh):
    """Every element's Jacobian has one sign at all Gauss points; boundary edges form closed loops off the axis."""
    table = quad_table()
    at = mesh.points[mesh.quads]
    r_xi, r_eta = at[:, :, 0] @ table.d_xi, at[:, :, 0] @ table.d_eta
    z_xi, z_eta = at[:, :, 1] @ table.d_xi, at[:, :, 1] @ table.d_eta
    det = r_xi * z_eta - r_eta * z_xi
    assert np.all(np.abs(np.sign(det).sum(axis=1)) == det.shape[1])
    ends = np.bincount(mesh.boundary.edges[:, [0, 2]].ravel(), minlength=len(mesh.points))
    assert np.all((ends % 2 == 0) | mesh.on_axis)
    assert np.all(mesh.points[:, 0] >= 0.0)
    # the divergence theorem over the boundary gives the volume the elements give: no crack, no overlap
    p = mesh.boundary.points
    x = np.array([-math.sqrt(0.6), 0.0, math.sqrt(0.6)])
    shape = np.stack([0.5 * x * (x - 1), 1 - x * x, 0.5 * x * (x + 1)])
    slope = np.stack([x - 0.5, -2 * x, x + 0.5])
    r, dz = p[:, :, 0] @ shape, p[:, :, 1] @ slope
    assert np.sum(math.pi * r**2 * dz * np.array([5, 8, 5]) / 9) == pytest.approx(mesh.volume(), rel=1e-5)


@pytest.mark.parametrize(("section", "sizes"), [(RING_JOB, RING_SIZES), (BAR_JOB, BAR_SIZES)], ids=["ring", "bar"])
def test_typical_jobs_are_small_and_sound(section, sizes):
    mesh = mesh_section(section, sizes)
    assert 150 <= mesh.boundary_unknowns <= 400
    assert len({id(t.base) for t in mesh.turns}) == 1
    for group in mesh.groups:
        assert_sound(group.mesh)
        assert group.mesh.volume() == pytest.approx(section.bodies[0].volume, rel=1e-12)
    for turn, drawn in zip(mesh.turns, section.turns, strict=True):
        assert_sound(turn.mesh)
        copper = drawn.outer.volume - drawn.bore.volume
        assert turn.mesh.volume("turn") == pytest.approx(copper, rel=1e-4)
        assert turn.mesh.volume("bore") == pytest.approx(drawn.bore.volume, rel=1e-4)


def test_levels_form_a_family():
    edges = [
        len(mesh_section(BAR_JOB, BAR_SIZES, MeshRule(level=level)).groups[0].mesh.boundary.edges)
        for level in ("coarse", "normal", "fine")
    ]
    assert edges[1] / edges[0] == pytest.approx(1.7, rel=0.12)
    assert edges[2] / edges[1] == pytest.approx(1 / 0.6, rel=0.12)


def test_no_surface_element_is_longer_than_the_distance_to_the_nearest_other_surface():
    flat = tuple(
        turn_outline(i + 1, *ring, "round tube", outside=3 * MM, bore=2 * MM)
        for i, ring in enumerate(shapes.spiral_rings(5, 12 * MM, 44 * MM, 0.0))
    )
    section = Section((body("disc", shapes.bar(30 * MM, 2 * MM, 3.1 * MM)),), flat)
    sizes = {"disc": BodySize(5 * MM), "coil": BodySize(0.2 * MM)}
    mesh = mesh_section(section, sizes)
    p = mesh.groups[0].mesh.boundary.points
    for turn in flat:
        gap = np.hypot(p[:, :, 0] - turn.r, p[:, :, 1] - turn.z).min(axis=1) - 1.5 * MM
        length = np.hypot(*(p[:, 2] - p[:, 0]).T)
        assert np.all(length < 1.25 * gap)


def test_a_named_point_asks_for_shorter_elements():
    wide = Section((body("disc", shapes.bar(100 * MM, 100 * MM)),))
    near = Section(wide.bodies, points=(SectionPoint("pyrometer spot", 52 * MM, 20 * MM),))
    sizes = {"disc": BodySize(5 * MM)}
    assert _length_at(mesh_section(wide, sizes), 20 * MM) > 4 * MM
    assert _length_at(mesh_section(near, sizes), 20 * MM) < 3.2 * MM


def _length_at(mesh, z):
    p = mesh.groups[0].mesh.boundary.points
    low, high = p[:, [0, 2], 1].min(axis=1), p[:, [0, 2], 1].max(axis=1)
    hit = (p[:, 1, 0] > 49.9 * MM) & (low <= z) & (z < high)
    return float((high - low)[hit][0])


def test_coil_that_will_be_moved_gets_a_mesh_for_all_its_places():
    far = mesh_section(RING_JOB.with_coil_moved(20 * MM), RING_SIZES)
    both = mesh_section(RING_JOB.with_coil_moved(20 * MM), RING_SIZES, coil_shifts=(0.0, -20 * MM))
    near = mesh_section(RING_JOB, RING_SIZES)
    assert both.boundary_unknowns >= max(far.boundary_unknowns, near.boundary_unknowns)


@pytest.mark.parametrize(
    ("kind", "size", "copper"),
    [
        ("round wire", {"diameter": 2 * MM}, math.pi * MM**2),
        ("litz", {"diameter": 3 * MM}, 2.25 * math.pi * MM**2),
        ("strip", {"width": 1 * MM, "height": 8 * MM}, 8 * MM**2),
        ("rectangular tube", {"width": 6 * MM, "height": 8 * MM, "wall": 1 * MM}, 24 * MM**2),
    ],
)
def test_conductor_sections(kind, size, copper):
    section = Section((), helix(3.5, 40 * MM, 10 * MM, 0.0, kind, **size))
    mesh = mesh_section(section, {"coil": BodySize(0.2 * MM)})
    assert [t.weight for t in mesh.turns] == [1, 1, 1, 0.5]
    assert mesh.turns[0].mesh.volume("turn") == pytest.approx(2 * math.pi * 20 * MM * copper, rel=1e-4)
    assert_sound(mesh.turns[3].mesh)
    assert len(mesh.turns[0].mesh.boundary.edges) < 80


def test_joined_bodies_share_the_nodes_of_their_common_face():
    pipe = body("pipe", shapes.ring(20 * MM, 16 * MM, 40 * MM), group="joint")
    collar = body("collar", shapes.ring(26 * MM, 20 * MM, 10 * MM, 5 * MM), group="joint")
    sizes = {"pipe": BodySize(0.5 * MM), "collar": BodySize(0.2 * MM)}
    mesh = mesh_section(Section((pipe, collar)), sizes).groups[0].mesh
    assert_sound(mesh)
    assert mesh.regions == ("pipe", "collar")
    for b in (pipe, collar):
        assert mesh.volume(b.name) == pytest.approx(b.volume, rel=1e-12)
    p = mesh.boundary.points
    inside = (np.abs(p[:, 1, 0] - 10 * MM) < 1e-9) & (p[:, 1, 1] > 0.0) & (p[:, 1, 1] < 10 * MM)
    assert not np.any(inside)  # the common face is no surface


def test_glass_has_two_elements_through_the_wall_and_few_along_it():
    bulb = body("bulb", shapes.ring(18 * MM, 16 * MM, 60 * MM))
    mesh = mesh_section(Section((*RING_JOB.bodies, bulb)), RING_SIZES).groups[1].mesh
    assert_sound(mesh)
    across = np.unique(np.round(mesh.points[:, 0] / 1e-9))
    assert len(across) == 5
    assert len(mesh.quads) <= 160


@settings(deadline=None, max_examples=40)
@given(
    st.floats(1, 100),
    st.floats(0.05, 0.95),
    st.floats(0.02, 20),
    st.floats(-4, 1),
    st.sampled_from(["ring", "bar", "ball", "wire", "up", "inwards", "outwards"]),
    st.sampled_from(["coarse", "normal", "fine"]),
)
def test_any_shape_at_any_skin_depth(diameter, inner, slender, depth, kind, level):
    d, height = diameter * MM, diameter * slender * MM
    outline = {
        "ring": lambda: shapes.ring(d, inner * d, height),
        "bar": lambda: shapes.bar(d, height),
        "ball": lambda: shapes.ball(d),
        "wire": lambda: shapes.wire_ring(d, 0.9 * inner * d),
    }.get(kind)
    wall = 0.3 * min(height, 0.5 * d * (1 - inner))
    o = outline() if outline else shapes.channel_ring(d, inner * d, height, wall, kind)
    rule, depth_m = MeshRule(level=level), max(d * 10**depth, 1e-5)
    mesh = mesh_section(Section((body("it", o),)), {"it": BodySize(depth_m)}, rule).groups[0].mesh
    assert_sound(mesh)
    straight = kind not in ("ball", "wire")
    assert mesh.volume() == pytest.approx(o.volume, rel=1e-12 if straight else 5e-4 if level == "coarse" else 1e-4)
    per_side = 10 + 6 * math.log1p(
        o.lengths.max() / depth_m
    )  # grading costs a logarithm, not a power, of the skin depth
    assert len(mesh.boundary.edges) < len(o.bulges) * per_side / rule.scale


@pytest.mark.parametrize("share", [0.25, 0.15])
def test_elements_are_small_where_a_curie_front_passes_and_grow_below(share):
    front = 2 * MM
    section = Section((body("bar", shapes.bar(24 * MM, 80 * MM)),))
    mesh = mesh_section(section, {"bar": BodySize(0.2 * MM, front, front, share)}).groups[0].mesh
    across = np.unique(np.round(mesh.points[np.isclose(mesh.points[:, 1], mesh.points[0, 1]), 0], 9))[::2]
    depth, length = 12 * MM - 0.5 * (across[1:] + across[:-1]), np.diff(across)
    assert length[depth < 1.5 * front].max() <= 1.05 * share * front
    assert length.max() > 2.0 * share * front
    assert len(length) < 12 * MM / (share * front)


def test_elements_are_longer_only_where_the_coil_is_far():
    """A bar through a coil of a third of its length, and through one of its whole length: elements under the coil are alike,
    and what is longer keeps to the rule: from half the field on as 1/H - 1 of a loop's field on its axis, five times at most."""
    bar = shapes.bar(12 * MM, 90 * MM)
    size = {"bar": BodySize(0.1 * MM, 2 * MM, 2 * MM), "coil": BodySize(skin_depth(1.5e5, 1.72e-8))}

    def steps(turns):
        section = Section((body("bar", bar),), helix(turns, 21 * MM, 6 * MM, 0.0, outside=5 * MM, bore=3.5 * MM))
        points = mesh_section(section, size).groups[0].mesh.points
        z = np.unique(np.round(points[np.isclose(points[:, 0], 6 * MM), 1], 9))[::2]
        return 0.5 * (z[1:] + z[:-1]), np.diff(z)

    (short_at, short), (full_at, full) = steps(5), steps(17)
    assert short[np.abs(short_at) < 12 * MM].max() == pytest.approx(full[np.abs(full_at) < 12 * MM].max(), rel=0.1)
    assert full[0] < short[0] < 5.5 * full[0]
    assert len(short) < 0.8 * len(full)
