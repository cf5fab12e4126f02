"""Bends of the conductor: published least radii, plastic bending against an integral over the section."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from coilwright.section.forming import (
    FLOW_STRESS,
    YOUNG_MODULUS,
    bending,
    carrying_area,
    described,
    least_radius,
    least_radius_in_bender,
    mandrel_diameter,
    spring_curvature,
)


def tube(outside, bore):
    return SimpleNamespace(
        section="round tube", outside=outside, bore=bore, radial_size=outside, axial_size=outside, material="copper"
    )


def rectangle(w, h, wall=None):
    kind = {"section": "strip"} if wall is None else {"section": "rectangular tube", "wall": wall}
    return SimpleNamespace(width=w, height=h, radial_size=w, axial_size=h, material="copper", **kind)


def round_of(kind, d, **more):
    return SimpleNamespace(section=kind, diameter=d, radial_size=d, axial_size=d, material="copper", **more)


# Copper Development Association, Copper Tube Handbook (A4015), bending guide, annealed: inches of outside diameter
# (3/8, 1/2 and 5/8 for nominal 1/4, 3/8 and 1/2) and of least radius in mechanical benders.
@pytest.mark.parametrize(("outside", "radius"), [(0.375, 0.75), (0.5, 1.5), (0.625, 2.25)])
def test_least_radius_in_a_bender_is_the_published_one(outside, radius):
    assert least_radius_in_bender(outside * 0.0254) == pytest.approx(radius * 0.0254, rel=1e-6)


def section_points(c, n=801):
    """(offset from the middle along the bend's plane, width there) for a numeric integral over the section."""
    size = c.radial_size
    y = (np.arange(n) + 0.5) / n * size - 0.5 * size
    if c.section in ("strip", "rectangular tube"):
        hollow = (
            0.0 if c.section == "strip" else np.where(np.abs(y) < 0.5 * c.width - c.wall, c.height - 2 * c.wall, 0.0)
        )
        return y, c.height - hollow + 0.0 * y, size / n
    r, ri = 0.5 * size, 0.5 * getattr(c, "bore", 0.0)
    chord = 2 * np.sqrt(r**2 - y**2) - 2 * np.sqrt(np.maximum(ri**2 - y**2, 0.0))
    return y, chord, size / n


@pytest.mark.parametrize(
    "c",
    [
        tube(6e-3, 4e-3),
        tube(10e-3, 8e-3),
        rectangle(6e-3, 8e-3, 1e-3),
        rectangle(2e-3, 8e-3),
        round_of("round wire", 3e-3),
    ],
)
def test_spring_back_is_plastic_moment_over_stiffness(c):
    y, w, dy = section_points(c)
    moment = FLOW_STRESS * float(np.sum(np.abs(y) * w) * dy)
    inertia = float(np.sum(y**2 * w) * dy)
    assert spring_curvature(c) == pytest.approx(moment / (YOUNG_MODULUS * inertia), rel=2e-3)


def test_mandrel_is_smaller_by_the_spring_back():
    c = tube(6e-3, 4e-3)
    bent = bending(c, 18e-3)
    assert 1.0 / bent.former_radius - 1.0 / bent.radius == pytest.approx(spring_curvature(c))
    assert mandrel_diameter(c, 36e-3) == pytest.approx(2 * bent.former_radius - 6e-3)
    assert 29.0e-3 < mandrel_diameter(c, 36e-3) < 30.0e-3  # inside of the coil is 30 mm; half a millimetre is usual
    # the wider the turn, the more it springs, in proportion to its square
    assert bending(c, 36e-3).radius - bending(c, 36e-3).former_radius == pytest.approx(
        4 * (18e-3 - bent.former_radius), rel=0.05
    )
    litz = round_of("litz", 5e-3, strands=800, strand_diameter=1e-4)
    assert mandrel_diameter(litz, 50e-3) == pytest.approx(45e-3)


def test_outer_wall_thins_so_that_its_volume_stays():
    bent = bending(tube(6e-3, 4e-3), 9e-3)
    assert bent.strain == pytest.approx(1 / 3) and bent.wall_outside == pytest.approx(0.75e-3)
    assert bent.wall_outside * (1 + bent.strain) == pytest.approx(bent.wall)
    assert bending(rectangle(2e-3, 8e-3), 9e-3).wall_outside is None


def test_tight_bends_are_told():
    c = tube(6e-3, 4e-3)
    assert bending(c, 8e-3).tight and not bending(c, 9e-3).tight
    assert bending(c, 11e-3).needs_fill and not bending(c, 12e-3).needs_fill
    assert not bending(round_of("round wire", 3e-3), 3e-3).needs_fill
    strip = rectangle(2e-3, 8e-3)
    assert least_radius(strip) == pytest.approx(3e-3) and least_radius(strip, 8e-3) == pytest.approx(12e-3)
    assert bending(strip, 10e-3, 8e-3).tight


def test_current_flows_in_one_skin():
    c = tube(6e-3, 4e-3)
    assert carrying_area(c, 5e-3) == pytest.approx(math.pi / 4 * (36 - 16) * 1e-6)  # the whole wall
    assert carrying_area(c, 0.1e-3) == pytest.approx(math.pi * 5.9e-3 * 0.1e-3)
    box = rectangle(6e-3, 8e-3, 1e-3)
    assert carrying_area(box, 1.0) == pytest.approx((48 - 24) * 1e-6)
    litz = round_of("litz", 5e-3, strands=800, strand_diameter=1e-4)
    assert carrying_area(litz, 0.2e-3) == pytest.approx(800 * math.pi / 4 * 1e-8)


def test_conductors_in_words():
    assert described(tube(6e-3, 4e-3)) == "copper tube, outside 6, wall 1, bore 4 mm"
    assert described(rectangle(6e-3, 8e-3, 1e-3)) == "copper rectangular tube, 6 x 8, wall 1 mm"
    assert described(rectangle(2e-3, 8e-3)) == "copper strip, 2 x 8 mm"
    assert described(round_of("round wire", 3e-3)) == "copper wire, 3 mm"
    assert (
        described(round_of("litz", 5e-3, strands=800, strand_diameter=1e-4)) == "copper litz, 800 x 0.1 mm, bundle 5 mm"
    )
