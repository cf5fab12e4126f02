"""The bridge on its tank, stepped through its switchings: voltage-fed with dead time, or current-fed behind a choke."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.tank import network as net
from coilwright.tank.chain import build_chain, to_circuit
from coilwright.tank.inputs import SourceInput, TankInput
from coilwright.tank.statespace import Array, StateSpace, realise, stepper

LINE_SECTIONS = 3


@dataclass(frozen=True)
class Wave:
    """Instantaneous values at `time` (s, (n,)): V and A at the source's output, A in the coil, V across the tank bank."""

    time: Array
    source_voltage: Array
    source_current: Array
    coil_current: Array
    bank_voltage: Array

    def peak(self, what: str) -> float:
        """Largest magnitude of one of the waves."""
        return float(np.abs(getattr(self, what)).max())


def source_of(tank: TankInput) -> SourceInput:
    if tank.source is None:
        raise BadInput(Fault("[source]", "start-up needs a source; add a [source] section"))
    return tank.source


def bridge_space(
    tank: TankInput, coil: tuple[float, float], frequency: float, state: Literal["plus", "minus", "open"] = "plus"
) -> StateSpace:
    """The network with the bridge in one state; input 0 is the bridge voltage (V), or the supply when current-fed.

    "open" leaves the bridge's terminals unconnected. Loss tangents are taken as the series resistance they are at
    `frequency` (Hz), a cable as LINE_SECTIONS T sections.
    """
    source = source_of(tank)
    drive: list[net.Element]
    if state == "open":
        drive = []
    elif not source.current_fed:
        drive = [net.VoltageSource("drive", "s", net.GROUND, 1.0)]
    else:
        if source.choke <= 0.0:
            raise BadInput(
                Fault(
                    "[source] choke",
                    'start-up of a current-fed bridge needs its choke, e.g. choke = { inductance = "1 mH" }',
                )
            )
        drive = [net.VoltageSource("drive", "supply", net.GROUND, 1.0)]
        drive += [
            net.Resistor("choke R", "supply", "choke m", source.choke_resistance or 1e-9),
            net.Inductor("choke L", "choke m", "dc", source.choke),
            net.IdealTransformer("bridge turn", "dc", net.GROUND, "s", net.GROUND, 1.0 if state == "plus" else -1.0),
        ]
    chain = build_chain(tank)
    circuit = to_circuit(chain, coil, drive, LINE_SECTIONS, frequency)
    return realise(circuit, frequency)


def watch(space: StateSpace, tank: TankInput, source: SourceInput) -> tuple[Array, Array]:
    """Rows (c, d) of source voltage, source current, coil current, bank voltage."""
    rows_c, rows_d = [], []
    coil = "i coil L" if "i coil L" in space.watched else "i coil R"
    driver = "i bridge turn" if source.current_fed else "i drive"
    for name, sign in (("v s", 1.0), (driver, -1.0), (coil, 1.0)):
        if name not in space.watched:
            rows_c.append(np.zeros(space.a.shape[0]))
            rows_d.append(np.zeros(space.b.shape[1]))
            continue
        rows_c.append(sign * space.c[space.index(name)])
        rows_d.append(sign * space.d[space.index(name)])
    near, far = bank_nodes(tank)
    for node, sign in ((near, 1.0), (far, -1.0)):
        if sign > 0.0:
            rows_c.append(space.c[space.index(f"v {node}")].copy())
            rows_d.append(space.d[space.index(f"v {node}")].copy())
        elif node != net.GROUND:
            rows_c[3] -= space.c[space.index(f"v {node}")]
            rows_d[3] -= space.d[space.index(f"v {node}")]
    return np.array(rows_c), np.array(rows_d)


def bank_nodes(tank: TankInput) -> tuple[str, str]:
    """Nodes the tank bank stands between in the circuit `to_circuit` writes."""
    node = "s"
    for k, step in enumerate(build_chain(tank)):
        following = f"n{k + 1}"
        if step.name == "tank":
            return (node, following) if step.kind == "series" else (node, net.GROUND)
        if step.kind != "shunt":
            node = following
    raise BadInput(Fault("tank", "has no tank capacitors"))


def _wave(
    time: list[float],
    x: list[Array],
    u: list[float],
    spaces: list[int],
    watch: list[tuple[Array, Array]],
    turn: list[float],
) -> Wave:
    values = np.empty((len(time), 4))
    for k in range(len(time)):
        c, d = watch[spaces[k]]
        values[k] = c @ x[k] + d[:, 0] * u[k]
    values[:, 1] *= np.array(turn)
    return Wave(np.array(time), *(np.ascontiguousarray(values[:, j]) for j in range(4)))


class Runner:
    """State of a voltage-fed bridge being stepped, with the record of what it went through."""

    def __init__(
        self, tank: TankInput, source: SourceInput, coil: tuple[float, float], frequency: float, swing: float
    ) -> None:
        self.closed = bridge_space(tank, coil, frequency)
        self.step = stepper(self.closed)
        self.c, self.d = watch(self.closed, tank, source)
        self.swing = swing
        self.x: Array = np.zeros(self.closed.a.shape[0])
        self.t = 0.0
        self.record: list[tuple[float, Array, float]] = []
        self._open: tuple[StateSpace, Callable[[float], tuple[Array, Array]], Array] | None = None
        self._recipe = (tank, source, coil, frequency)

    def current(self, x: Array, u: float) -> float:
        return float(self.c[1] @ x + self.d[1, 0] * u)

    def _note(self, u: float) -> None:
        self.record.append((self.t, self.c @ self.x + self.d[:, 0] * u, u))

    def drive(self, sign: float, duration: float, samples: int) -> None:
        u = sign * self.swing
        phi, gamma = self.step(duration / samples)
        kick = gamma[:, 0] * u
        self._note(u)
        for _ in range(samples):
            self.x = phi @ self.x + kick
            self.t += duration / samples
            self._note(u)

    def coast(self, duration: float, pieces: int) -> None:
        """All switches open: the diodes put the supply against the current; at its zero it reverses or stays off."""
        left = duration
        i = self.current(self.x, 0.0)
        sign = -1.0 if i > 0.0 else 1.0
        self._note(sign * self.swing)
        while left > 1e-15:
            dt = min(duration / pieces, left)
            u = sign * self.swing
            after = self._ahead(dt, u)
            if self.current(after, u) * sign > 0.0:  # the current has passed zero inside this piece
                dt = self._zero(dt, u, sign)
                self.x, self.t, left = self._ahead(dt, u), self.t + dt, left - dt
                self._note(u)
                if self._stays_off(-sign):
                    self._float(left, pieces)
                    return
                sign = -sign
                self._note(sign * self.swing)
                continue
            self.x, self.t, left = after, self.t + dt, left - dt
            self._note(u)

    def _ahead(self, dt: float, u: float) -> Array:
        phi, gamma = self.closed.step(dt) if dt != 0.0 else (np.eye(len(self.x)), np.zeros_like(self.closed.b))
        result: Array = phi @ self.x + gamma[:, 0] * u
        return result

    def _zero(self, dt: float, u: float, sign: float) -> float:
        from scipy.optimize import brentq

        if self.current(self.x, u) * sign >= 0.0:
            return 0.0
        return float(brentq(lambda t: self.current(self._ahead(t, u), u), 0.0, dt, xtol=1e-6 * dt))

    def _stays_off(self, sign: float) -> bool:
        """Whether the current, at zero, would not grow against the supply (voltage `sign` x swing opposes it)."""
        u = sign * self.swing
        slope = float(self.c[1] @ (self.closed.a @ self.x + self.closed.b[:, 0] * u))
        return slope * sign >= 0.0

    def _float(self, duration: float, pieces: int) -> None:
        """No current at the bridge until the next switch closes."""
        if self._open is None:
            tank, source, coil, frequency = self._recipe
            space = bridge_space(tank, coil, frequency, "open")
            self._open = (space, stepper(space), watch(space, tank, source)[0])
        space, step, c = self._open
        z = space.drop @ (self.closed.lift @ self.x)
        phi, _ = step(duration / pieces)
        self.record.append((self.t, c @ z, 0.0))
        for _ in range(pieces):
            z = phi @ z
            self.t += duration / pieces
            self.record.append((self.t, c @ z, 0.0))
        self.x = self.closed.drop @ (space.lift @ z)

    def wave(self) -> Wave:
        values = np.array([row for _, row, _ in self.record])
        return Wave(np.array([t for t, _, _ in self.record]), *(np.ascontiguousarray(values[:, k]) for k in range(4)))


def run_voltage_fed(
    tank: TankInput,
    source: SourceInput,
    coil: tuple[float, float],
    frequency: float,
    cycles: int,
    samples: int,
    swing: float,
) -> Wave:
    runner = Runner(tank, source, coil, frequency, swing)
    half = 0.5 / frequency
    dead = min(source.dead_time, 0.8 * half)
    for k in range(2 * cycles):
        sign = 1.0 if k % 2 == 0 else -1.0
        if dead > 0.0 and k > 0:
            runner.coast(dead, max(4, math.ceil(samples * dead / half)))
            runner.drive(sign, half - dead, samples)
        else:
            runner.drive(sign, half, samples)
    return runner.wave()


def run_current_fed(
    tank: TankInput,
    source: SourceInput,
    coil: tuple[float, float],
    frequency: float,
    cycles: int,
    samples: int,
    supply: float,
) -> Wave:
    spaces = [bridge_space(tank, coil, frequency, "plus"), bridge_space(tank, coil, frequency, "minus")]
    views = [watch(s, tank, source) for s in spaces]
    dt = 0.5 / frequency / samples
    steps = [s.step(dt) for s in spaces]
    x: Array = np.zeros(spaces[0].a.shape[0])
    time, states, used, turn = [0.0], [x], [0], [-1.0]
    for k in range(2 * cycles):
        now = k % 2
        if k > 0:
            x = spaces[1 - now].move(x, spaces[now])
        phi, gamma = steps[now]
        for _ in range(samples):
            x = phi @ x + gamma[:, 0] * supply
            time.append(time[-1] + dt)
            states.append(x)
            used.append(now)
            turn.append(-1.0 if now == 0 else 1.0)
    return _wave(time, states, [supply] * len(time), used, views, turn)
