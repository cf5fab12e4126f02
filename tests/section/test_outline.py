"""Outlines against elementary geometry (Pappus, Archimedes) and against each other."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.section import shapes
from coilwright.section.outline import Outline

MM = 1e-3


def test_circle_is_pappus():
    c = Outline.circle((12 * MM, 3 * MM), 2 * MM)
    assert c.area == pytest.approx(math.pi * 4e-6, rel=1e-13)
    assert c.volume == pytest.approx(2 * math.pi * 12 * MM * c.area, rel=1e-13)
    assert c.box == pytest.approx((10 * MM, 14 * MM, 1 * MM, 5 * MM))
    assert c.as_circle is not None
    assert c.as_circle[0] == pytest.approx((12 * MM, 3 * MM))


def test_ball_is_archimedes():
    b = shapes.ball(20 * MM, 5 * MM)
    assert b.volume == pytest.approx(4 / 3 * math.pi * 1e-6, rel=1e-13)
    assert b.as_half_circle == pytest.approx((5 * MM, 10 * MM))
    assert b.box == pytest.approx((0.0, 10 * MM, -5 * MM, 15 * MM))


@pytest.mark.parametrize("opens", shapes.OPENS)
def test_channel_ring_is_a_ring_less_its_groove(opens):
    u = shapes.channel_ring(20 * MM, 10 * MM, 4 * MM, 1 * MM, opens, 1 * MM)
    whole = shapes.ring(20 * MM, 10 * MM, 4 * MM, 1 * MM)
    groove = {
        "up": Outline.rectangle((6 * MM, 9 * MM), (0.0, 3 * MM)),
        "down": Outline.rectangle((6 * MM, 9 * MM), (-1 * MM, 2 * MM)),
        "inwards": Outline.rectangle((5 * MM, 9 * MM), (0.0, 2 * MM)),
        "outwards": Outline.rectangle((6 * MM, 10 * MM), (0.0, 2 * MM)),
    }[opens]
    assert u.volume == pytest.approx(whole.volume - groove.volume, rel=1e-12)
    assert u.box == pytest.approx(whole.box)
    assert not u.contains([groove.vertices.mean(axis=0)])[0]


@pytest.mark.parametrize("rise", [1e-3, 1e-5, 1e-7, 2e-9, 1e-10])
def test_nearly_straight_arc_loses_no_digits(rise):
    """The cap over a chord c of rise s has the area 2/3 c s (1 + O(s^2/c^2))."""
    c = 0.04
    o = Outline.closed([(0.02, 0.0), (0.06, 0.0), (0.06, 0.03), (0.02, 0.03)], [2 * rise / c, 0, 0, 0])
    cap = 2 / 3 * c * rise if rise >= 1e-9 else 0.0
    assert o.area == pytest.approx(0.04 * 0.03 + cap, rel=1e-15, abs=2e-3 * cap + 1e-18)
    assert o.volume == pytest.approx(2 * math.pi * 0.04 * o.area, rel=1e-14)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.integers(3, 12))
@example(1266, 8)
def test_volume_and_inside_of_random_outlines_with_arcs(seed, corners):
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * math.pi, corners) + np.linspace(0, 1e-3, corners))
    v = np.array([0.03, 0.0]) + 0.01 * np.column_stack([np.cos(angle), np.sin(angle)])
    o = Outline.closed(v, rng.uniform(-0.1, 0.15, corners))
    fine = o.polyline(1e-9)
    same = Outline.closed(fine)
    assert same.area == pytest.approx(o.area, rel=1e-4, abs=1e-9)
    assert same.volume == pytest.approx(o.volume, rel=1e-4, abs=1e-11)
    probe = rng.uniform([0.015, -0.015], [0.045, 0.015], (50, 2))
    clear = np.min(np.hypot(*(fine[None] - probe[:, None]).transpose(2, 0, 1)), axis=1) > 2e-4
    assert np.array_equal(o.contains(probe)[clear], same.contains(probe)[clear])
    clockwise = Outline.closed(o.vertices[::-1], -np.roll(o.bulges[::-1], -1))
    assert clockwise.area == pytest.approx(o.area, rel=1e-12)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_distance_is_that_of_fine_polylines(seed):
    rng = np.random.default_rng(seed)

    def one(centre):
        angle = np.sort(rng.uniform(0, 2 * math.pi, 5) + np.linspace(0, 1e-2, 5))
        v = np.array(centre) + 0.01 * np.column_stack([np.cos(angle), np.sin(angle)])
        return Outline.closed(v, rng.uniform(-0.3, 0.4, 5))

    a, b = one((0.03, 0.0)), one((0.03 + rng.uniform(0.0, 0.05), rng.uniform(-0.03, 0.03)))
    near = a.distance_to(b)
    p, q = a.polyline(1e-5), b.polyline(1e-5)
    p, q = (np.concatenate([x + t * (np.roll(x, -1, axis=0) - x) for t in np.linspace(0, 1, 10)]) for x in (p, q))
    rough = np.min(np.hypot(*(p[:, None] - q[None]).transpose(2, 0, 1)))
    assert near.distance <= rough + 2e-5  # twice the tolerance of the polylines
    assert near.distance >= rough - 1.5e-3
    assert math.dist(near.here, near.there) == pytest.approx(near.distance, abs=1e-15)
    assert b.distance_to(a).distance == pytest.approx(near.distance, abs=1e-12)


def test_distance_between_turns_and_ring():
    turn = Outline.circle((12 * MM, 0.0), 2 * MM)
    ring = shapes.ring(9 * MM, 5 * MM, 0.6 * MM)
    near = turn.distance_to(ring)
    assert near.distance == pytest.approx(5.5 * MM)
    assert near.there == pytest.approx((4.5 * MM, 0.0), abs=0.3001 * MM)
    assert turn.distance_to(turn.moved(up=5 * MM)).distance == pytest.approx(1 * MM)
    assert turn.distance_to(turn.moved(up=3 * MM)).distance == pytest.approx(0.0, abs=1e-12)


def test_profile_in_either_order_and_with_needless_corners():
    up = shapes.profile([(0, 0), (5 * MM, 0), (5 * MM, 1 * MM), (5 * MM, 2 * MM), (0, 2 * MM)], "p")
    down = shapes.profile([(0, 2 * MM), (5 * MM, 2 * MM), (5 * MM, 0), (0, 0), (0, 0)], "p")
    assert len(up.vertices) == 4
    assert up.volume == pytest.approx(down.volume)
    assert up.is_rectilinear


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(0, 0), (1e-3, 0)], "at least three"),
        ([(-1e-3, 0), (1e-3, 0), (0, 1e-3)], "r >= 0"),
        ([(0, 0), (4e-3, 4e-3), (4e-3, 0), (0, 4e-3)], "r = 2 mm, z = 2 mm"),
        ([(0, 0), (4e-3, 0), (2e-3, 0)], "touch itself|encloses? an area|enclose an area"),
    ],
)
def test_profile_faults_say_what_and_where(points, says):
    with pytest.raises(BadInput, match=says):
        shapes.profile(points, 'body "pin": shape.points')


def test_helix_and_part_turns():
    rings = shapes.helix_rings(4, 24 * MM, 5 * MM, 12 * MM)
    assert [z for _, z, _ in rings] == pytest.approx([4.5 * MM, 9.5 * MM, 14.5 * MM, 19.5 * MM])
    part = shapes.helix_rings(2.25, 24 * MM, 5 * MM, 0.0)
    assert [w for *_, w in part] == pytest.approx([1, 1, 0.25])
    assert np.diff([z for _, z, _ in part]) == pytest.approx(5 * MM)
    assert sum(z * w for _, z, w in part) == pytest.approx(0.0, abs=1e-15)
    flat = shapes.spiral_rings(5, 12 * MM, 44 * MM, 1 * MM)
    assert [r for r, *_ in flat] == pytest.approx([6 * MM, 10 * MM, 14 * MM, 18 * MM, 22 * MM])
