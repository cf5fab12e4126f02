"""What each can sees."""

import math
from dataclasses import replace

import pytest

from coilwright.errors import BadInput
from coilwright.tank.inputs import BankGroup, Can, RatingCurve
from coilwright.tank.operating import operating_point
from coilwright.tank.stress import (
    at_temperature,
    can_loads,
    empty_coil,
    one_string_lost,
    stress_table,
    uneven_parallel,
    uneven_string,
    worst_check,
)
from tests.tank.networks import MATCHED, SERIES, TAPPED, bank, can

COIL = (0.0413, 1.38e-6)


def test_equal_cans_share_equally():
    [load] = can_loads("tank", bank((can(0.1e-6), 2, 3)), 400.0, 100e3)
    assert load.voltage == pytest.approx(200.0, rel=1e-9) and load.share == pytest.approx(1 / 3)
    assert load.current == pytest.approx(200.0 * 2 * math.pi * 100e3 * 0.1e-6)
    assert load.reactive_power == pytest.approx(load.voltage * load.current)
    assert load.peak_voltage == pytest.approx(200.0 * math.sqrt(2))


def test_loss_is_the_loss_tangent_times_the_kvar():
    [load] = can_loads("tank", bank((can(0.1e-6, tan=5e-4), 1, 1)), 400.0, 100e3)
    assert load.loss == pytest.approx(5e-4 * load.reactive_power, rel=1e-12)


def test_direct_voltage_adds_to_the_peak():
    [load] = can_loads("block", bank((can(0.1e-6), 2, 1)), 100.0, 100e3, dc_voltage=160.0)
    assert load.peak_voltage == pytest.approx(50.0 * math.sqrt(2) + 80.0)


def test_a_long_bar_brings_a_can_nearer_its_own_resonance_and_raises_its_share():
    """Inductance in series with a capacitor lowers its reactance: the far can takes more, not less, below resonance."""
    unequal = bank((can(0.33e-6, "near"), 1, 1), (can(0.33e-6, "far"), 1, 1, 0.0, 60e-9))
    near, far = can_loads("tank", unequal, 300.0, 350e3)
    assert far.current > near.current and near.share + far.share == pytest.approx(1.0)
    reactance, bar = 1 / (2 * math.pi * 350e3 * 0.33e-6), 2 * math.pi * 350e3 * 60e-9
    assert far.current / near.current == pytest.approx(reactance / (reactance - bar), rel=1e-9)


def test_uneven_cans_in_a_string_and_side_by_side():
    group = BankGroup(Can("c", 1e-6, tolerance=0.05), 2, 2)
    assert uneven_string(group) == pytest.approx(2 * (1 / 0.95) / (1 / 0.95 + 1 / 1.05))
    assert uneven_parallel(group) == pytest.approx(1.05)


def test_ratings_follow_the_frequency():
    curve = RatingCurve((50e3, 200e3), (800.0, 400.0))
    assert curve.at(100e3) == pytest.approx(math.sqrt(800 * 400)) and curve.at(10e3) == pytest.approx(800.0)
    assert curve.covers(100e3) and not curve.covers(300e3)


def test_checks_use_the_derated_rating():
    point = operating_point(SERIES, COIL)
    volts = next(c for c in point.ratings if c.quantity == "voltage")
    assert volts.value == pytest.approx(point.component("tank").voltage, rel=1e-6)
    assert volts.used == pytest.approx(volts.value / (volts.rating * 0.8))
    assert worst_check(point.ratings).used == max(c.used for c in point.ratings)


def test_a_lost_can_loads_the_others():
    lost = one_string_lost(SERIES, COIL)
    before = max(c.value for c in operating_point(SERIES, COIL).ratings if c.quantity == "current")
    after = max(c.value for c in lost.point.ratings if c.quantity == "current")
    assert after > 1.1 * before and lost.frequency > 0.09


def test_a_single_string_lost_opens_the_tank():
    with pytest.raises(BadInput, match="single string"):
        one_string_lost(replace(SERIES, bank=bank((can(146e-9), 1, 1))), COIL)


def test_warm_capacitors_ring_higher():
    """df/f = -dC/2C: -250 ppm/K over 40 K is +0.5 % in frequency."""
    tank = replace(SERIES, bank=bank((can(24.33e-9, temperature_coefficient=-250e-6), 1, 6)))
    warm = at_temperature(tank, COIL, 293.15 + 40.0)
    assert warm.frequency == pytest.approx(1 / math.sqrt(0.99) - 1, rel=1e-3)


def test_empty_coil_rings_up_the_volts_of_a_constant_voltage_source():
    empty = empty_coil(SERIES, COIL, (0.033, 1.4e-6))
    assert empty.coil_current > 0.15 and empty.coil_power > 0.0


def test_a_half_bridge_leaves_direct_voltage_on_what_blocks_it():
    point = operating_point(MATCHED, (0.0141, 0.17e-6))
    [load] = stress_table(MATCHED, point)
    assert load.peak_voltage == pytest.approx(math.sqrt(2) * point.component("tank").voltage + 160.0, rel=1e-6)
    tapped = replace(TAPPED, source=replace(TAPPED.source, kind="voltage-fed half bridge"))
    loads = {x.place: x for x in stress_table(tapped, operating_point(tapped, (0.06, 2e-6)))}
    assert loads["block"].peak_voltage - math.sqrt(2) * loads["block"].voltage == pytest.approx(100.0)
    assert loads["tank"].peak_voltage == pytest.approx(math.sqrt(2) * loads["tank"].voltage)
