"""Figures of the trade. Each says what it is: `common practice, no source`, or computed elsewhere with lumped models.

The lumped getter fixture: five face coils in series, 1.4 uH, 350 kHz, Q 94 empty and 75 loaded, 156 A, constant voltage,
frequency tracked; each part a ring with R2 = 1.566 omega L2 (the value at which half its resistivity takes 7 % more power).
"""

import math
from dataclasses import replace

import pytest

from coilwright.tank import formulas as tf
from coilwright.tank import network as net
from coilwright.tank.inputs import Bank, BankGroup, Can, RatingCurve, SourceInput, SourceLimits, TankInput, Transformer
from coilwright.tank.operating import operating_point
from coilwright.tank.stress import one_string_lost

F0, HENRY, STATIONS = 350e3, 1.4e-6, 5
REACTANCE = 2.0 * math.pi * F0 * HENRY
RING_L = 10e-9
RING_R = 1.566 * 2.0 * math.pi * F0 * RING_L
PART = REACTANCE * (1 / 75 - 1 / 94) / STATIONS  # ohm reflected by one part at 350 kHz
MUTUAL = math.sqrt(PART / tf.reflected_impedance(F0, 1.0, RING_R, RING_L).real)


def fixture(couplings=(1.0,) * STATIONS, joint=0.0):
    """Coil impedance of the five stations; coupling: M^2 of each over the healthy one; joint: ohm more."""

    def impedance(f):
        copper = REACTANCE / 94 * math.sqrt(f / F0)
        rings = sum(k * tf.reflected_impedance(f, MUTUAL, RING_R, RING_L) for k in couplings)
        return complex(copper + joint, 2.0 * math.pi * f * HENRY) + rings

    return impedance


def tank(cans=6, **source):
    """Bank of equal cans that resonates the healthy fixture at 350 kHz."""
    total = 1.0 / (2.0 * math.pi * F0 * fixture()(F0).imag)
    limits = SourceLimits(lowest_frequency=2e5, highest_frequency=6e5)
    return TankInput(
        "series",
        Bank((BankGroup(Can("film", total / cans), 1, cans),)),
        source=SourceInput("voltage-fed full bridge", 7.2, limits=limits, **source),
    )


def percent(after, before):
    return 100.0 * (after / before - 1.0)


# (fault, coil, f %, Q %, coil current %, station power %, power of the others %): computed elsewhere with coaxial rings
FAULTS = [
    ("one coil back 1.0 mm", fixture((0.786, 1, 1, 1, 1)), 0.786, -0.004, 0.9, 0.9, -20.0, 1.8),
    ("part missing", fixture((0.0, 1, 1, 1, 1)), 0.0, -0.02, 4.3, 4.3, -100.0, 8.7),
    ("loose joint + 2 mohm", fixture(joint=2e-3), 1.0, 0.0, -4.6, -4.6, -9.0, -9.0),
    ("loose joint + 5 mohm", fixture(joint=5e-3), 1.0, 0.0, -11.0, -11.0, -20.0, -20.0),
]


@pytest.mark.parametrize(
    ("name", "coil", "coupling", "f", "q", "amps", "here", "others"), FAULTS, ids=[x[0] for x in FAULTS]
)
def test_fault_signatures(name, coil, coupling, f, q, amps, here, others):
    well, ill = operating_point(tank(), fixture()), operating_point(tank(), coil)
    assert percent(ill.frequency, well.frequency) == pytest.approx(f, abs=0.15)
    assert percent(ill.loaded_q, well.loaded_q) == pytest.approx(q, abs=0.6)
    assert percent(ill.coil_current, well.coil_current) == pytest.approx(amps, abs=0.6)
    square = (ill.coil_current / well.coil_current) ** 2
    assert 100 * (square * coupling - 1.0) == pytest.approx(here, abs=1.2)
    assert 100 * (square - 1.0) == pytest.approx(others, abs=1.2)


@pytest.mark.parametrize(("cans", "f", "q", "amps"), [(6, 9.6, 2.9, -6.1), (12, 4.5, 1.4, -3.0)])
def test_one_can_lost_and_the_source_follows(cans, f, q, amps):
    """Computed elsewhere: only the frequency tells; the parts hardly notice."""
    well = operating_point(tank(cans), fixture())
    lost = one_string_lost(tank(cans), fixture())
    assert 100 * lost.frequency == pytest.approx(f, abs=0.15)
    assert percent(lost.point.loaded_q, well.loaded_q) == pytest.approx(q, abs=0.15)
    assert 100 * lost.coil_current == pytest.approx(amps, abs=0.15)
    ring = tf.reflected_impedance(lost.point.frequency, MUTUAL, RING_R, RING_L).real / PART
    assert 100 * (ring * (1 + lost.coil_current) ** 2 - 1) == pytest.approx(0.2 if cans == 6 else 0.0, abs=0.2)
    share = (1 + lost.coil_current) * cans / (cans - 1)
    assert 100 * (share - 1) == pytest.approx(13.0 if cans == 6 else 5.8, abs=0.4)


def test_one_can_lost_at_a_fixed_frequency_puts_the_fire_out():
    """Computed elsewhere: current -93 %, power -99.6 %, phase 86 degrees."""
    fixed = tank(follow="frequency", frequency=operating_point(tank(), fixture()).frequency)
    lost = one_string_lost(fixed, fixture())
    assert 100 * lost.coil_current == pytest.approx(-93.0, abs=0.7)
    assert 100 * lost.power == pytest.approx(-99.6, abs=0.1)
    assert abs(math.degrees(lost.point.phase)) == pytest.approx(86.0, abs=0.3)


@pytest.mark.parametrize(
    ("offset", "amps", "power", "phase"), [(0.0025, -6, -12, 21), (0.005, -20, -36, 37), (0.01, -44, -69, 56)]
)
def test_fixed_drive_off_tune(offset, amps, power, phase):
    """Common practice figures for Q 75, no source."""
    f = operating_point(tank(), fixture()).frequency
    on, off = (operating_point(tank(follow="frequency", frequency=f * x), fixture()) for x in (1.0, 1.0 + offset))
    assert percent(off.coil_current, on.coil_current) == pytest.approx(amps, abs=0.7)
    assert percent(off.source_power, on.source_power) == pytest.approx(power, abs=0.7)
    assert math.degrees(off.phase) == pytest.approx(phase, abs=0.6)


def test_coil_held_at_constant_power_hides_the_fault():
    """Power-controlled source, one coil back 1 mm: amps +0.4 %, others +0.9 % (computed elsewhere)."""
    held = tank(hold="power", held=1000.0)
    well, ill = (
        operating_point(replace(held, source=replace(held.source, supply=40.0)), z)
        for z in (fixture(), fixture((0.786, 1, 1, 1, 1)))
    )
    assert percent(ill.coil_current, well.coil_current) == pytest.approx(0.4, abs=0.1)
    assert 100 * ((ill.coil_current / well.coil_current) ** 2 - 1) == pytest.approx(0.9, abs=0.1)


@pytest.mark.parametrize(
    ("inductance", "f", "amps", "farad", "volts", "kvar"),
    [(1.4e-6, 350e3, 156.0, 146e-9, 485.0, 76e3), (5.2e-6, 20e3, 206.0, 12.1e-6, 135.0, 28e3)],
)
def test_tank_sizes(inductance, f, amps, farad, volts, kvar):
    """Five-getter tank and graphite susceptor (computed elsewhere): C, volts and kvar from the operating point."""
    c = tf.capacitance_for(f, inductance)
    assert c == pytest.approx(farad, rel=0.015)
    source = SourceInput(
        "voltage-fed full bridge",
        1e3,
        hold="coil current",
        held=amps,
        limits=SourceLimits(lowest_frequency=f / 2, highest_frequency=f * 2),
    )
    can = Can("bank", c, voltage=RatingCurve.constant(1e3))
    point = operating_point(TankInput("series", Bank((BankGroup(can),)), source), (0.04, inductance))
    assert point.frequency == pytest.approx(f, rel=1e-6)
    assert point.component("tank").voltage == pytest.approx(volts, rel=0.02)
    assert -point.component("tank").reactive_power == pytest.approx(kvar, rel=0.02)


def test_brazing_coil_through_a_transformer():
    """0.2 uH at 100 kHz: 12.9 uF at 386 A direct; through 8:1 0.2 uF, about 380 V and 48 A (computed elsewhere)."""
    assert tf.capacitance_for(100e3, 0.196e-6) == pytest.approx(12.9e-6, rel=0.01)
    source = SourceInput(
        "voltage-fed full bridge",
        1e3,
        hold="coil current",
        held=386.0,
        limits=SourceLimits(lowest_frequency=5e4, highest_frequency=2e5),
    )
    small = TankInput(
        "series", Bank((BankGroup(Can("C", 12.9e-6 / 64)),)), source, bank_side="source", transformer=Transformer(8.0)
    )
    point = operating_point(small, (0.0143, 0.196e-6))
    assert small.bank.capacitance == pytest.approx(0.2e-6, rel=0.01)
    assert point.source_current == pytest.approx(48.0, rel=0.01)
    assert point.component("tank").voltage == pytest.approx(380.0, rel=0.01)


@pytest.mark.parametrize(("cans", "percent_up"), [(6, 9.5), (12, 4.4), (24, 2.15)])
def test_frequency_after_a_lost_can(cans, percent_up):
    assert 100 * (tf.frequency_ratio_after_loss(cans) - 1) == pytest.approx(percent_up, abs=0.06)


@pytest.mark.parametrize(("centres", "nano_per_cm"), [(8, 3.2), (10, 4.4), (15, 6.3), (25, 8.4), (50, 11.2)])
def test_lead_tubes(centres, nano_per_cm):
    """Six-millimetre tubes; the formula is the closed form, the rounded figures were computed elsewhere."""
    assert tf.parallel_tubes_inductance(6e-3, centres * 1e-3, 0.01) * 1e9 == pytest.approx(nano_per_cm, abs=0.05)


@pytest.mark.parametrize(("gap", "nano_per_cm"), [(1, 0.31), (6, 1.9)])
def test_busbars(gap, nano_per_cm):
    assert tf.busbar_inductance(gap * 1e-3, 40e-3, 0.01) * 1e9 == pytest.approx(nano_per_cm, rel=0.02)


def test_leads_eat_the_volts():
    """Ten centimetres of 6 mm tubes 15 mm apart before a 0.21 uH coil take about 23 % of the volts."""
    leads = tf.parallel_tubes_inductance(6e-3, 15e-3, 0.1)
    source = SourceInput(
        "voltage-fed full bridge", 10.0, limits=SourceLimits(lowest_frequency=5e4, highest_frequency=3e5)
    )
    made = TankInput("series", Bank((BankGroup(Can("C", 10e-6)),)), source, lead_inductance=leads)
    point = operating_point(made, (5e-3, 0.21e-6))
    assert point.component("leads").voltage / (point.component("leads").voltage + point.coil_voltage) == pytest.approx(
        0.23, abs=0.005
    )


def test_parallel_stations_share_by_inductance():
    """Five coils of 283 nH: 20 nH more lead on one takes 5.4 % of its current, the others gain 1.3 % (computed elsewhere)."""

    def shares(extra):
        coils = [net.Inductor(f"L{k}", "s", "0", 283e-9 + (extra if k == 0 else 0.0)) for k in range(5)]
        solved = net.solve_ac(net.Circuit((net.CurrentSource("I", "s", "0", 500.0), *coils)), F0)
        return [abs(solved.currents[c.name][0]) for c in coils]

    well, ill = shares(0.0), shares(20e-9)
    assert percent(ill[0], well[0]) == pytest.approx(-5.4, abs=0.1)
    assert percent(ill[1], well[1]) == pytest.approx(1.3, abs=0.1)


@pytest.mark.parametrize(
    ("q", "offset", "power"), [(75, 0.0025, -12), (75, 0.005, -36), (75, 0.01, -69), (8, 0.01, -2.5)]
)
def test_detuning_rule(q, offset, power):
    assert 100 * (tf.detuned_current_ratio(q, offset) ** 2 - 1) == pytest.approx(power, abs=0.7)
