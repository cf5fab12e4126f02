"""One time step of the heat balance; a trial that may be thrown away and repeated.

SDIRK of order 2 with gamma = 1 - 1/sqrt(2), L-stable (R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006), in enthalpy
form: what the balance adds to the enthalpy at the Gauss points is kept exactly, so heat is conserved through peaks and
latent heats. Newton iterations reuse one factorisation as long as they contract well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heat.assembly import Factor, Residual
from coilwright.heat.charge import Charges
from coilwright.heat.conduction import Far, Operators
from coilwright.heat.inputs import ThermalModel
from coilwright.heat.points import PointReader, reader
from coilwright.heat.radiation import Answer
from coilwright.section.quad9 import Array

Source = Callable[[float], Array]

GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
_REST = (1.0 - GAMMA) / GAMMA
_LTE = 0.0808  # local error of the scheme = this x dt^3 x second divided difference of the slope
# Where a peak of the specific heat passes, the slope jumps though the heat is followed well: at single places the error so
# told is too large. Against tight runs: 0.7 costs hardened steel 0.5 K in place of 0.3 K and saves a sixth of its steps; at
# 0.5 a ferrule through its Curie point was brazed 0.03 s late in place of 0.001 s.
_LOCAL = 0.7
_REUSE = 0.3  # a factorisation serves while its g is within this of the wanted one, and contracts better than this
_ITERATIONS = 30
# What is far is made anew only when a fresh factor with its earlier reaction has not settled a stage in so many steps: a melting
# alloy asks for fresh factors at every step, and its surroundings have no part in that.
_FAR_SERVES = 4


@dataclass(frozen=True, eq=False)
class ThermalState:
    """Everything that carries on: `time` s, `temperature` (n,) K, `enthalpy` (e, q) J/m^3 at the Gauss points, `slope`
    (n,) K/s at the end of the last step (None after a restart), `carry` (n,) J left by the last iteration and given to
    the next step, `burnt` and `spent` (e, q) shares of the charge (None without one)."""

    time: float
    temperature: Array
    enthalpy: Array
    carry: Array
    slope: Array | None = None
    burnt: Array | None = None
    spent: Array | None = None

    def restarted(self) -> ThermalState:
        """The same, its history forgotten: call it where the source jumps (switch-on, switch-off, new level)."""
        return replace(self, slope=None)


@dataclass(frozen=True, eq=False)
class Span:
    """Temperature between two times by cubic Hermite interpolation; nodal arrays."""

    start: float
    end: float
    temperatures: tuple[Array, Array]
    slopes: tuple[Array, Array]

    def at(self, time: float) -> Array:
        """Nodal temperature (n,) at a time within the step."""
        dt = self.end - self.start
        x = (time - self.start) / dt
        (a, b), (da, db) = self.temperatures, self.slopes
        left, right = (1.0 + 2.0 * x) * (1.0 - x) ** 2, x * x * (3.0 - 2.0 * x)
        return np.asarray(left * a + right * b + dt * x * (1.0 - x) * ((1.0 - x) * da - x * db))


@dataclass(frozen=True, eq=False)
class StepTrial:
    """A computed step. Unless `converged`, its state must not be used and `error_kelvin` is infinite.

    `error_kelvin` is the local time error (K), the larger of the worst region mean's and 0.7 of the worst node's.

    `losses` J to the surroundings by kind, `input` J from the source, `charge_heat` J, `stored` J, `unresolved` J
    left for the next step: stored = input + charge_heat - sum(losses) - unresolved.
    `burnt_step` is the largest change of the burnt share at any point.
    """

    state: ThermalState
    error_kelvin: float
    losses: Mapping[str, float]
    input: float
    charge_heat: float
    stored: float
    unresolved: float
    burnt_step: float
    iterations: int
    converged: bool
    span: Span
    stages: tuple[Array, Array]

    def strain(self, tolerance: float, burnt_limit: float = 0.04) -> float:
        """Error over tolerance (K), the burnt share counting by the third power of its step over its limit: above
        about 1 the step is too long."""
        return max(self.error_kelvin / tolerance, (self.burnt_step / burnt_limit) ** 3)


@dataclass(frozen=True)
class Extremes:
    """Coldest and hottest node and volume mean of a region, K."""

    coldest: float
    mean: float
    hottest: float


@dataclass(frozen=True, eq=False)
class _Stage:
    temperature: Array
    residual: Residual
    iterations: int
    converged: bool


class Stepper:
    """Steps one model in time. Keeps factorisations between calls (not for use by several threads at once), but the
    outcome depends on the state given alone, to within `newton_kelvin`."""

    def __init__(self, model: ThermalModel, newton_kelvin: float = 1e-3) -> None:
        self.model = model
        self.operators = Operators(model)
        self.charges = Charges(self.operators.regions, self.operators.kind, self.operators.weight)
        self.newton_kelvin = self._settled = newton_kelvin
        self._factor: Factor | None = None
        self._answer: tuple[Array, Answer] | None = None
        self._far_needed = False
        self.factorisations = 0

    # ---- states
    def start(
        self,
        temperature: float | dict[str, float] | Array,
        *,
        burnt: Array | None = None,
        spent: Array | None = None,
        time: float = 0.0,
    ) -> ThermalState:
        """State at the beginning: temperature K as a number, by region or nodal (n,); burnt and spent (e, q)."""
        ops = self.operators
        nodal = ops.nodal(temperature)
        if self.charges:
            shares = [np.zeros(ops.weight.shape) if a is None else np.array(a, dtype=float) for a in (burnt, spent)]
            for share in shares:
                if share.shape != ops.weight.shape or np.any(share < 0.0) or np.any(share > 1.0 + 1e-9):
                    raise BadInput(Fault("burnt share", f"must be 0..1 with shape {ops.weight.shape}"))
            return ThermalState(time, nodal, ops.enthalpy(nodal), np.zeros(ops.nodes), None, *shares)
        return ThermalState(time, nodal, ops.enthalpy(nodal), np.zeros(ops.nodes))

    def next_shot(
        self, state: ThermalState, temperature: float | dict[str, float] | Array | None = None
    ) -> ThermalState:
        """Start of a further shot at time 0: temperatures stay unless given anew, and what an incomplete shot left of
        the charge is partly dead (`ChargeInput.refire_share`)."""
        if state.burnt is None or state.spent is None:
            return self.start(state.temperature if temperature is None else temperature)
        spent = self.charges.spent_after_shot(state.burnt, state.spent)
        return self.start(state.temperature if temperature is None else temperature, burnt=state.burnt, spent=spent)

    # ---- readings
    def at_gauss(self, state: ThermalState) -> Array:
        """Temperature (e, q), K, at the mesh's Gauss points."""
        return self.operators.at_gauss(state.temperature)

    def volumetric_heat(self, state: ThermalState) -> Array:
        """Heat capacity (e, q), J/m^3/K, at the Gauss points."""
        kelvin, out = self.at_gauss(state), np.empty(self.operators.weight.shape)
        for number, region in enumerate(self.operators.regions):
            rows = self.operators.kind == number
            out[rows] = region.material.volumetric_heat(kelvin[rows])
        return out

    def extremes(self, temperature: Array) -> dict[str, Extremes]:
        """Per region, from nodal temperatures (n,)."""
        means = self.operators.mean_rows @ temperature
        out = {}
        for number, name in enumerate(self.model.mesh.regions):
            values = temperature[self._nodes_of(number)]
            out[name] = Extremes(float(values.min()), float(means[number]), float(values.max()))
        return out

    def region_extremes(self, state: ThermalState) -> dict[str, Extremes]:
        """Coldest, mean and hottest temperature of every region."""
        return self.extremes(state.temperature)

    def _nodes_of(self, number: int) -> Array:
        if not hasattr(self, "_region_nodes"):
            ops = self.operators
            self._region_nodes = [np.unique(ops.quads[ops.kind == k]) for k in range(len(ops.regions))]
        return np.asarray(self._region_nodes[number])

    def at_points(self, points: Array, names: tuple[str, ...] = ()) -> PointReader:
        """Operator that reads nodal fields at points (k, 2); BadInput for points outside every body."""
        return reader(self.operators.points, self.operators.quads, points, names)

    def burnt_means(self, state: ThermalState) -> dict[str, float]:
        """Mean burnt share of every charge."""
        return {n: self.charges.mean(n, state.burnt) for n in self.charges.names} if state.burnt is not None else {}

    def spent_means(self, state: ThermalState) -> dict[str, float]:
        """Mean share of every charge that a former shot has made useless."""
        return {n: self.charges.mean(n, state.spent) for n in self.charges.names} if state.spent is not None else {}

    def power_out(self, state: ThermalState) -> dict[str, float]:
        """Heat leaving to the surroundings now, W, by kind."""
        ops = self.operators
        far = ops.far(state.temperature, self._answer_at(state.temperature))
        radiated = ops.residual(state.temperature, state.enthalpy, 0.0, far).radiated
        return ops.losses(state.temperature, radiated)

    # ---- the step
    def step(
        self,
        state: ThermalState,
        dt: float,
        source: Source | None,
        near: StepTrial | None = None,
        settled: float | None = None,
    ) -> StepTrial:
        """Trial step of `dt` s from `state` with `source`(t) -> (e, q) W/m^3 (None: no source).

        `near`, an earlier trial from the same state, gives the first guess (repeat with a corrected source). `settled` (K,
        default `newton_kelvin`) is what a stage may be left to err by: a trial to be corrected needs no more.
        """
        self._settled = max(settled or 0.0, self.newton_kelvin)
        if not dt > 0.0:
            raise BadInput(Fault("step", f"must be longer than 0 s; received {dt}"))
        early, late = self._source_at(source, state.time + GAMMA * dt), self._source_at(source, state.time + dt)
        answer = self._answer_at(state.temperature)
        if not self.charges or state.burnt is None or state.spent is None:
            return self._advance(state, dt, early, late, answer, near, None, 0.0)
        return self._with_charge(state, dt, early, late, answer, near)

    def _source_at(self, source: Source | None, time: float) -> Array | None:
        return None if source is None else source(time)

    def _with_charge(
        self,
        state: ThermalState,
        dt: float,
        early: Array | None,
        late: Array | None,
        answer: Answer | None,
        near: StepTrial | None,
    ) -> StepTrial:
        """Repeats the step until the burnt share and the end temperature agree."""
        ops, charges = self.operators, self.charges
        assert state.burnt is not None and state.spent is not None  # noqa: S101  # by the caller
        before = ops.at_gauss(state.temperature)
        slope = ops.at_gauss(state.slope) if state.slope is not None else 0.0
        end = ops.at_gauss(near.state.temperature) if near is not None else before + dt * slope
        burnt = charges.after(state.burnt, state.spent, before, end, dt)
        for _ in range(8):
            change = burnt - state.burnt
            near = self._advance(
                state, dt, early, late, answer, near, burnt, float(np.abs(change).max()), charges.heat(change)
            )
            if not near.converged:
                return near
            again = charges.after(state.burnt, state.spent, before, ops.at_gauss(near.state.temperature), dt)
            rest = np.abs(charges.heat(again - burnt))
            capacity = np.abs(near.state.enthalpy - state.enthalpy) / np.maximum(
                np.abs(ops.at_gauss(near.state.temperature) - before), 1e-6
            )
            if np.all(rest <= 50.0 * self._settled * np.maximum(capacity, 1e5)):
                return near
            burnt = again
        return replace(near, converged=False, error_kelvin=math.inf) if near is not None else self._never()

    def _never(self) -> StepTrial:
        raise AssertionError("a loop of fixed length ran without a pass")

    def _advance(
        self,
        state: ThermalState,
        dt: float,
        early: Array | None,
        late: Array | None,
        answer: Answer | None,
        near: StepTrial | None,
        burnt: Array | None,
        burnt_step: float,
        heat: Array | None = None,
    ) -> StepTrial:
        """Both stages. `heat` (e, q) J/m^3 is the charge's share, spread evenly over the step."""
        ops, g, start = self.operators, GAMMA * dt, state.temperature
        per_time = 0.0 if heat is None else heat / dt
        slope = state.slope if state.slope is not None else np.zeros(ops.nodes)
        guess = near.stages[0] if near is not None else start + g * slope
        base = state.enthalpy + g * ((0.0 if early is None else early) + per_time)
        carry = GAMMA * state.carry
        one = self._stage(guess, start, base, carry, g, answer)
        k1 = (one.temperature - start) / g
        grown = one.residual.enthalpy - state.enthalpy
        base = state.enthalpy + _REST * grown + g * ((0.0 if late is None else late) + per_time)
        guess = near.stages[1] if near is not None else start + dt * k1
        two = self._stage(guess, start, base, carry + _REST * one.residual.nodal, g, answer)
        k2 = (two.temperature - start - (1.0 - GAMMA) * dt * k1) / g
        converged = one.converged and two.converged
        end = ThermalState(
            state.time + dt, two.temperature, two.residual.enthalpy, two.residual.nodal, k2, burnt, state.spent
        )
        begin = state.slope if state.slope is not None else k1 - (k2 - k1) * GAMMA / (1.0 - GAMMA)
        return StepTrial(
            state=end,
            error_kelvin=self._error(dt, state.slope, k1, k2) if converged else math.inf,
            losses=self._lost(dt, one, two),
            input=dt * ((1.0 - GAMMA) * self._power(early) + GAMMA * self._power(late)),
            charge_heat=0.0 if heat is None else ops.total(heat),
            stored=ops.total(end.enthalpy - state.enthalpy),
            unresolved=float(end.carry.sum() - state.carry.sum()),
            burnt_step=burnt_step,
            iterations=one.iterations + two.iterations,
            converged=converged,
            span=Span(state.time, end.time, (start, two.temperature), (begin, k2)),
            stages=(one.temperature, two.temperature),
        )

    def _error(self, dt: float, before: Array | None, k1: Array, k2: Array) -> float:
        """Local error (K): from the second divided difference of the temperature's slope; at a restart, a tenth of its
        change. In the mean of a region it adds up from step to step; at single places it counts less (`_LOCAL`)."""
        if before is None:
            missed = 0.1 * dt * (k2 - k1)
        else:
            missed = _LTE * dt * ((k2 - k1) / (1.0 - GAMMA) - (k1 - before) / GAMMA)
        whole = np.abs(self.operators.mean_rows @ missed).max()
        return float(max(whole, _LOCAL * np.abs(missed).max()))

    def _power(self, source: Array | None) -> float:
        return 0.0 if source is None else self.operators.total(source)

    def _lost(self, dt: float, one: _Stage, two: _Stage) -> dict[str, float]:
        a, b = (self.operators.losses(s.temperature, s.residual.radiated) for s in (one, two))
        return {kind: dt * ((1.0 - GAMMA) * a[kind] + GAMMA * b[kind]) for kind in a}

    def _stage(self, guess: Array, start: Array, base: Array, extra: Array, g: float, answer: Answer | None) -> _Stage:
        """Solves one implicit stage by Newton's method."""
        ops = self.operators
        even = ops.is_even(start, base)
        base = ops.looked_at(base, even)
        temperature, last, old = (ops.evened(guess) if even else guess), start, math.inf
        far = ops.far(temperature, answer)
        residual = self._residual(temperature, base, extra, g, far, even)
        fresh = False
        for count in range(1, _ITERATIONS + 1):
            factor = self._factor
            if factor is None or abs(g / factor.g - 1.0) > _REUSE or (factor.half is not None) != even:
                factor, fresh = self._refactor(temperature, last, g, far, answer, even), True
            step = factor.solve(residual.nodal)
            size = float(np.abs(step).max())
            if not math.isfinite(size) or size > 1e5:
                break
            last, temperature = temperature, np.maximum(temperature + step, 1.0)
            far = ops.far(temperature, answer)
            residual = self._residual(temperature, base, extra, g, far, even)
            if _left(size, old) < self._settled:
                return _Stage(temperature, residual, count, True)
            if size > _REUSE * old:
                self._far_needed = self._far_needed or fresh
                anew = fresh and count > _FAR_SERVES
                factor, fresh = self._refactor(temperature, last, g, far, answer, even, far_anew=anew), True
            old = size
        self._factor = None
        return _Stage(temperature, residual, _ITERATIONS, False)

    def _residual(self, temperature: Array, base: Array, extra: Array, g: float, far: Far, even: bool) -> Residual:
        residual = self.operators.residual(temperature, base, g, far, even)
        return replace(residual, nodal=residual.nodal + extra)

    def _refactor(
        self, temperature: Array, last: Array, g: float, far: Far, answer: Answer | None, even: bool, far_anew: bool = False
    ) -> Factor:
        """A factor for here and now; what is far keeps the reaction it had while it serves, unless `far_anew`."""
        self.factorisations += 1
        factor, earlier = self.operators.factor(temperature, last, g, far, even), self._factor
        if self._far_needed and (answer is not None or self.model.contacts):
            if far_anew or earlier is None or earlier.spread is None:
                factor = self.operators.with_far(factor, temperature, answer)
            else:
                factor = factor.with_far_of(earlier)
        self._factor = factor
        return factor

    def _answer_at(self, temperature: Array) -> Answer | None:
        """The exchange solved for the emissivities at this temperature (kept while they stay within 1e-4)."""
        exchange = self.operators.exchange
        if exchange is None:
            return None
        _, emissivity = self.operators.patch_emission(temperature)
        if self._answer is None or np.abs(emissivity - self._answer[0]).max() > 1e-4:
            self._answer = (emissivity, exchange.answer(emissivity))
        return self._answer[1]


def _left(size: float, old: float) -> float:
    """K by which a stage errs after a step of `size` K that followed one of `old` K, at the rate at which they shrink."""
    rate = size / old if math.isfinite(old) else 1.0
    return size * rate / (1.0 - rate) if rate < _REUSE else size
