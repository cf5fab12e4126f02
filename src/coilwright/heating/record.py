"""From the moments of a march to the trace a person reads, at the integrator's steps or at a chosen interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heat.charge import crossing
from coilwright.heat.points import PointReader
from coilwright.heat.stepper import Stepper
from coilwright.heating.march import March, Moment
from coilwright.heating.programme import SAME_TIME
from coilwright.heating.result import BodyTrace, CoilTrace, SourceTrace, Trace
from coilwright.heating.tank_source import TankSource
from coilwright.section.quad9 import Array


@dataclass(frozen=True, eq=False)
class Readers:
    """Operators that read the named points which lie inside a body; the others belong to the field only."""

    names: tuple[str, ...]
    reader: PointReader | None

    def __call__(self, temperature: Array) -> Array:
        return np.zeros(0) if self.reader is None else self.reader(temperature)


def readers_of(stepper: Stepper, points: dict[str, tuple[float, float]]) -> Readers:
    """Readers for all points that lie in a body."""
    inside, reader = [], None
    for name, place in points.items():
        try:
            stepper.at_points(np.array([place]), (name,))
        except BadInput:
            continue
        inside.append(name)
    if inside:
        reader = stepper.at_points(np.array([points[n] for n in inside]), tuple(inside))
    return Readers(tuple(inside), reader)


def trace_of(
    march: March,
    stepper: Stepper,
    readers: Readers,
    every: float | None = None,
    tank: TankSource | None = None,
) -> Trace:
    """The trace at every accepted step, or every `every` seconds by the integrator's own interpolation.

    `tank` adds what the source and its tank did at those times.
    """
    trace = _trace(march, stepper, readers, every)
    return trace if tank is None else replace(trace, source=_source(trace.coil, tank))


def _source(coil: CoilTrace, tank: TankSource) -> SourceTrace:
    """The network is linear: its flows at a given frequency and coil impedance, scaled to the coil current that flowed."""
    rows = []
    for k in range(len(coil.current)):
        impedance = complex(coil.resistance[k], 2.0 * np.pi * coil.frequency[k] * coil.inductance[k])
        rows.append(tank.flows(impedance, float(coil.frequency[k]), float(coil.current[k])))
    voltage, current, power, phase, bank_voltage, bank_current = np.array([r[:6] for r in rows], dtype=float).T
    lost = np.array([r[6] for r in rows], dtype=float)
    losses = {name: lost[:, k] for k, name in enumerate(tank.tank.loss_names)}
    return SourceTrace(voltage, current, power, phase, bank_voltage, bank_current, losses)


def _trace(march: March, stepper: Stepper, readers: Readers, every: float | None) -> Trace:
    moments = list(march.moments)
    if every is not None:
        if every <= 0.0:
            raise BadInput(Fault("--every", f"must be a time above 0; received {every:g} s"))
        return _sampled(moments, stepper, readers, every)
    temperatures = [m.state.temperature for m in moments]
    return _assemble([m.time for m in moments], temperatures, moments, moments, [0.0] * len(moments), stepper, readers)


def _sampled(moments: list[Moment], stepper: Stepper, readers: Readers, every: float) -> Trace:
    end = moments[-1].time
    count = int(np.floor(end / every * (1.0 + 1e-12)))
    times = [k * every for k in range(count + 1)]
    if end - times[-1] > SAME_TIME:
        times.append(end)
    ends = np.array([m.time for m in moments])
    temperatures, before, after, shares = [], [], [], []
    for t in times:
        k = min(int(np.searchsorted(ends, t - SAME_TIME, side="left")), len(moments) - 1)
        m = moments[k]
        previous = moments[max(k - 1, 0)]
        if m.span is None or abs(m.time - t) <= SAME_TIME:
            temperatures.append(m.state.temperature)
            shares.append(1.0)
        else:
            temperatures.append(m.span.at(t))
            shares.append((t - previous.time) / (m.time - previous.time))
        before.append(previous)
        after.append(m)
    return _assemble(times, temperatures, before, after, shares, stepper, readers, blend=True)


def _assemble(
    times: Sequence[float],
    temperatures: Sequence[Array],
    before: Sequence[Moment],
    after: Sequence[Moment],
    shares: Sequence[float],
    stepper: Stepper,
    readers: Readers,
    *,
    blend: bool = False,
) -> Trace:
    def mixed(read: object) -> Array:
        late = np.array([read(m) for m in after])  # type: ignore[operator]
        if not blend:
            return late
        early = np.array([read(m) for m in before])  # type: ignore[operator]
        return np.asarray(early + np.array(shares) * (late - early))

    extremes = [stepper.extremes(t) for t in temperatures]
    burnt = [stepper.burnt_means(m.state) for m in after]
    bodies = {}
    for name in stepper.model.mesh.regions:
        fired = None
        if name in burnt[0]:
            fired = _burnt(name, times, before, after, stepper) if blend else np.array([b[name] for b in burnt])
        bodies[name] = BodyTrace(
            np.array([e[name].coldest for e in extremes]),
            np.array([e[name].mean for e in extremes]),
            np.array([e[name].hottest for e in extremes]),
            mixed(lambda m, name=name: m.loss.bodies.get(name, 0.0) * m.answer.current**2),
            fired,
        )
    at_points = np.array([readers(t) for t in temperatures])
    points = {name: at_points[:, k] for k, name in enumerate(readers.names)}
    current = mixed(lambda m: m.answer.current)
    frequency = mixed(lambda m: m.answer.frequency)
    resistance = mixed(lambda m: m.loss.impedance.real)
    reactance = mixed(lambda m: m.loss.impedance.imag)
    coil = CoilTrace(
        reactance / (2.0 * np.pi * frequency),
        resistance,
        current,
        current * np.hypot(resistance, reactance),
        current**2 * resistance,
        frequency,
    )
    return Trace(np.array(times), bodies, points, coil)


def _burnt(
    name: str, times: Sequence[float], before: Sequence[Moment], after: Sequence[Moment], stepper: Stepper
) -> Array:
    """Burnt share between steps: linear, which the limit of 0.04 on a step keeps within a few thousandths."""
    out = []
    for t, a, b in zip(times, before, after, strict=True):
        low, high = stepper.burnt_means(a.state)[name], stepper.burnt_means(b.state)[name]
        share = 1.0 if b.time <= a.time else (t - a.time) / (b.time - a.time)
        out.append(low + min(max(share, 0.0), 1.0) * (high - low))
    return np.array(out)


def fired_at(march: March, stepper: Stepper, body: str, share: float) -> float | None:
    """Moment (s) at which the mean burnt share of a body's charge passes `share`, by the law's own exponential."""
    law = stepper.charges.charge(body).law
    moments = march.moments
    for a, b in pairwise(moments):
        low, high = (stepper.burnt_means(m.state)[body] for m in (a, b))
        if low < share <= high:
            kelvin = tuple(stepper.extremes(m.state.temperature)[body].mean for m in (a, b))
            alive = 1.0 - stepper.spent_means(b.state)[body]
            return crossing(law, (a.time, b.time), (kelvin[0], kelvin[1]), (low, high), share, alive)
    return None
