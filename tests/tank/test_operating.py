"""Operating points: which resonance, which limit, which sentence."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.tank import formulas as tf
from coilwright.tank.chain import build_chain, winding_coil
from coilwright.tank.drive import drive_for_heating
from coilwright.tank.inputs import SourceLimits, Transformer
from coilwright.tank.operating import impedance_curve, operating_point, tank_q
from coilwright.tank.resonance import find_crossings
from coilwright.tank.startup import ring_modes
from tests.tank.networks import CASES, COUPLED, DEGREE, MATCHED, PARALLEL, SERIES, bank, can, limits

ids = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)


def with_source(tank, **change):
    return replace(tank, source=replace(tank.source, **change))


@ids
def test_energy_closes_and_the_phase_is_the_one_sought(case):
    point = operating_point(case.tank, case.coil)
    losses = sum(c.loss for c in point.components if c.name != "coil")
    assert point.source_power == pytest.approx(losses + point.coil_power, rel=1e-6)
    assert point.energy_error < 1e-10
    assert point.phase == pytest.approx(case.tank.source.target_angle, abs=1e-9)
    assert point.coil_power == pytest.approx(point.coil_current**2 * case.coil[0], rel=1e-12)
    assert impedance_curve(case.tank, winding_coil(*case.coil), point.frequency)[0] == pytest.approx(
        point.source_impedance
    )


@ids
def test_the_quick_answer_is_the_full_one(case):
    point = operating_point(case.tank, case.coil)
    answer = drive_for_heating(case.tank).respond(*case.coil, point.frequency * 1.02)
    for name in ("frequency", "coil_current", "coil_voltage", "source_power", "source_current", "source_voltage"):
        assert getattr(answer, name) == pytest.approx(getattr(point, name), rel=1e-9), name
    assert answer.source_power == pytest.approx(answer.coil_power + sum(answer.losses), rel=1e-9)
    assert answer.bank_voltage == pytest.approx(point.component("tank").voltage, rel=1e-9)


def test_voltage_fed_takes_the_rising_crossing_of_a_coupled_tank_and_current_fed_would_take_the_falling_one():
    chain, coil = build_chain(COUPLED), winding_coil(0.08, 1.0e-6)
    voltage_fed = find_crossings(chain, coil, (50e3, 1e6))
    current_fed = find_crossings(chain, coil, (50e3, 1e6), current_fed=True)
    followed = [next(c.frequency for c in crossings if c.followed) for crossings in (voltage_fed, current_fed)]
    assert len(voltage_fed) == 2 and followed[0] > followed[1]
    total = COUPLED.bank.capacitance
    parallel_l = 1.0 / (1.0 / 1.02e-6 + 1.0 / 2.5e-6)
    assert followed[1] == pytest.approx(tf.resonance(1.02e-6, total), rel=0.01)
    assert followed[0] == pytest.approx(tf.resonance(parallel_l, total), rel=0.02)


def test_held_quantities_are_reached():
    for hold, held, read in (
        ("power", 300.0, "source_power"),
        ("coil current", 90.0, "coil_current"),
        ("coil voltage", 250.0, "coil_voltage"),
    ):
        point = operating_point(with_source(SERIES, hold=hold, held=held), (0.0413, 1.38e-6))
        assert getattr(point, read) == pytest.approx(held, rel=1e-9)
        assert point.limiting == "" and point.drive < 1.0


def test_level_is_a_share_of_full_drive():
    full, half = (operating_point(with_source(SERIES, held=x), (0.0413, 1.38e-6)) for x in (1.0, 0.5))
    assert half.source_power == pytest.approx(full.source_power / 4.0, rel=1e-9)


@pytest.mark.parametrize(
    ("limit", "code", "words"),
    [
        ({"current": 48.0}, "source current", "source current limit (48 A)"),
        ({"power": 200.0}, "source power", "source power limit (200 W)"),
        ({"voltage": 5.0}, "source voltage", "source voltage limit (5 V)"),
    ],
)
def test_the_limit_that_bites_is_named(limit, code, words):
    tank = with_source(SERIES, hold="coil current", held=150.0, limits=limits(250e3, 450e3, **limit))
    point = operating_point(tank, (0.0413, 1.38e-6))
    assert point.limiting == code
    assert (
        point.limited_by.startswith(f"coil current limited to {point.coil_current:.4g} A by")
        and words in point.limited_by
    )
    assert any(f.code == "source-limit" for f in point.findings)
    drive = drive_for_heating(tank)
    assert drive.sentence(drive.respond(0.0413, 1.38e-6, 350e3)) == point.limited_by


def test_full_drive_is_a_limit_too():
    point = operating_point(with_source(SERIES, hold="power", held=1e5), (0.0413, 1.38e-6))
    assert point.limiting == "full drive" and point.drive == pytest.approx(1.0)


def test_set_frequency_off_resonance():
    """The voltage-driven current off resonance is that of the universal resonance curve (bridge and lead losses included)."""
    on = operating_point(with_source(SERIES, follow="phase"), (0.0413, 1.38e-6))
    loop = tank_q(SERIES, complex(0.0413, 2 * math.pi * on.frequency * 1.38e-6), on.frequency)
    q = loop * (on.source_impedance.real - 5e-3) / on.source_impedance.real
    off = operating_point(with_source(SERIES, follow="frequency", frequency=on.frequency * 1.01), (0.0413, 1.38e-6))
    assert off.coil_current / on.coil_current == pytest.approx(tf.detuned_current_ratio(q, 0.01), rel=1e-3)
    assert off.phase > 0.0 and not [f for f in off.findings if f.code == "hard-switching"]


@pytest.mark.parametrize("core", [2e3, 20e3, math.inf])
def test_the_loaded_q_is_what_a_ring_down_shows(core):
    """Bank on the source side: windings and core ring with the coil; Q = pi f tau of the eigenvalue, bridge shorted."""
    through = replace(
        SERIES,
        bank=bank((can(13.6e-9, tan=3e-4), 1, 1)),
        bank_side="source",
        transformer=Transformer(8.0, 0.4e-6, 15e-3, 4e-9, 0.3e-3, 120e-6, core),
    )
    bare = with_source(through, resistance=0.0)
    (mode,) = ring_modes(bare, (9.8e-3, 0.243e-6), 360e3)
    f = mode.frequency
    q = tank_q(bare, complex(9.8e-3, 2 * math.pi * f * 0.243e-6), f)
    assert q == pytest.approx(mode.q, rel=5e-3)


def test_below_resonance_a_bridge_switches_hard():
    on = operating_point(SERIES, (0.0413, 1.38e-6))
    off = operating_point(with_source(SERIES, follow="frequency", frequency=on.frequency * 0.99), (0.0413, 1.38e-6))
    assert [f.severity for f in off.findings if f.code == "hard-switching"] == ["serious"]


def test_a_small_phase_margin_is_raised_to_what_soft_switching_needs():
    tank = with_source(MATCHED, phase=0.0, limits=limits(60e3, 160e3, least_phase=6 * DEGREE))
    assert operating_point(tank, (0.0141, 0.17e-6)).phase == pytest.approx(6 * DEGREE, abs=1e-9)


def test_power_by_detuning_runs_above_resonance_at_full_amplitude():
    tank = with_source(MATCHED, hold="power", held=2000.0, regulate="frequency")
    plain = operating_point(with_source(MATCHED, hold="power", held=2000.0), (0.0141, 0.17e-6))
    point = operating_point(tank, (0.0141, 0.17e-6))
    assert point.source_power == pytest.approx(2000.0, rel=1e-9) and point.drive == pytest.approx(1.0, rel=1e-9)
    assert point.frequency > plain.frequency and point.phase > plain.phase


def test_detuning_names_what_sends_the_frequency_up():
    tank = with_source(
        MATCHED, hold="power", held=9000.0, regulate="frequency", limits=limits(60e3, 160e3, current=20.0)
    )
    point = operating_point(tank, (0.0141, 0.17e-6))
    assert point.limiting == "source current" and point.source_current == pytest.approx(20.0, rel=1e-9)
    edge = operating_point(with_source(tank, limits=limits(60e3, 105e3, current=20.0)), (0.0141, 0.17e-6))
    assert "the source's highest frequency (105 kHz)" in edge.limited_by and edge.frequency == 105e3


def test_resonance_outside_the_window_says_which_capacitance_helps():
    tank = with_source(SERIES, limits=limits(500e3, 700e3))
    with pytest.raises(
        BadInput, match=r"resonance at 35\d.* kHz lies outside .* 500 to 700 kHz; less tank capacitance"
    ) as caught:
        operating_point(tank, (0.0413, 1.38e-6))
    middle = float(str(caught.value).split("the edge, ")[1].split(" uF")[0]) * 1e-6
    mended = replace(tank, bank=bank((can(middle), 1, 1)))
    assert operating_point(mended, (0.0413, 1.38e-6)).frequency == pytest.approx(math.sqrt(500e3 * 700e3), rel=0.01)


def test_a_source_that_cannot_start_says_what_would_help():
    lossy = replace(COUPLED, inductor_inductance=60e-6)
    with pytest.raises(BadInput, match=r"the source cannot start: .*less coupling inductance"):
        operating_point(lossy, (0.4, 1.0e-6))


def test_no_lock_in_the_middle_of_a_shot_is_an_answer_not_a_crash():
    answer = drive_for_heating(replace(COUPLED, inductor_inductance=60e-6)).respond(0.4, 1.0e-6, 200e3)
    assert not answer.running and answer.limits == ("no lock",) and answer.coil_current == 0.0


def test_window_edge_holds_the_frequency_in_a_shot():
    drive = drive_for_heating(with_source(SERIES, limits=limits(300e3, 352e3)))
    answer = drive.respond(0.0413, 1.30e-6, 351e3)
    assert answer.frequency == 352e3 and answer.limits[0] == "highest frequency" and "hard switching" in answer.limits


def test_one_impedance_at_one_frequency_only():
    with pytest.raises(BadInput, match="one complex number"):
        operating_point(SERIES, 0.04 + 3j)
    assert operating_point(with_source(SERIES, follow="frequency", frequency=350e3), 0.04 + 3j).coil_power > 0.0


def test_duty_gives_the_longest_on_time():
    tank = with_source(
        SERIES, limits=SourceLimits(lowest_frequency=250e3, highest_frequency=450e3, duty=0.6, duty_period=120.0)
    )
    assert operating_point(tank, (0.0413, 1.38e-6)).longest_on_time == pytest.approx(72.0)


def test_ratings_over_and_unknown_become_findings():
    found = {f.code for f in operating_point(with_source(SERIES, supply=40.0), (0.0413, 1.38e-6)).findings}
    assert "capacitor-over-rating" in found
    assert "rating-unknown" in {f.code for f in operating_point(PARALLEL, (0.06, 3e-6)).findings}


@given(st.floats(0.7, 1.4), st.floats(0.5, 3.0), st.sampled_from(CASES))
@settings(max_examples=40, deadline=None)
def test_energy_closes_for_every_coil(henries, ohms, case):
    coil = (case.coil[0] * ohms, case.coil[1] * henries)
    answer = drive_for_heating(case.tank).respond(*coil, case.frequency)
    if answer.running:
        assert answer.source_power == pytest.approx(answer.coil_power + sum(answer.losses), rel=1e-9)
        assert case.tank.source.limits.window[0] <= answer.frequency <= case.tank.source.limits.window[1]


def test_the_answer_can_be_read_and_kept():
    import json

    point = operating_point(SERIES, (0.0413, 1.38e-6), unloaded=(0.0325, 1.38e-6))
    assert point.unloaded_q > point.loaded_q > 50.0
    kept = json.loads(json.dumps(point.to_dict()))
    assert kept["frequency_Hz"] == point.frequency and kept["coil"]["current_A"] == point.circulating_current
    assert f"{point.coil_current:.4g} A" in str(point)
    assert kept["efficiency"] == pytest.approx(0.0413 / point.source_impedance.real, rel=1e-9)
    with pytest.raises(KeyError, match="no component"):
        point.component("valve")
