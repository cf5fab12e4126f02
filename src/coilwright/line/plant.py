"""The healthy machine and what a change does to everything that can be read: the model behind every cause.

One station is solved by the field of the job (coil at a row of setbacks, the part of other resistivity, cut, or absent) and
its shot by a handful of full coupled shots at other currents. N stations hang on the source in series, parallel or
separately; the coupling between neighbours is left out here (with the usual spacings it changes a part's power by
less than the readings can show, and it is the same before and after). Temperatures enter through the shots only: the
readings of the totals are those of cold parts. Coils askew and shorted turns are taken from thin loops at the places of
the turns, scaled to the solved field of the straight coil.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.field.formulas_inductance import loop_mutual, loop_self_inductance, tilted_loop_mutual
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.heating.drive import FixedCurrent
from coilwright.heating.march import Steps
from coilwright.heating.model import FieldOfShot, shot_model
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.heating.tank_source import has_source, tank_of
from coilwright.job import Job
from coilwright.section.scene import Scene, scene
from coilwright.tank.operating import tank_q

Array = NDArray[np.float64]
Feed = Literal["series", "parallel", "separate"]
_LEVELS = (0.72, 0.85, 1.0, 1.15, 1.45)  # of the coil current, for the shots
# The least power that makes a good part is known only so well (emissivity, charge, contact): standard deviation 6 % of power
# (memory), as five nodes of a normal distribution.
_nodes, _weights = np.polynomial.hermite_e.hermegauss(5)
MARGIN_DOUBT, MARGIN_WEIGHTS = 0.06 * _nodes, _weights / _weights.sum()
_LONGER = 2.0  # of the shot, so that late starts are seen


@dataclass(frozen=True)
class Line:
    """What is taken from [fixture]: number of stations, feed, and what the source holds."""

    stations: int
    feed: Feed
    control: str


def read_line(job: Job) -> Line:
    """Stations of the job; one station on a source of constant voltage (or as [drive] says) without a [fixture]."""
    raw: Any = job.later.get("fixture", {})
    where = f"{job.name}: fixture"
    if not isinstance(raw, dict):
        raise BadInput(Fault(where, "must be a table under its own heading [fixture]"))
    n = raw.get("stations", 1)
    if isinstance(n, bool) or not isinstance(n, int) or not 1 <= n <= 64:
        raise BadInput(Fault(f"{where}.stations", f"must be a whole number from 1 to 64; received {n!r:.40}"))
    feed, control = raw.get("feed", "series"), raw.get("control", "voltage")
    if feed not in ("series", "parallel", "separate"):
        raise BadInput(Fault(f"{where}.feed", f'must be "series", "parallel" or "separate"; received {feed!r:.40}'))
    if control not in ("current", "voltage", "power", "coil voltage"):
        said = f'must be "current", "voltage", "power" or "coil voltage"; received {control!r:.40}'
        raise BadInput(Fault(f"{where}.control", said))
    return Line(n, feed, control)


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
    over-heated (inf without such an acceptance).
    """

    ln_power: Array
    ln_start: Array
    late: tuple[tuple[Array, float, bool], ...]
    hot: float

    def start(self, ln_power: Array) -> Array:
        return _line_through(self.ln_power, self.ln_start, ln_power)

    def least_power(self, ln_timer: Array) -> Array:
        """ln power at which a part is just done in time, (g,)."""
        out = np.full(np.shape(ln_timer), -np.inf)
        for times, limit, by_timer in self.late:
            wanted = limit + (ln_timer if by_timer else 0.0)
            out = np.maximum(out, _line_through(-times, self.ln_power, -wanted))
        return out


def _line_through(x: Array, y: Array, at: Any) -> Array:
    """Piecewise linear, carried on beyond both ends with the last slopes; x rising."""
    at = np.asarray(at, float)
    k = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    return np.asarray(y[k] + (at - x[k]) * (y[k + 1] - y[k]) / (x[k + 1] - x[k]))


@dataclass(frozen=True, eq=False)
class Plant:
    """One machine: curves of its stations, its circuit, its shot. Make one with `build_plant`, ask `predict`."""

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
    offsets: Array
    offset_factor: Array
    tilts: Array
    tilt_factor: Array
    slopes: tuple[float, float]
    shot: ShotCurve
    cans: int
    charged: bool
    glazed: bool
    healthy_readings: dict[str, float] = field(default_factory=dict)

    @property
    def reach(self) -> float:
        """Largest setback (m) the curves hold for."""
        return float(self.backs[-1])

    @property
    def forward(self) -> float:
        """Farthest the coil may come nearer (m), zero or positive."""
        return float(-self.backs[0])

    def predict(self, c: Condition) -> Outcome:
        """All readings and the chance of bad pieces for states of the machine."""
        zero = Condition.healthy(1, self.line.stations)
        base = self.circuit(zero)
        now = self.circuit(c)
        ratios = {k: np.log(np.maximum(v, 1e-12) / base[k]) for k, v in now.items() if k != "part"}
        ratios["setback"] = c.coil_back
        for name in ("capacitance", "mains", "setting"):
            ratios[name] = getattr(c, name)
        ratios["on-time"] = c.timer
        present = np.maximum(1.0 - c.absent, 1e-9)
        ratios["part-mass"] = c.mass.mean(axis=1)
        ratios["part-resistance"] = (c.resistivity + 12.0 * c.cut).mean(axis=1)
        power = np.log(np.maximum(now["part"] / base["part"], 1e-9)) + np.log(present)
        effective = power - c.mass
        ratios["start"] = np.minimum(self.shot.start(effective) - self.shot.start(np.zeros(1)), 1.5)
        return Outcome(ratios, self._bad(c, effective), power)

    def _bad(self, c: Condition, effective: Array) -> Array:
        from scipy.special import ndtr

        spread = (self.spread * np.exp(c.careless))[:, None]
        shift = MARGIN_DOUBT[:, None, None]
        late = ndtr((self.shot.least_power(c.timer)[:, None] + shift - effective) / spread)
        hot = ndtr((effective - self.shot.hot - shift) / spread) if math.isfinite(self.shot.hot) else 0.0
        fails = np.clip(late + hot, 0.0, 1.0)
        return np.asarray(1.0 - (1.0 - fails) * (1.0 - c.weak[:, None]))

    def _station(self, c: Condition, f: Array) -> tuple[Array, Array, Array, Array, Array]:
        """Resistance and reactance of every coil with its leads, part power per A^2, empty R and X; f is f/f0 (g, 1)."""
        place = c.coil_back + c.nest_back + c.part_back
        bare = c.coil_back
        askew = (
            np.interp(c.sideways, self.offsets, self.offset_factor) * np.interp(c.tilt, self.tilts, self.tilt_factor)
        ) ** 2
        of_place = self._curve(self.part_power, place) / self.part_power_0
        rho_gain = np.interp(c.resistivity, self.ln_rho, self.rho_power) / np.interp(0.0, self.ln_rho, self.rho_power)
        z0 = np.interp(0.0, self.ln_rho, self.rho_z.real) + 1j * np.interp(0.0, self.ln_rho, self.rho_z.imag)
        rho_z = (np.interp(c.resistivity, self.ln_rho, self.rho_z.real)
                 + 1j * np.interp(c.resistivity, self.ln_rho, self.rho_z.imag)) / z0  # fmt: skip
        whole = 1.0 - c.cut
        added = (self._curve(self.part_z.real, place) + 1j * self._curve(self.part_z.imag, place)) * askew
        added = (added * rho_z * whole + self.cut_z * c.cut * askew) * (1.0 - c.absent)
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
        """Terminals and stations in absolute numbers (source at its healthy setting, unit: healthy current)."""
        f = np.ones((len(c.mains), 1))
        healthy_x = self._sum_x(Condition.healthy(1, self.line.stations), np.ones((1, 1)))
        for _ in range(3):
            inductance = self._sum_x(c, f) / f[:, 0]
            f = np.sqrt(healthy_x / (inductance * np.exp(c.capacitance)))[:, None]
        r, x, part, empty_r, empty_x = self._station(c, f)
        n = self.line.stations
        rest = self.rest + c.joint * (self.rest + self._healthy_r)
        drive = np.exp(c.mains + c.setting + c.limit)
        z = r + 1j * x
        shares = _shares(z, self.line.feed)
        whole_r = (np.abs(shares) ** 2 * r).sum(axis=1) + rest
        whole_x = (np.abs(shares) ** 2 * x).sum(axis=1)
        strength = {"current": np.ones_like(whole_r), "voltage": 1.0 / whole_r, "power": 1.0 / np.sqrt(whole_r),
                    "coil voltage": 1.0 / np.hypot(whole_r, whole_x)}[self.line.control]  # fmt: skip
        if self.line.feed == "separate":
            own = r + rest[:, None] / n
            each = {"current": np.ones_like(own), "voltage": 1.0 / own, "power": 1.0 / np.sqrt(own),
                    "coil voltage": 1.0 / np.abs(z)}[self.line.control]  # fmt: skip
            currents = each * drive[:, None]
            total = np.sqrt(np.mean(currents**2, axis=1))
        else:
            total = strength * drive
            currents = np.abs(shares) * total[:, None]
        volts = np.abs(z) * currents
        copper = (currents**2 * empty_r).sum(axis=1)
        empty_shares = _shares(empty_r + 1j * empty_x, self.line.feed)
        q_empty = (np.abs(empty_shares) ** 2 * empty_x).sum(axis=1) / (
            (np.abs(empty_shares) ** 2 * empty_r).sum(axis=1) + rest
        )
        loop = self._pick_up(c) * currents * f
        gauge = self._gauge(c)
        return {
            "frequency": f[:, 0] * self.frequency,
            "q": whole_x / whole_r,
            "q-empty": q_empty,
            "coil-current": total,
            "tank-voltage": total * np.hypot(whole_r, whole_x),
            "source-power": total**2 * whole_r,
            "outlet-rise": copper * np.exp(-c.flow),
            "pick-up": loop,
            "gauge-step": gauge,
            "voltage-share": volts / volts.sum(axis=1, keepdims=True),
            "part": part * currents**2,
        }

    def _askew(self, c: Condition) -> Array:
        return np.interp(c.sideways, self.offsets, self.offset_factor) * np.interp(c.tilt, self.tilts, self.tilt_factor)

    def _pick_up(self, c: Condition) -> Array:
        """Flux through a loop in the nest (on a dummy part, so that the part itself plays no role)."""
        shorted = 1.0 - c.short + c.short * math.sqrt(self.shorted[2])
        return self._curve(self.pick_up, c.coil_back + c.nest_back) * self._askew(c) * shorted

    def _gauge(self, c: Condition) -> Array:
        """Step in resistance that one known part makes in the nest."""
        shorted = 1.0 - c.short + c.short * self.shorted[2]
        return self._curve(self.part_z.real, c.coil_back + c.nest_back) * self._askew(c) ** 2 * shorted

    @property
    def _healthy_r(self) -> float:
        z = np.interp(0.0, self.backs, self.part_z.real) + self.empty.real
        n = self.line.stations
        return float(z / n if self.line.feed == "parallel" else z * n)

    def _sum_x(self, c: Condition, f: Array) -> Array:
        r, x, _, _, _ = self._station(c, f)
        shares = _shares(r + 1j * x, self.line.feed)
        return np.asarray((np.abs(shares) ** 2 * x).sum(axis=1))


def _shares(z: NDArray[np.complex128], feed: Feed) -> NDArray[np.complex128]:
    """(g, n) current of every coil per ampere of the whole."""
    if feed != "parallel":
        return np.ones_like(z)
    y = 1.0 / z
    return np.asarray(y / y.sum(axis=1, keepdims=True))


def build_plant(job: Job, spread: float = 0.04, measured_q: float | None = None) -> Plant:
    """Solve what the causes need: about a second of fields and a few seconds of shots.

    `spread`: standard deviation of ln power from piece to piece. `measured_q`: loaded Q of the whole machine at hand-over;
    with it, or with a [tank], the resistance that is not in the coils is known, else it is taken as none.
    Raises BadInput when the job has no coil, no on-time or no part that takes up power.
    """
    if job.coil is None:
        raise BadInput(
            Fault(f"{job.name}: coil", "is missing; causes are looked for at a work coil: add a [coil] section")
        )
    line, drive = read_line(job), drive_of(job)
    drawn = scene(job)
    on_time = job.drive.shot_time
    if on_time is None:
        raise BadInput(Fault(f"{job.name}: drive.on_time", 'is missing; write e.g. on_time = "8 s"'))
    solver, empty_solver, backs = _fields(job, drawn, drive.frequency)
    leads = FieldOfShot(mesh_scene(drawn, drive.frequency, "coarse")).leads(drive.frequency)
    away = _away(job)
    loaded = [solver.at(coil=away * b).solve(1.0) for b in backs]
    bare = [empty_solver.at(coil=away * b).state().impedance + leads for b in backs]
    z = np.array([s.state.impedance for s in loaded]) + leads - np.array(bare)
    power = np.array([_work_power(job, s.body_powers) for s in loaded])
    k0 = int(np.argmin(np.abs(backs)))
    if power[k0] <= 0.0:
        raise BadInput(Fault(f"{job.name}: body", "no work body takes up power, so there is nothing to diagnose"))
    ln_rho, rho_z, rho_power = _resistivities(job, drive.frequency)
    cut_z, cut_power = _cut(job, drive.frequency)
    loops = _Loops(job, drawn, bare[k0], z[k0], drive.frequency, away)
    curve, current = _shots(job, drawn, bare[k0] + z[k0])
    reflected0 = complex(z[k0])
    return Plant(
        line, drive.frequency, current, on_time, spread, backs, z, power, complex(bare[k0]), np.array(bare),
        _rest(job, line, complex(bare[k0] + z[k0]), drive.frequency, measured_q), ln_rho, rho_z * reflected0, rho_power,
        cut_power * float(power[k0]), cut_z * reflected0, loops.shorted(), loops.pick_up(backs), *loops.offset(), *loops.tilt(),
        _slopes(solver, empty_solver), curve, _cans(job), any(b.charge for b in job.bodies),
        any("glass" in b.material for b in job.bodies if b.role != "work"),
    )  # fmt: skip


def _work_power(job: Job, powers: dict[str, float]) -> float:
    return sum(powers.get(b.name, 0.0) for b in job.bodies if b.role == "work")


def _away(job: Job) -> float:
    """+1 when the coil goes away from the work by going up, -1 by going down."""
    section = scene(job, checked=False).section
    coil = float(np.mean([t.z for t in section.turns]))
    work = [b.centre for b in job.bodies if b.role == "work"] or [0.0]
    return 1.0 if coil >= float(np.mean(work)) else -1.0


def _fields(job: Job, drawn: Scene, frequency: float) -> tuple[Field, Field, Array]:
    """Solver with and without the work, and the setbacks (m) that fit: forward only as far as nothing is touched."""
    mean = 2.0 * float(np.mean([t.r for t in drawn.section.turns]))
    reach = max(4e-3, 0.15 * mean)
    away = _away(job)
    for forward in (0.2 * reach, 0.1 * reach, 0.0):
        backs = np.unique(np.concatenate([np.linspace(-forward, 0.0, 3), np.linspace(0.0, reach, 9)]))
        try:
            _check_room(drawn, [away * b for b in (backs[0], backs[-1])])
            meshed = mesh_scene(drawn, frequency, "coarse", tuple(float(away * b) for b in backs))
        except BadInput:
            if forward == 0.0:
                raise
            continue
        model = field_model(meshed)
        bare = replace(model, bodies=tuple(b for b in model.bodies if not b.work))
        return Field.of(model), Field.of(bare), backs
    raise NotConverged("no setback of the coil fits the section")


def _check_room(drawn: Scene, moves: Sequence[float]) -> None:
    from coilwright.section.overlap import check_geometry

    for move in moves:
        if move:
            check_geometry(drawn.section.with_coil_moved(move))


def _resistivities(job: Job, frequency: float) -> tuple[Array, NDArray[np.complex128], Array]:
    """Part of other resistivity: ln ratios, what it adds to the coil and its power, relative to the healthy part."""
    ln = np.array([-3.0, -1.5, -0.7, 0.0, 0.7, 1.5])
    z, p = [], []
    for x in ln:
        zz, pp = _single(_with_resistivity(job, float(np.exp(x))), frequency)
        z.append(zz)
        p.append(pp)
    z0, p0 = z[3], p[3]
    return ln, np.array(z) / z0, np.array(p) / p0


def _with_resistivity(job: Job, factor: float) -> Job:
    drawn = scene(job, checked=False)
    for b in job.bodies:
        rho = drawn.materials[b.name].resistivity
        if b.role == "work" and drawn.materials[b.name].conducting and rho is not None:
            cold = float(rho(np.array([drawn.start_temperature(b.name)]))[0])
            job = job.with_value(f"body.{b.name}.overrides.resistivity", f"{cold * factor:.6e} ohm m")
    return job


def _single(job: Job, frequency: float) -> tuple[complex, float]:
    """What the work adds to the coil (ohm) and its power per A^2, at the drawn place."""
    model = field_model(mesh_scene(scene(job, checked=False), frequency, "coarse"))
    bare = replace(model, bodies=tuple(b for b in model.bodies if not b.work))
    got = Field.of(model).solve(1.0)
    return complex(got.state.impedance - Field.of(bare).state().impedance), _work_power(job, got.body_powers)


def _cut(job: Job, frequency: float) -> tuple[complex, float]:
    """A ring cut open, relative to the whole one: (added impedance, power); what cannot be cut loses all its power."""
    works = [b for b in job.bodies if b.role == "work"]
    try:
        cut = job.with_values({f"body.{b.name}.slit": True for b in works})
        z, p = _single(cut, frequency)
    except BadInput:
        return 0j, 0.0
    z0, p0 = _single(job, frequency)
    return z / z0, p / p0


class _Loops:
    """The coil as thin loops and the part as one: for poses and shorted turns, always relative to the straight coil."""

    def __init__(self, job: Job, drawn: Scene, empty: complex, added: complex, frequency: float, away: float) -> None:
        self.turns = [(t.r, t.z, t.weight) for t in drawn.section.turns]
        self.radius, self.height = _ring_of(job)
        self.empty, self.added, self.omega, self.away = empty, added, 2.0 * math.pi * frequency, away
        self.wire = 0.3 * min(
            (abs(a[1] - b[1]) for a, b in zip(self.turns, self.turns[1:], strict=False)), default=2e-3
        )

    def _flux(self, back: float = 0.0, sideways: float = 0.0, tilt: float = 0.0) -> float:
        out = 0.0
        for r, z, weight in self.turns:
            up = z + self.away * back - self.height
            centre = (sideways + up * math.sin(tilt), 0.0, up * math.cos(tilt))
            normal = (math.sin(tilt), 0.0, math.cos(tilt))
            out += weight * tilted_loop_mutual(self.radius, r, centre, normal, 96)
        return out

    def pick_up(self, backs: Array) -> Array:
        return np.array([self._flux(float(b)) for b in backs]) / self._flux()

    def offset(self) -> tuple[Array, Array]:
        x = np.linspace(0.0, 0.8 * self.radius, 7)
        return x, np.array([self._flux(sideways=float(s)) for s in x]) / self._flux()

    def tilt(self) -> tuple[Array, Array]:
        x = np.radians([0.0, 5.0, 10.0, 15.0, 20.0])
        return x, np.array([self._flux(tilt=float(s)) for s in x]) / self._flux()

    def shorted(self) -> tuple[float, float, float]:
        """One inner turn closed on itself: (R, X, part power per A^2) over the healthy ones. One turn: all but lost."""
        n = len(self.turns)
        if n < 2:
            return 1.0, 0.3, 0.05
        m = np.array([[self._pair(a, b) for b in range(n)] for a in range(n)])
        own = self.empty.real / n
        z = 1j * self.omega * m + np.eye(n) * own
        to_part = np.array([w * loop_mutual(self.radius, r, zz - self.height) for r, zz, w in self.turns])
        second = (self.omega * float(np.sum(to_part))) ** 2 / self.added  # impedance of the part's loop
        z = z + (self.omega**2 / second) * np.outer(to_part, to_part)
        healthy = z.sum()
        k = n // 2
        rest = np.array([j for j in range(n) if j != k])
        induced = -z[k, rest].sum() / z[k, k]  # current in the shorted turn per ampere in the others
        i = np.ones(n, dtype=complex)
        i[k] = induced
        seen = (z @ i)[rest].sum()
        power = abs(np.sum(to_part * i)) ** 2 / float(np.sum(to_part)) ** 2
        return float(seen.real / healthy.real), float(seen.imag / healthy.imag), float(power)

    def _pair(self, a: int, b: int) -> float:
        (ra, za, wa), (rb, zb, wb) = self.turns[a], self.turns[b]
        if a == b:
            return float(wa**2 * loop_self_inductance(ra, min(self.wire, 0.45 * ra)))
        return float(wa * wb * loop_mutual(ra, rb, za - zb))


def _ring_of(job: Job) -> tuple[float, float]:
    """Radius and height (m) of the loop that stands for the work: where its loss is, from the solved field."""
    drawn = scene(job, checked=False)
    solver = Field.of(field_model(mesh_scene(drawn, drive_of(job).frequency, "coarse")))
    state = solver.state()
    mesh = solver.live.interior.mesh
    works = {b.name for b in job.bodies if b.role == "work"}
    chosen = np.isin(mesh.region, [k for k, name in enumerate(mesh.regions) if name in works])
    gauss = mesh.gauss
    loss = (state.loss_density * gauss.r * gauss.weight)[chosen]
    total = float(np.sum(loss))
    return float(np.sum(loss * gauss.r[chosen]) / total), float(np.sum(loss * gauss.z[chosen]) / total)


def _slopes(solver: Field, bare: Field) -> tuple[float, float]:
    """Exponents of frequency of the coil's own resistance and of the part's power per A^2."""
    f, up = solver.model.frequency, 1.05
    other, other_bare = solver.with_frequency(f * up), bare.with_frequency(f * up)
    r = bare.state().impedance.real, other_bare.state().impedance.real
    p = tuple(s.state().impedance.real - b.state().impedance.real for s, b in ((solver, bare), (other, other_bare)))
    return math.log(r[1] / r[0]) / math.log(up), math.log(p[1] / p[0]) / math.log(up)


def _rest(job: Job, line: Line, coil: complex, frequency: float, measured_q: float | None) -> float:
    """Resistance (ohm) of the ringing circuit that is not in the coils: from the measured Q, else from the tank."""
    whole = coil * line.stations if line.feed != "parallel" else coil / line.stations
    q = measured_q
    if q is None and "tank" in job.later:
        q = tank_q(tank_of(job), coil, frequency)
    if q is None:
        return 0.0
    return max(whole.imag / q - whole.real, 0.0)


def _cans(job: Job) -> int:
    raw: Any = job.later.get("capacitor", ())
    cans = sum(int(c.get("parallel", 1)) for c in raw if isinstance(c, dict)) if isinstance(raw, list | tuple) else 0
    return cans or 6  # six cans when the job does not say


def _shots(job: Job, drawn: Scene, cold: complex) -> tuple[ShotCurve, float]:
    """Times and limits from full shots at other currents, and the healthy coil current (A) at the start."""
    drive = drive_of(job)
    answer = drive.respond(1.0, cold, drive.frequency)
    current = answer.current
    if current <= 0.0:
        raise BadInput(Fault(f"{job.name}: source", f"cannot run on this coil: {answer.limited_by}"))
    on_time = float(job.drive.shot_time or 0.0)
    if job.drive.step:
        longer = job
    else:
        longer = job.with_value("drive.on_time", f"{_LONGER * on_time:.6g} s")
    frequency = answer.frequency if has_source(job) else drive.frequency
    model = shot_model(scene(longer, checked=False), frequency, "coarse")
    levels, events, hottest = [], [], []
    for level in _LEVELS:
        result = shoot(model, FixedCurrent(level * current, frequency), steps=Steps(tolerance=2.0))
        levels.append(2.0 * math.log(level))
        events.append([_event(v.details) for v in result.verdicts])
        hottest.append([_excess(v.details, result.trace, v.body, on_time) for v in result.verdicts])
    return _curve_of(job, np.array(levels), events, hottest, on_time), current


def _event(details: Any) -> tuple[float | None, float | None]:
    """(start, done) of one acceptance, s."""
    done = details.get("reached_at_s", details.get("fired_at_s"))
    start = details.get("start_at_s", done)
    return (None if start is None else float(start)), (None if done is None else float(done))


def _excess(details: Any, trace: Any, body: str, on_time: float) -> float | None:
    """K by which a body that must stay below a limit is above it at the end of the true on-time."""
    limit = details.get("stays_below_degC")
    if limit is None:
        return None
    hottest = trace.bodies[body].maximum
    return float(np.max(hottest[trace.time <= on_time * 1.0001])) - 273.15 - float(limit)


def _curve_of(job: Job, ln_power: Array, events: list[list[tuple[float | None, float | None]]],
              hottest: list[list[float | None]], on_time: float) -> ShotCurve:  # fmt: skip
    accepted = job.accept
    late = []
    starts: Array | None = None
    hot = math.inf
    for k in range(len(events[0])):
        done = _filled(ln_power, [e[k][1] for e in events])
        if done is not None:
            within = getattr(accepted[k], "within", None) if k < len(accepted) else None
            late.append((np.log(done), math.log(within or on_time), within is None))
            begun = _filled(ln_power, [e[k][0] for e in events])
            charged = any(e[k][0] != e[k][1] for e in events)
            if starts is None or charged:
                starts = np.log(begun if begun is not None else done)
        over = [h[k] for h in hottest]
        if all(x is not None for x in over):
            values = np.array([float(x) for x in over if x is not None])
            if values[-1] > 0.0 and np.all(np.diff(values) > 0):
                hot = min(hot, float(_line_through(values, ln_power, np.zeros(1))[0]))
    if starts is None:
        starts = math.log(on_time) - ln_power  # nothing is watched for: times go as one over power
    return ShotCurve(ln_power, starts, tuple(late), hot)


def _filled(ln_power: Array, times: list[float | None]) -> Array | None:
    """Times with the missing ones (never reached at low power) carried on along the last slope; None with fewer than two."""
    known = [k for k, t in enumerate(times) if t is not None and t > 0.0]
    if len(known) < 2:
        return None
    x, y = ln_power[known], np.log([float(times[k]) for k in known])  # type: ignore[arg-type]
    out = np.array([_line_through(x, np.asarray(y), np.array([p]))[0] for p in ln_power])
    # times must fall with power for the inverse to exist
    return np.exp(np.minimum.accumulate(out - 1e-9 * np.arange(len(out))))
