"""Setting gauges: which distance, between which limits, from where."""

import pytest

from coilwright.job import loads
from coilwright.section.build import build_section
from coilwright.section.gauge import setting_gauges
from coilwright.section.overlap import clearances

DRIVE = '\n[drive]\nfrequency = "100 kHz"\ncoil_current = "100 A"\non_time = "1 s"\n'
TUBE = 'conductor = { section = "round tube", outside = "4 mm", bore = "2.5 mm" }\n'
BODY = 'format = 1\n[[body]]\nname = "bar"\nmaterial = "copper"\nshape = { kind = "bar", diameter = "12 mm", length = "60 mm" }\n'


def section(mean, centre, turns=3):
    coil = f'[coil]\nwinding = "helix"\nturns = {turns}\nmean_diameter = "{mean} mm"\npitch = "5 mm"\ncentre = "{centre} mm"\n'
    return build_section(loads(BODY + coil + TUBE + DRIVE))


def gauges(drawn, shifts=None, stated=False):
    return setting_gauges(drawn, clearances(drawn), shifts or {}, 0.2e-3, stated=stated)


@pytest.mark.parametrize(("centre", "sign"), [(40.0, 1.0), (-40.0, -1.0)])
def test_coil_in_front_is_set_along_the_axis(centre, sign):
    """Lowest turn at 35 mm, its face at 33: 3 mm over the end at 30, above or below alike."""
    (gauge,) = gauges(section(10, centre), {"coil.centre": (-0.1e-3, 0.3e-3)})
    assert gauge.along == "axis" and gauge.distance == pytest.approx(3e-3) and gauge.limited_by == "window"
    low, high = (-0.1e-3, 0.3e-3) if sign > 0 else (-0.3e-3, 0.1e-3)  # moving up closes the gap of a coil below
    assert (gauge.low, gauge.high) == pytest.approx((3e-3 + low, 3e-3 + high))
    assert gauge.making == pytest.approx(0.04e-3)


def test_coil_round_its_part_is_set_by_gap_and_height():
    """Mean 20: inside 16, gap 2 to a bar of 12. Turns at 5, 10, 15: upper face at 17, 13 below the end of the bar."""
    gap, height = gauges(section(20, 10), {"coil.sideways": (-0.3e-3, 0.3e-3)}, stated=True)
    assert gap.along == "gap" and gap.distance == pytest.approx(2e-3) and gap.limited_by == "window"
    assert (gap.low, gap.high) == pytest.approx((1.7e-3, 2.3e-3))
    assert height.distance == pytest.approx(13e-3) and height.limited_by == "stated tolerance"
    assert height.what == "upper face of bar to upper face of the coil"
    assert (height.low, height.high) == pytest.approx((12.8e-3, 13.2e-3))


def test_height_limits_turn_with_the_side():
    """The coil's upper face stands below that of the bar: moving it up makes the distance smaller."""
    _, height = gauges(section(20, 10), {"coil.centre": (-0.1e-3, 0.4e-3)})
    assert (height.low, height.high) == pytest.approx((12.6e-3, 13.1e-3))


def test_assumed_limits_say_so_and_never_reach_zero():
    drawn = section(16.1, 10)  # gap 0.05 mm
    gap, _ = gauges(drawn)
    assert gap.limited_by == "assumed tolerance" and gap.low == pytest.approx(0.05e-3)


def test_nothing_near_no_gauge():
    assert setting_gauges(section(20, 10), (), {}, 0.2e-3, stated=False) == ()
