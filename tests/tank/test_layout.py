"""The bank as built: every can once, bars wide enough, sizes from where they are known."""

import math

import pytest

from coilwright.safety.stored import clearance_hint
from coilwright.tank.inputs import Bank, BankGroup, Can
from coilwright.tank.layout import (
    ASSUMED,
    COPPER,
    bank_layout,
    bar_width_in_air,
    can_sizes,
    copper_section,
    skin_depth_copper,
)
from coilwright.tank.stock import parse_stock


def layout(*groups, current=200.0, frequency=100e3, stated=None):
    bank = Bank(groups)
    sizes = can_sizes((g.can for g in groups), stated or {})
    return bank_layout("tank", bank, sizes, current, frequency, 700.0)


def test_every_can_has_one_place_and_none_overlap():
    made = layout(BankGroup(Can("a", 1e-6), 2, 3), BankGroup(Can("b", 0.1e-6), 1, 2))
    assert len(made.cans) == 8
    assert [c.string for c in made.cans if c.row == 1] == [1, 2, 3, 4, 5]
    for k, a in enumerate(made.cans):
        for b in made.cans[:k]:
            beside = a.x + a.width <= b.x + 1e-12 or b.x + b.width <= a.x + 1e-12
            above = a.y + a.height <= b.y + 1e-12 or b.y + b.height <= a.y + 1e-12
            assert beside or above


def test_strings_reach_from_bar_to_bar():
    made = layout(BankGroup(Can("a", 1e-6), 3, 1), BankGroup(Can("b", 0.1e-6), 1, 1))
    feed, back = made.bars[:2]
    assert feed.y == pytest.approx(made.gap + made.bar_width) and back.y == 0.0
    for string in (1, 2):
        cans = [c for c in made.cans if c.string == string]
        links = [b for b in made.bars[2:] if any(c.x - 1e-9 <= b.x <= c.x + c.width for c in cans)]
        assert sum(c.height for c in cans) + sum(b.height for b in links) == pytest.approx(made.gap)
    assert made.height == pytest.approx(made.gap + 2 * made.bar_width)


def test_bar_sheds_what_it_loses():
    """At its width the loss per metre, I^2 rho/(delta w), is what two faces give away at h times the rise."""
    width = bar_width_in_air(200.0, 100e3, rise=40.0)
    loss = 200.0**2 * COPPER / (skin_depth_copper(100e3) * width)
    assert loss == pytest.approx(2 * width * 10.0 * 40.0)
    assert bar_width_in_air(400.0, 100e3) == pytest.approx(2 * width)
    assert layout(BankGroup(Can("a", 1e-6))).bar_width >= width


def test_skin_depth_of_copper():
    """0.209 mm at 100 kHz for 1.72e-8 ohm m (any text); with the warm bar's resistivity in proportion to its root."""
    assert skin_depth_copper(100e3) == pytest.approx(0.2087e-3 * math.sqrt(COPPER / 1.72e-8), rel=1e-3)


def test_sizes_come_from_the_job_then_the_shelf_then_are_assumed():
    lines = ["name,capacitance,count,width,depth,height", "a,1 uF,4,40 mm,30 mm,50 mm", "b,1 uF,4,,,"]
    stock = [item.can for item in parse_stock(lines, "shelf.csv")]
    assert stock[0].size == pytest.approx((40e-3, 30e-3, 50e-3)) and stock[1].size is None
    cans = [Can("a", 1e-6), Can("b", 1e-6), Can("c", 1e-6)]
    sizes = can_sizes(cans, {"c": (1e-2, 1e-2, 1e-2)}, stock)
    assert [sizes[n][1] for n in "abc"] == ["stock list", "assumed", "job"]
    assert sizes["b"][0] == ASSUMED and sizes["a"][0] == stock[0].size


def test_half_a_size_in_the_stock_list_is_refused():
    with pytest.raises(Exception, match="needs depth and height beside it"):
        parse_stock(["name,capacitance,count,width", "a,1 uF,4,40 mm"], "shelf.csv")


def test_copper_at_four_amps_per_square_millimetre():
    assert copper_section(20.0) * 1e6 == pytest.approx(5.0)


def test_drawn_gap_stands_far_above_the_physical_floor():
    made = layout(BankGroup(Can("a", 1e-6), 1, 2))
    assert made.gap > 20 * clearance_hint(made.peak_voltage, made.frequency).breakdown_gap
