"""Start-up, ring-down, harmonics and dead time against each other and against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.tank import formulas as tf
from coilwright.tank import network as net
from coilwright.tank.bridge import bridge_space
from coilwright.tank.chain import build_chain, to_circuit, winding_coil
from coilwright.tank.inputs import TankInput
from coilwright.tank.operating import operating_point
from coilwright.tank.startup import (
    dead_time_effect,
    drive_harmonics,
    envelope,
    ring_down,
    ring_modes,
    ring_test,
    ring_up,
    steady_wave,
)
from coilwright.tank.statespace import realise
from tests.tank.networks import CASES, COUPLED, MATCHED, PARALLEL, SERIES, bank, can

ids = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
PLAIN = TankInput("series", bank((can(0.22e-6), 1, 1)), source=SERIES.source and replace(SERIES.source, resistance=0.0))
COIL = (0.03, 1.5e-6)


@ids
def test_state_space_answers_as_the_phasors_do(case):
    """The stepped network and the phasor network are the same network: every voltage and current, at one frequency."""
    space = bridge_space(case.tank, case.coil, case.frequency) if case.name != "parallel" else None
    drive = net.VoltageSource("drive", "s", "0", 1.0)
    if space is None:
        drive = (net.VoltageSource("drive", "q", "0", 1.0), net.Resistor("Rs", "q", "s", 0.2))
    circuit = to_circuit(build_chain(case.tank), case.coil, drive, 3, case.frequency)
    space = space or realise(circuit, case.frequency)
    solved = net.solve_ac(circuit, case.frequency)
    jw = 2j * math.pi * case.frequency
    x = np.linalg.solve(jw * np.eye(len(space.a)) - space.a, space.b[:, 0])
    for name, c, d in zip(space.watched, space.c, space.d, strict=True):
        want = (solved.node_voltages if name[0] == "v" else solved.currents)[name[2:]][0]
        assert abs(c @ x + d[0] - want) <= 1e-8 * abs(want) + 1e-10, name


def test_ring_down_is_the_closed_form():
    [mode] = ring_modes(PLAIN, COIL, 277e3)
    assert mode.frequency == pytest.approx(tf.damped_ring_frequency(1.5e-6, 0.22e-6, 0.03), rel=1e-9)
    assert mode.time_constant == pytest.approx(tf.ring_down_time(1.5e-6, 0.03), rel=1e-9)
    wave = ring_down(PLAIN, COIL, 277e3, 60e-6)
    times, peaks = envelope(wave.time, wave.coil_current, 277e3)
    slope = np.polyfit(times, np.log(peaks), 1)[0]
    assert -1.0 / slope == pytest.approx(tf.ring_down_time(1.5e-6, 0.03), rel=2e-3)


def test_ring_up_takes_the_time_of_its_q():
    """Envelope 1 - exp(-t/tau): within 10 % after tau ln 10."""
    f = tf.resonance(1.5e-6, 0.22e-6)
    start = ring_up(PLAIN, COIL, f, 250)
    tau = tf.ring_down_time(1.5e-6, 0.03)
    assert start.ring_up_time == pytest.approx(tau * math.log(10.0), rel=0.03)
    point = operating_point(PLAIN, COIL)
    assert start.settled_peak_current == pytest.approx(math.sqrt(2.0) * point.coil_current, rel=2e-3)


@pytest.mark.parametrize("tank, coil, f", [(SERIES, (0.0413, 1.38e-6), 353e3), (COUPLED, (0.08, 1e-6), 200e3)])
def test_periodic_steady_state_is_the_sum_of_its_harmonics(tank, coil, f):
    wave = steady_wave(tank, coil, f, samples=400)
    rows = drive_harmonics(replace(tank, bank=tank.bank), winding_coil(*coil), f, tuple(range(1, 60, 2)))
    for name in ("source_current", "coil_current", "bank_voltage"):
        rms = math.sqrt(np.trapezoid(getattr(wave, name) ** 2, wave.time) * f)
        assert rms == pytest.approx(math.sqrt(sum(getattr(r, name) ** 2 for r in rows)), rel=2e-4), name


def test_dead_time_shorter_than_the_lag_changes_nothing():
    tank = replace(PLAIN, source=replace(PLAIN.source, dead_time=0.1e-6))
    f = tf.resonance(1.5e-6, 0.22e-6) * 1.01
    effect = dead_time_effect(tank, COIL, f, 200)
    assert effect.voltage_ratio == pytest.approx(1.0, abs=2e-4) and effect.switched_current > 0.0


def test_dead_time_at_resonance_costs_voltage():
    """At zero phase the diodes put the supply against the current for half the dead time on each side of its zero.

    The wave is then a square shifted by the dead time at most, so the fundamental falls by less than its square.
    """
    f = tf.resonance(1.5e-6, 0.22e-6)
    effect = dead_time_effect(replace(PLAIN, source=replace(PLAIN.source, dead_time=0.08 / f)), COIL, f, 200)
    assert 0.7 < effect.voltage_ratio < 0.999
    assert effect.current_ratio == pytest.approx(effect.voltage_ratio, rel=0.05)


def test_current_fed_start_settles_where_its_supply_power_goes():
    f = operating_point(PARALLEL, (0.06, 3e-6)).frequency
    start = ring_up(PARALLEL, (0.06, 3e-6), f, 400, supply=100.0)
    late = start.wave.time > start.wave.time[-1] - 20 / f
    mean = np.mean(start.wave.coil_current[late] ** 2)
    source = np.mean((start.wave.source_voltage * start.wave.source_current)[late])
    assert source == pytest.approx(mean * 0.0603, rel=0.1)
    assert start.peak_coil_current >= start.settled_peak_current


def test_current_fed_start_needs_choke_and_straight_terminals():
    with pytest.raises(BadInput, match="choke"):
        ring_up(replace(PARALLEL, source=replace(PARALLEL.source, choke=0.0)), (0.06, 3e-6), 26e3, 5, supply=100.0)
    from coilwright.tank.inputs import Transformer

    with pytest.raises(BadInput, match="jump"):
        ring_up(replace(PARALLEL, transformer=Transformer(2.0, 1e-6)), (0.06, 3e-6), 26e3, 5, supply=100.0)


def test_stored_energy_only_falls_when_the_bridge_is_short_circuited():
    space = bridge_space(MATCHED, (0.0141, 0.17e-6), 100e3)
    assert np.all(np.real(space.modes()) <= 1e-3)


@pytest.mark.parametrize(
    "tank, coil, f", [(PARALLEL, (0.06, 3e-6), 26e3), (PLAIN, COIL, 277e3)], ids=["parallel", "series"]
)
def test_a_bench_ring_gives_frequency_and_q_of_the_tank_alone(tank, coil, f):
    [mode] = ring_modes(tank, coil, f, "open" if tank is PARALLEL else "shorted")
    wave = ring_test(tank, coil, f, 4.0 * mode.time_constant, 5.0)
    assert wave.bank_voltage[0] == pytest.approx(5.0, rel=1e-9) and abs(wave.coil_current[0]) < 1e-9
    times, peaks = envelope(wave.time, wave.coil_current, f)
    assert -1.0 / np.polyfit(times, np.log(peaks), 1)[0] == pytest.approx(mode.time_constant, rel=2e-3)
    assert 0.5 / np.mean(np.diff(times)) == pytest.approx(mode.frequency, rel=1e-3)
    lead_r, lead_l = tank.lead_resistance, tank.lead_inductance
    ring = coil[0] + lead_r + tank.bank.impedance(2 * math.pi * f).real
    assert mode.time_constant == pytest.approx(tf.ring_down_time(coil[1] + lead_l, ring), rel=1e-6)
