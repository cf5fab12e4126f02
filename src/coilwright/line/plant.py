"""The healthy machine and what a change does to everything that can be read: the model behind every cause.

One station is solved by the field of the job (coil at a row of setbacks, the part of other resistivity, cut, or absent) and
its shot by a handful of full coupled shots at other currents. N stations hang on the source in series, parallel or
separately; the coupling between neighbours is left out here (with the usual spacings it changes a part's power by
less than the readings can show, and it is the same before and after). Temperatures enter through the shots only: the
readings of the totals are those of cold parts. Coils askew come from the pose engine; pick-up loops and shorted turns from
thin loops at the places of the turns, scaled to the solved field of the straight coil.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coilwright.job import Job
from coilwright.job.schema_fixture import Control, Feed, read_fixture
from coilwright.line.askew import FLUX, POWER, REACTANCE, RESISTANCE, AskewCurve

Array = NDArray[np.float64]
# The least power that makes a good part is known only so well (emissivity, charge, contact): standard deviation 6 % of power
# (memory), as five nodes of a normal distribution.
_nodes, _weights = np.polynomial.hermite_e.hermegauss(5)
MARGIN_DOUBT, MARGIN_WEIGHTS = 0.06 * _nodes, _weights / _weights.sum()


@dataclass(frozen=True)
class Line:
    """What is taken from [fixture]: number of stations, feed, and what the source holds."""

    stations: int
    feed: Feed
    control: Control


def read_line(job: Job) -> Line:
    """Stations of the job; one station on the source of [drive] without a [fixture]. Raises BadInput."""
    fixture = read_fixture(job)
    return Line(fixture.stations, fixture.feed, fixture.control)


@dataclass(frozen=True, eq=False)
class Condition:
    """States of the machine, one per row; (g, n) by station or (g,) for the whole. Zero everywhere is healthy.

    `coil_back`, `nest_back`, `part_back` (m): the coil, the nest, the part in its nest (thicker glass) farther apart;
    `sideways` (m), `tilt` (rad) of the coil; `resistivity`, `mass` (ln) of the part; `absent`, `cut`, `short`: 0 or 1;
    `copper` (ln) coil resistance; `lead` extra inductance as a share of the coil's; `joint` extra resistance as a share of
    the whole healthy resistance; `capacitance`, `mains`, `setting`, `limit`, `timer`, `flow` (ln; `limit`: a source that
    holds itself back); `weak` share of pieces that fail whatever the power, `careless` ln of the spread from piece to piece.
    """

    coil_back: Array
    nest_back: Array
    part_back: Array
    sideways: Array
    tilt: Array
    resistivity: Array
    mass: Array
    absent: Array
    cut: Array
    short: Array
    copper: Array
    lead: Array
    joint: Array
    capacitance: Array
    mains: Array
    setting: Array
    limit: Array
    timer: Array
    flow: Array
    weak: Array
    careless: Array

    COMMON = ("joint", "capacitance", "mains", "setting", "limit", "timer", "flow", "weak", "careless")

    @classmethod
    def healthy(cls, rows: int, stations: int) -> Condition:
        shape = {name: (rows,) if name in cls.COMMON else (rows, stations) for name in cls.__dataclass_fields__}
        return cls(**{name: np.zeros(s) for name, s in shape.items()})

    @classmethod
    def stack(cls, parts: Sequence[Condition]) -> Condition:
        return cls(**{k: np.concatenate([getattr(p, k) for p in parts]) for k in cls.__dataclass_fields__})

    def take(self, rows: Any) -> Condition:
        return Condition(**{k: getattr(self, k)[rows] for k in self.__dataclass_fields__})


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a machine in some states shows: `ratios` ln (or m, for setback) by reading, (g,) or (g, n); `bad` (s, g, n) the
    chance that a piece is bad, for each of MARGIN_DOUBT; `power` (g, n) ln of the power in the part over the healthy one."""

    ratios: dict[str, Array]
    bad: Array
    power: Array

    @property
    def expected_bad(self) -> Array:
        """(g, n) chance that a piece is bad, the doubt of the margin averaged over."""
        return np.asarray(np.tensordot(MARGIN_WEIGHTS, self.bad, 1))


@dataclass(frozen=True, eq=False)
class ShotCurve:
    """ln of the times (s) of start and of the event of every acceptance against ln power; limits they must keep.

    `late`: (ln power grid, ln time, ln limit, whether the limit is the timer). `hot`: ln power above which a part is
    over-heated (inf without such an acceptance). `warm`: what the part adds to the coil at the end of the on-time over what
    it adds cold.
    """

    ln_power: Array
    ln_start: Array
    late: tuple[tuple[Array, float, bool], ...]
    hot: float
    warm: NDArray[np.complex128]

    def warmed(self, ln_power: Array) -> NDArray[np.complex128]:
        real, imag = (np.interp(ln_power, self.ln_power, x) for x in (self.warm.real, self.warm.imag))
        return np.asarray(real + 1j * imag)

    def total(self, ln_power: Array) -> Array:
        """ln of the time (s) until the last acceptance that has one is met."""
        times = [line_through(self.ln_power, x, ln_power) for x, _, _ in self.late]
        return np.maximum.reduce(times) if times else self.start(ln_power)

    def start(self, ln_power: Array) -> Array:
        return line_through(self.ln_power, self.ln_start, ln_power)

    def least_power(self, ln_timer: Array) -> Array:
        """ln power at which a part is just done in time, (g,)."""
        out = np.full(np.shape(ln_timer), -np.inf)
        for times, limit, by_timer in self.late:
            wanted = limit + (ln_timer if by_timer else 0.0)
            out = np.maximum(out, line_through(-times, self.ln_power, -wanted))
        return out


def line_through(x: Array, y: Array, at: Any) -> Array:
    """Piecewise linear, carried on beyond both ends with the last slopes; x rising."""
    at = np.asarray(at, float)
    k = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    return np.asarray(y[k] + (at - x[k]) * (y[k + 1] - y[k]) / (x[k + 1] - x[k]))


@dataclass(frozen=True, eq=False)
class Plant:
    """One machine: curves of its stations, its circuit, its shot. Make one with `build.build_plant`, ask `predict`."""

    line: Line
    frequency: float
    current: float
    on_time: float
    spread: float
    backs: Array
    part_z: NDArray[np.complex128]
    part_power: Array
    empty: complex
    empty_back: NDArray[np.complex128]
    rest: float
    ln_rho: Array
    rho_z: NDArray[np.complex128]
    rho_power: Array
    cut_power: float
    cut_z: complex
    shorted: tuple[float, float, float]
    pick_up: Array
    aside: AskewCurve
    tilted: AskewCurve
    slopes: tuple[float, float]
    shot: ShotCurve
    cans: int
    charged: bool
    glazed: bool
    gain: float = 1.0  # how much more a setback does than the model says, measured by moving a coil on purpose
    sourced: Mapping[str, float] = field(default_factory=dict)  # healthy readings, SI, that the job's own source tells

    @property
    def reach(self) -> float:
        """Largest setback (m) the curves hold for."""
        return float(self.backs[-1]) / max(self.gain, 1.0)

    @property
    def forward(self) -> float:
        """Farthest the coil may come nearer (m), zero or positive."""
        return float(-self.backs[0]) / max(self.gain, 1.0)

    def predict(self, c: Condition) -> Outcome:
        """All readings and the chance of bad pieces for states of the machine."""
        zero = Condition.healthy(1, self.line.stations)
        base = self.circuit(zero)
        now = self.circuit(c)
        power = np.log(np.maximum(now["part"] / base["part"], 1e-9)) + np.log(np.maximum(1.0 - c.absent, 1e-9))
        effective = power - c.mass
        nothing = np.zeros((1, self.line.stations))
        base |= self.terminals(zero, nothing)
        now |= self.terminals(c, effective)
        ratios = {k: np.log(np.maximum(v, 1e-12) / base[k]) for k, v in now.items() if k != "part"}
        ratios["setback"] = c.coil_back
        for name in ("capacitance", "mains", "setting"):
            ratios[name] = getattr(c, name)
        ratios["on-time"] = c.timer
        ratios["flow"] = c.flow
        ratios["part-mass"] = c.mass.mean(axis=1)
        ratios["part-resistance"] = (c.resistivity + 12.0 * c.cut).mean(axis=1)
        for name, time in (("start", self.shot.start), ("total", self.shot.total)):
            ratios[name] = np.minimum(time(effective) - time(np.zeros(1)), 1.5)
        return Outcome(ratios, self._bad(c, effective), power)

    def _bad(self, c: Condition, effective: Array) -> Array:
        from scipy.special import ndtr

        spread = (self.spread * np.exp(c.careless))[:, None]
        shift = MARGIN_DOUBT[:, None, None]
        late = ndtr((self.shot.least_power(c.timer)[:, None] + shift - effective) / spread)
        hot = ndtr((effective - self.shot.hot - shift) / spread) if math.isfinite(self.shot.hot) else 0.0
        fails = np.clip(late + hot, 0.0, 1.0)
        return np.asarray(1.0 - (1.0 - fails) * (1.0 - c.weak[:, None]))

    def _station(
        self, c: Condition, f: Array, warm: NDArray[np.complex128] | None = None
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Resistance and reactance of every coil with its leads, part power per A^2, empty R and X; f is f/f0 (g, 1).

        `warm`: what the parts add is multiplied by it; cold parts without."""
        place = self.gain * (c.coil_back + c.nest_back + c.part_back)
        bare = c.coil_back
        askew, askew_z = self._askew(c, POWER), self._askew(c, RESISTANCE) + 1j * self._askew(c, REACTANCE)
        of_place = self._curve(self.part_power, place) / self.part_power_0
        rho_gain = np.interp(c.resistivity, self.ln_rho, self.rho_power) / np.interp(0.0, self.ln_rho, self.rho_power)
        z0 = np.interp(0.0, self.ln_rho, self.rho_z.real) + 1j * np.interp(0.0, self.ln_rho, self.rho_z.imag)
        rho_z = (np.interp(c.resistivity, self.ln_rho, self.rho_z.real)
                 + 1j * np.interp(c.resistivity, self.ln_rho, self.rho_z.imag)) / z0  # fmt: skip
        whole = 1.0 - c.cut
        added = (
            self._curve(self.part_z.real, place) * askew_z.real
            + 1j * self._curve(self.part_z.imag, place) * askew_z.imag
        )
        added = (added * rho_z * whole + self.cut_z * c.cut * askew) * (1.0 - c.absent)
        if warm is not None:
            added = np.asarray(added * warm)
        power = self.part_power_0 * of_place * askew * rho_gain * whole + self.cut_power * askew * c.cut
        s_r, s_l, s_p = (1.0 - c.short + c.short * s for s in self.shorted)
        empty_x = (self._curve(self.empty_back.imag, bare) + c.lead * self.empty.imag) * f
        empty_r = self._curve(self.empty_back.real, bare) * np.exp(c.copper) * f ** self.slopes[0]
        part_f = f ** self.slopes[1]
        r = (empty_r + added.real * part_f) * s_r
        x = (empty_x + added.imag * f) * s_l
        return r, x, power * part_f * s_p * (1.0 - c.absent), empty_r * s_r, empty_x * s_l

    @property
    def part_power_0(self) -> float:
        return float(np.interp(0.0, self.backs, self.part_power))

    def _curve(self, values: Array, at: Array) -> Array:
        return np.interp(at, self.backs, values)

    def circuit(self, c: Condition) -> dict[str, Array]:
        """Terminals and stations with cold parts, in absolute numbers (source at its healthy setting, unit: healthy current)."""
        f = self._tuned(c)
        r, x, part, empty_r, empty_x = self._station(c, f)
        run = self._run(c, r, x)
        volts = np.abs(r + 1j * x) * run.currents
        copper = (run.currents**2 * empty_r).sum(axis=1)
        bare = _shares(empty_r + 1j * empty_x, self.line.feed)
        bare_r = (np.abs(bare) ** 2 * empty_r).sum(axis=1) + self._rest_of(c)
        at_rest = self._station(c, np.ones_like(f))
        return {
            "frequency": f[:, 0] * self.frequency,
            "q": run.x / run.r,
            "q-empty": (np.abs(bare) ** 2 * empty_x).sum(axis=1) / bare_r,
            "coil-current": run.current,
            "tank-voltage": run.current * np.hypot(run.r, run.x),
            "source-power": run.current**2 * run.r,
            "outlet-rise": copper * np.exp(-c.flow),
            "pick-up": self._pick_up(c) * run.currents * f,
            "gauge-step": self._gauge(c),
            "voltage-share": volts / volts.sum(axis=1, keepdims=True),
            "resistance": at_rest[0],
            "inductance": at_rest[1],
            "resistance-empty": at_rest[3],
            "inductance-empty": at_rest[4],
            "part": part * run.currents**2,
        }

    def terminals(self, c: Condition, effective: Array) -> dict[str, Array]:
        """The totals with all parts out, and with parts as hot as at the end of a shot at `effective` (g, n) ln power."""
        nothing = np.zeros_like(c.absent, dtype=complex)
        out = {}
        for end, warm in (("empty", nothing), ("hot", self.shot.warmed(effective))):
            f = self._tuned(c, warm)
            r, x, _, _, _ = self._station(c, f, warm)
            run = self._run(c, r, x)
            out[f"frequency-{end}"] = f[:, 0] * self.frequency
            out[f"coil-current-{end}"] = run.current
            out[f"source-power-{end}"] = run.current**2 * run.r
            if end == "hot":
                out["q-hot"] = run.x / run.r
                out["tank-voltage-hot"] = run.current * np.hypot(run.r, run.x)
        return out

    def _tuned(self, c: Condition, warm: NDArray[np.complex128] | None = None) -> Array:
        """(g, 1) frequency over the healthy one at which the tank rings."""
        healthy_x = self._sum_x(Condition.healthy(1, self.line.stations), np.ones((1, 1)), None)
        f = np.ones((len(c.mains), 1))
        for _ in range(3):
            inductance = self._sum_x(c, f, warm) / f[:, 0]
            f = np.sqrt(healthy_x / (inductance * np.exp(c.capacitance)))[:, None]
        return f

    def _rest_of(self, c: Condition) -> Array:
        return np.asarray(self.rest + c.joint * (self.rest + self._healthy_r))

    def _run(self, c: Condition, r: Array, x: Array) -> _Run:
        """Currents that the source drives through coils of these resistances and reactances."""
        z, rest, held = r + 1j * x, self._rest_of(c), self.line.control
        shares = _shares(z, self.line.feed)
        whole_r = (np.abs(shares) ** 2 * r).sum(axis=1) + rest
        whole_x = (np.abs(shares) ** 2 * x).sum(axis=1)
        drive = np.exp(c.mains + c.setting + c.limit)
        if self.line.feed == "separate":
            own = r + rest[:, None] / self.line.stations
            currents = _strength(held, own, np.abs(z)) * drive[:, None]
            return _Run(whole_r, whole_x, np.sqrt(np.mean(currents**2, axis=1)), currents)
        total = _strength(held, whole_r, np.hypot(whole_r, whole_x)) * drive
        return _Run(whole_r, whole_x, total, np.abs(shares) * total[:, None])

    def _askew(self, c: Condition, what: int) -> Array:
        """What offset and tilt leave; no cause here has both at once, in which case they would not simply multiply."""
        return self.aside(what, c.sideways) * self.tilted(what, c.tilt)

    def _pick_up(self, c: Condition) -> Array:
        """Flux through a loop in the nest (on a dummy part, so that the part itself plays no role)."""
        shorted = 1.0 - c.short + c.short * math.sqrt(self.shorted[2])
        return self._curve(self.pick_up, self.gain * (c.coil_back + c.nest_back)) * self._askew(c, FLUX) * shorted

    def _gauge(self, c: Condition) -> Array:
        """Step in resistance that one known part makes in the nest."""
        shorted = 1.0 - c.short + c.short * self.shorted[2]
        back = self.gain * (c.coil_back + c.nest_back)
        return self._curve(self.part_z.real, back) * self._askew(c, RESISTANCE) * shorted

    @property
    def _healthy_r(self) -> float:
        z = np.interp(0.0, self.backs, self.part_z.real) + self.empty.real
        n = self.line.stations
        return float(z / n if self.line.feed == "parallel" else z * n)

    def _sum_x(self, c: Condition, f: Array, warm: NDArray[np.complex128] | None) -> Array:
        r, x, _, _, _ = self._station(c, f, warm)
        shares = _shares(r + 1j * x, self.line.feed)
        return np.asarray((np.abs(shares) ** 2 * x).sum(axis=1))


@dataclass(frozen=True, eq=False)
class _Run:
    """Resistance and reactance of the whole (g,), its current (g,) and those of the coils (g, n)."""

    r: Array
    x: Array
    current: Array
    currents: Array


def _strength(held: Control, r: Array, z: Array) -> Array:
    """Current when the source holds one thing at 1: into resistance `r` and impedance `z`."""
    if held == "current":
        return np.ones_like(r)
    return np.asarray({"voltage": 1.0 / r, "power": 1.0 / np.sqrt(r), "coil voltage": 1.0 / z}[held])


def _shares(z: NDArray[np.complex128], feed: Feed) -> NDArray[np.complex128]:
    """(g, n) current of every coil per ampere of the whole."""
    if feed != "parallel":
        return np.ones_like(z)
    y = 1.0 / z
    return np.asarray(y / y.sum(axis=1, keepdims=True))
