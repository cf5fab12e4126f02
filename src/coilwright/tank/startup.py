"""Start-up, ring-down and the shape of the drive: the switched network stepped exactly from switching to switching.

A voltage-fed bridge is a square of +-swing (a half bridge is taken with a split supply, so without direct voltage); a
current-fed bridge is its supply voltage behind the choke, turned over by the bridge. R and L of the coil are constant here.
A scope shows what these waves show: instantaneous values, not rms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.tank.bridge import Wave, bridge_space, run_current_fed, run_voltage_fed, source_of, watch
from coilwright.tank.chain import CoilImpedance, build_chain, coil_at, forward, impedance
from coilwright.tank.formulas import square_harmonic
from coilwright.tank.inputs import TankInput
from coilwright.tank.statespace import Array, StateSpace


@dataclass(frozen=True)
class RingUp:
    """Start from rest: the wave, peaks (A, A, V), and the time (s) after which the coil's peaks stay within 10 % of the last."""

    wave: Wave
    peak_source_current: float
    peak_coil_current: float
    peak_bank_voltage: float
    settled_peak_current: float
    ring_up_time: float


@dataclass(frozen=True)
class Mode:
    """One way the network rings on its own: Hz, time (s) to 1/e of the envelope, Q = pi f tau."""

    frequency: float
    time_constant: float

    @property
    def q(self) -> float:
        return math.pi * self.frequency * self.time_constant


@dataclass(frozen=True)
class Harmonic:
    """One harmonic of a square drive: rms at the source (V, A), in the coil (A) and on the tank bank (V), source power W."""

    order: int
    source_voltage: float
    source_current: float
    coil_current: float
    bank_voltage: float
    power: float


@dataclass(frozen=True)
class DeadTimeEffect:
    """Steady state with a dead time over that without: fundamental of source voltage and of coil current; their angles (rad).

    switched_current (A, with the sign of the lag: positive = still flowing into the tank) is what flows when a switch opens:
    below about zero the other switch closes against a conducting diode.
    """

    voltage_ratio: float
    current_ratio: float
    angle_shift: float
    switched_current: float


def ring_up(
    tank: TankInput,
    coil: tuple[float, float],
    frequency: float,
    cycles: int,
    samples: int = 32,
    supply: float | None = None,
) -> RingUp:
    """Start from rest at a fixed drive frequency (Hz), `cycles` periods, `samples` per half period.

    coil: (R ohm, L H). `supply`: V of the bridge's swing (voltage-fed, default the source's at full drive) or the dc voltage
    behind the choke (current-fed; must be given). A dead time of the source is honoured when voltage-fed.
    """
    source = source_of(tank)
    if source.current_fed:
        if supply is None:
            raise BadInput(
                Fault("start-up", "a current-fed bridge needs the dc voltage behind its choke, received none")
            )
        wave = run_current_fed(tank, source, coil, frequency, cycles, samples, supply)
    else:
        wave = run_voltage_fed(
            tank, source, coil, frequency, cycles, samples, source.swing if supply is None else supply
        )
    return _judge(wave, frequency)


def _judge(wave: Wave, frequency: float) -> RingUp:
    times, peaks = envelope(wave.time, wave.coil_current, frequency)
    last = float(peaks[-1])
    outside = np.flatnonzero(np.abs(peaks - last) > 0.1 * last)
    settled = float(times[outside[-1]]) if len(outside) else 0.0
    return RingUp(
        wave, wave.peak("source_current"), wave.peak("coil_current"), wave.peak("bank_voltage"), last, settled
    )


def envelope(time: Array, wave: Array, frequency: float) -> tuple[Array, Array]:
    """Times (s) and heights of the peaks of |wave|, one per half period, each from a parabola through three samples."""
    size = np.abs(wave)
    k = np.flatnonzero((size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])) + 1
    if len(k) == 0:
        return time[-1:], size[-1:]
    left, middle, right = size[k - 1], size[k], size[k + 1]
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / np.where(bend == 0.0, 1.0, bend)
    keep = np.abs(shift) <= 1.0
    heights = middle - 0.25 * (left - right) * shift
    spacing = 0.5 * (time[k + 1] - time[k - 1])
    return (time[k] + shift * spacing)[keep], heights[keep]


def ring_down(
    tank: TankInput,
    coil: tuple[float, float],
    frequency: float,
    duration: float,
    drive_voltage: float | None = None,
    samples: int = 32,
) -> Wave:
    """From the steady state of a full square at `frequency`, the bridge short-circuits the tank and it rings down.

    Voltage-fed only (a bridge that freewheels through its lower switches); `drive_voltage` swing in V. `samples` per half
    period. This is what a scope on a current probe shows, the damping of the closed switches included.
    """
    space, x = _steady_state(tank, coil, frequency, drive_voltage)
    c, _ = watch(space, tank, source_of(tank))
    return _free_ring(space, c, x, 0.5 / frequency / samples, duration)


def ring_test(
    tank: TankInput,
    coil: tuple[float, float],
    frequency: float,
    duration: float,
    bank_voltage: float,
    samples: int = 32,
) -> Wave:
    """The tank capacitors charged to `bank_voltage` (V) and let go with no current flowing: the low-level ring of a bench test.

    The bridge is open when current-fed, and a short circuit when voltage-fed (its terminals bridged for the test).
    `frequency` (Hz) near the ring's sets the samples, `samples` per half period.
    """
    source = source_of(tank)
    space = bridge_space(tank, coil, frequency, "open" if source.current_fed else "plus")
    c, _ = watch(space, tank, source)
    still = [space.c[k] for k, name in enumerate(space.watched) if name.startswith("i ") and name.endswith(" L")]
    wanted = np.zeros(len(still) + 1)
    wanted[-1] = bank_voltage
    x = np.linalg.lstsq(np.array([*still, c[3]]), wanted, rcond=None)[0]
    return _free_ring(space, c, x, 0.5 / frequency / samples, duration)


def _free_ring(space: StateSpace, c: Array, x: Array, dt: float, duration: float) -> Wave:
    phi, _ = space.step(dt)
    count = math.ceil(duration / dt)
    values = np.empty((count + 1, 4))
    for k in range(count + 1):
        values[k] = c @ x
        x = phi @ x
    return Wave(np.arange(count + 1) * dt, *(np.ascontiguousarray(values[:, j]) for j in range(4)))


def _steady_state(
    tank: TankInput, coil: tuple[float, float], frequency: float, swing: float | None
) -> tuple[StateSpace, Array]:
    """State at the start of a positive half period: x(T/2) = -x(0) solved exactly."""
    source = source_of(tank)
    if source.current_fed:
        raise BadInput(
            Fault("[source] kind", "the square steady state is for voltage-fed bridges, received a current-fed one")
        )
    space = bridge_space(tank, coil, frequency)
    phi, gamma = space.step(0.5 / frequency)
    u = source.swing if swing is None else swing
    return space, np.linalg.solve(np.eye(len(phi)) + phi, -gamma[:, 0] * u)


def steady_wave(
    tank: TankInput, coil: tuple[float, float], frequency: float, swing: float | None = None, samples: int = 200
) -> Wave:
    """One period of the periodic steady state under a full square (voltage-fed), exact, 2 x samples + 1 points."""
    space, x = _steady_state(tank, coil, frequency, swing)
    source = source_of(tank)
    c, d = watch(space, tank, source)
    u = source.swing if swing is None else swing
    dt = 0.5 / frequency / samples
    phi, gamma = space.step(dt)
    values = np.empty((2 * samples + 1, 4))
    for k in range(2 * samples + 1):
        v = u if k < samples else -u
        values[k] = c @ x + d[:, 0] * v
        x = phi @ x + gamma[:, 0] * v
    return Wave(np.arange(2 * samples + 1) * dt, *(np.ascontiguousarray(values[:, j]) for j in range(4)))


def ring_modes(
    tank: TankInput, coil: tuple[float, float], frequency: float, bridge: Literal["shorted", "open"] = "shorted"
) -> tuple[Mode, ...]:
    """How the tank rings on its own, from the eigenvalues, lowest frequency first; only modes with Q > 0.5 ring.

    "shorted": a voltage-fed bridge freewheels; "open": it is disconnected (also a current-fed one).
    """
    source = source_of(tank)
    if bridge == "shorted" and source.current_fed:
        raise BadInput(Fault("[source] kind", 'a current-fed bridge is not short-circuited; ask for bridge = "open"'))
    space = bridge_space(tank, coil, frequency, "open" if bridge == "open" else "plus")
    values = space.modes()
    ringing = values[values.imag > 1e-9 * np.abs(values)]
    modes = [Mode(float(v.imag) / (2.0 * math.pi), -1.0 / float(v.real)) for v in ringing]
    return tuple(sorted(modes, key=lambda m: m.frequency))


def drive_harmonics(
    tank: TankInput,
    coil: CoilImpedance,
    frequency: float,
    orders: tuple[int, ...] = (1, 3, 5, 7, 9, 11, 13, 15),
    conduction: float = 1.0,
) -> tuple[Harmonic, ...]:
    """Harmonics of a (quasi-)square drive at full swing, each by the phasor solution with the coil's own Z at its frequency."""
    source, chain = source_of(tank), build_chain(tank)
    rows = []
    for order in orders:
        f = order * frequency
        z = coil_at(coil, f)
        omega = 2.0 * math.pi * f
        rms = source.swing * square_harmonic(order, conduction)
        current = rms if source.current_fed else rms / complex(impedance(chain, z, omega))
        voltage, flows = forward(chain, z, omega, complex(current))
        bank = next(flow for flow in flows if flow.name == "tank")
        rows.append(
            Harmonic(
                order,
                abs(voltage),
                abs(current),
                abs(flows[-1].current),
                abs(bank.voltage),
                (voltage * complex(current).conjugate()).real,
            )
        )
    return tuple(rows)


def fundamental(time: NDArray[np.float64], wave: Array, frequency: float) -> complex:
    """Rms phasor of the component at `frequency` over the given span (whole periods), trapezium rule, sine reference."""
    kernel = np.exp(-2j * math.pi * frequency * time)
    integral: Any = np.trapezoid(wave * kernel, time)
    return complex(integral * math.sqrt(2.0) / (time[-1] - time[0]))


def dead_time_effect(
    tank: TankInput, coil: tuple[float, float], frequency: float, cycles: int, samples: int = 64
) -> DeadTimeEffect:
    """Run `cycles` periods with and without the source's dead time and compare the last one (take cycles > 2 Q)."""
    from dataclasses import replace

    source = source_of(tank)
    ideal = replace(tank, source=replace(source, dead_time=0.0))
    real, plain = (ring_up(t, coil, frequency, cycles, samples).wave for t in (tank, ideal))
    last = []
    for wave in (real, plain):
        keep = wave.time >= wave.time[-1] - 1.0 / frequency * (1.0 + 1e-9)
        last.append(
            [
                fundamental(wave.time[keep], getattr(wave, k)[keep], frequency)
                for k in ("source_voltage", "coil_current")
            ]
        )
    runner_current = _switch_off_current(real, frequency, source.dead_time)
    return DeadTimeEffect(
        abs(last[0][0] / last[1][0]),
        abs(last[0][1] / last[1][1]),
        float(np.angle(last[0][0] / last[1][0])),
        runner_current,
    )


def _switch_off_current(wave: Wave, frequency: float, dead: float) -> float:
    """Source current (A) at the end of the last driven half period, positive when it still flows with the voltage."""
    return float(wave.source_current[-1] * np.sign(wave.source_voltage[-1]))
