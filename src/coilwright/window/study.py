"""The window of a job: full runs, their stand-ins, and the stations that tie the draws together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from coilwright.beside import begun
from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.section.quad9 import Array, IntArray
from coilwright.window.askew import ENOUGH, ROUGHLY_ENOUGH, Askew, AskewTable, sides_of
from coilwright.window.collisions import check_draws, clear_of_part
from coilwright.window.effort import Effort
from coilwright.window.levels import Levels, lean_of, source_table
from coilwright.window.margins import LONG_STEPS, STEPS, Limit, Outcome, Runner
from coilwright.window.pool import run_all
from coilwright.window.quantities import VariedQuantity, quantities
from coilwright.window.stations import FixtureModel
from coilwright.window.surrogate import Surrogate, filling, fit, least_certain, term_count

ON_TIME = "drive.on_time"
_HEIGHT = "coil.centre"
Report = Callable[[float], None]
_TIME_SPAN, _LEVEL_SPAN = (0.65, 1.5), 0.22  # of the on-time; of ln(heating current): what the study always covers
_CHUNK = 10_000
_STEP = 0.1  # of ln(level), over which the end of the runs is carried on


@dataclass(frozen=True, eq=False)
class Draws:
    """Values (SI) by quantity: (shots, stations), or (shots, 1) for what all stations share."""

    values: Mapping[str, Array]
    shots: int

    def with_nominal(self, q: VariedQuantity) -> Draws:
        """The same draws with one quantity at its nominal value."""
        return Draws({**self.values, q.what: np.full((self.shots, 1), q.nominal)}, self.shots)

    def only(self, pick: Array | IntArray) -> Draws:
        """Some of the shots, by place."""
        return Draws({k: v[pick] for k, v in self.values.items()}, len(pick))

    def of(self, station: int) -> Draws:
        """One of the stations (from 0)."""
        return Draws({k: v[:, [station]] if v.shape[1] > 1 else v for k, v in self.values.items()}, self.shots)


@dataclass(frozen=True, eq=False)
class Judged:
    """`margins` (shots, stations, limits); `level` (shots, stations) heating current over nominal; `start` (s); `side`
    (shots, stations, limits) ln of what the side that a limit reads sees over that level."""

    margins: Array
    level: Array
    start: Array
    side: Array

    def good(self, counts: IntArray) -> Array:
        """(shots, stations) whether every limit that counts is kept."""
        return np.asarray(np.all(self.margins[..., counts] >= 0.0, axis=-1))


@dataclass(eq=False)
class Study:
    """Runs and stand-ins of one job. Make one with `Study.of`."""

    job: Job
    varied: tuple[VariedQuantity, ...]
    model: FixtureModel
    runner: Runner
    effort: Effort
    x: Array = field(default_factory=lambda: np.zeros((0, 0)))
    outcomes: list[Outcome] = field(default_factory=list)
    surrogates: tuple[Surrogate, ...] = ()
    errors: Array = field(default_factory=lambda: np.zeros((0, 0)))
    lean: Array = field(default_factory=lambda: np.zeros(0))
    _last: tuple[Draws, Askew] | None = field(default=None, repr=False)

    @staticmethod
    def of(job: Job, effort: Effort | None = None, report: Report | None = None) -> Study:
        """Run the design, fit, measure the error on fresh runs, refine near the limit. Raises BadInput, NotConverged."""
        effort = effort or Effort()
        varied = quantities(job)
        if not varied:
            what = 'is missing; say what is not always the same, e.g. [[varies]] what = "coil.centre", by = "0.15 mm"'
            raise BadInput(Fault(f"{job.name}: varies", what))
        model = FixtureModel(job, level=effort.level)
        runner = runner_of(model, varied, effort)
        study = Study(job, varied, model, runner, effort)
        study._build(report or (lambda share: None))
        return study

    # what the stand-ins are made over -----------------------------------------------------------------------------

    @property
    def limits(self) -> tuple[Limit, ...]:
        return self.runner.limits

    @property
    def counts(self) -> IntArray:
        """Places of the limits that make a part scrap (the acceptance, not the guards)."""
        return np.array([k for k, x in enumerate(self.limits) if not x.guard])

    @property
    def in_job(self) -> list[VariedQuantity]:
        """Quantities that change the station itself."""
        return [q for q in self.varied if q.role == "job"]

    @property
    def on_time(self) -> float:
        return self.job.drive.shot_time or 0.0

    @property
    def timed_on(self) -> bool:
        """Whether the on-time can be varied: a programme of steps is left as it is."""
        return not self.job.drive.step

    def ranges(self) -> Array:
        """(d, 2) box: ln level, on-time where it can be varied, then the quantities of the job."""
        spread = 0.0
        for q in self.varied:
            if q.role in ("mains", "setting"):
                low, high = q.range
                spread += max(abs(np.log(max(low, 1e-3) / q.nominal)), abs(np.log(high / q.nominal)))
        low, high = (0.0, 0.0) if self.askew is None else np.log(self.askew.ends())
        rows = [(-_LEVEL_SPAN - spread + min(low, 0.0), _LEVEL_SPAN + spread + max(high, 0.0))]
        if self.timed_on:
            span = [self.on_time * s for s in _TIME_SPAN]
            own = [q.range for q in self.varied if q.role == "time"]
            rows.append((min([span[0], *(r[0] for r in own)]), max([span[1], *(r[1] for r in own)])))
        return np.array([*rows, *(q.range for q in self.in_job)], dtype=float)

    def _build(self, report: Report) -> None:
        self.sides = sides_of(self.model.cells.at().part, self.model.cells.scene, self.limits, self.on_time)
        d = 1 + self.timed_on + len(self.in_job)
        n = self.effort.design(d)
        with begun(self._askew_table, self.effort.workers) as askew:
            places = filling(n, d, self.effort.seed)
            self.table = source_table(self.model)
            self.askew = askew()
        self.box = self.ranges()
        total = n + self.effort.fresh + (0 if self.effort.reshoot else self.effort.refine)
        self.x = self.box[:, 0] + places * np.ptp(self.box, axis=1)
        self.outcomes = self._run(self.x, lambda done: report(done / total))
        self._fit()
        fresh = self._fresh_points()
        if not len(fresh):
            return
        told = self._predict(fresh)
        outcomes = self._run(fresh, lambda done: report((n + done) / total))
        self.errors = self._targets(fresh, outcomes) - told
        for k in range(len(self.limits)):
            self.errors[np.setdiff1d(np.arange(len(fresh)), self._belongs(k, fresh, outcomes)), k] = np.nan
        self.x = np.concatenate([self.x, fresh])
        self.outcomes += outcomes
        self._fit()
        report(1.0)

    @cached_property
    def pose_names(self) -> dict[str, str]:
        """Names of the quantities that move the coil, by what they do."""
        names = {q.role: q.what for q in self.varied if q.role in ("sideways", "tilt", "towards")}
        return names | ({"axial": _HEIGHT} if self._height is not None else {})

    @cached_property
    def drawn_height(self) -> float:
        return 0.0 if self._height is None else self._height.nominal

    @property
    def _height(self) -> VariedQuantity | None:
        return next((q for q in self.varied if q.what == _HEIGHT), None)

    def _askew_table(self) -> AskewTable | None:
        by_role = {q.role: q for q in self.varied}
        if not {"sideways", "tilt"} & set(by_role):
            return None

        def reach(q: VariedQuantity | None) -> float:
            return 0.0 if q is None else 1.3 * max(abs(v - q.nominal) for v in q.range)

        tilt = reach(by_role.get("tilt"))
        across = tilt if "towards" in by_role else 0.0
        half = np.array([reach(self._height), reach(by_role.get("sideways")), tilt, across])
        cell = self.model.cells.at()
        clear = clear_of_part(
            self.model.cells.scene.section, cell.part.state.reduced.live.interior.mesh.regions, cell.ring[1]
        )
        enough = ROUGHLY_ENOUGH if self.effort.rough else ENOUGH
        return AskewTable.of(cell.part, cell.work, self.sides, half, cell.ring[1], clear, enough)

    def _fresh_points(self) -> Array:
        """Draws as they come, and draws whose verdict is least certain unless drawn parts are shot later."""
        draws = self.draw(4000, self.effort.seed + 1)
        judged = self.judge(draws)
        points = self.points(draws, judged.level).reshape(-1, len(self.box))
        seen = judged.side.reshape(-1, len(self.limits))
        worst = judged.margins[..., self.counts].reshape(len(points), -1)
        binding = self.counts[np.argmin(worst, axis=1)]
        deviation = np.zeros(len(points))
        for k in np.unique(binding):
            pick = binding == k
            points[pick, 0] += seen[pick, k]
            deviation[pick] = self.surrogates[k].deviation(self.inputs(int(k), points[pick]))
        half = 0.5 * (self.box[:, 1] - self.box[:, 0])
        near = least_certain(worst.min(axis=1), deviation, points, half, 0 if self.effort.reshoot else self.effort.refine)
        some = np.random.default_rng(self.effort.seed + 2).choice(len(points), self.effort.fresh, replace=False)
        return np.asarray(points[np.concatenate([some, near])], dtype=np.float64)

    def inputs(self, k: int, x: Array) -> Array:
        """What limit k depends on at places x (n, d) of the box."""
        return self._telling(k, self._leant(x))

    def _leant(self, x: Array) -> Array:
        """The ln of the level raised by what else makes a part draw more."""
        if not self.lean.any():
            return x
        out = x.copy()
        out[:, 0] += (x - self.box.mean(axis=1)) @ self.lean
        return out

    def _telling(self, k: int, x: Array) -> Array:
        """A time does not depend on when the heat goes off later, a temperature at a deadline depends on the deadline."""
        if not self.timed_on:
            return x
        limit = self.limits[k]
        if limit.timed:
            return np.delete(x, 1, axis=1)
        if limit.moment:
            first, last = limit.deadline(self.box[1])
            if last - first < 1e-9:
                return np.delete(x, 1, axis=1)
            return np.column_stack([x[:, :1], limit.deadline(x[:, 1]), x[:, 2:]])
        return x

    def box_of(self, k: int) -> Array:
        """The box in terms of `inputs`."""
        box = self.box.copy()
        if self.lean.any():
            reach = 0.5 * float(np.abs(self.lean) @ np.ptp(box, axis=1))
            box[0] += -reach, reach
        return self._telling(k, box.T).T

    def _fit(self) -> None:
        before = self.surrogates or (None,) * len(self.limits)
        first = len(self.box) - len(self.in_job)
        self.lean = lean_of(self.x, self.outcomes, self.box, first)

        def fitted(start: int) -> dict[int, Surrogate]:
            return {k: self.stand_in(k, self.x, self.outcomes, before[k]) for k in range(start, len(self.limits), 2)}

        with begun(lambda: fitted(1), self.effort.workers) as others:
            self.levels = Levels.of(self.model, self.table, self.x[:, first:], self.outcomes, self.box[first:])
            known = fitted(0) | others()
        self.surrogates = tuple(known[k] for k in range(len(self.limits)))

    def stand_in(self, k: int, x: Array, outcomes: Sequence[Outcome], before: Surrogate | None = None) -> Surrogate:
        """Limit k fitted to runs at places x (n, d) of the box; `before`: an earlier fit to begin from."""
        rows = self._belongs(k, x, outcomes)
        raw = np.array([outcomes[n].raw[k] for n in rows])
        return fit(self.inputs(k, x[rows]), self._log(raw, self.limits[k]), self.box_of(k), before=before)

    def learn(self, x: Array, outcomes: Sequence[Outcome], stand_ins: Mapping[int, Surrogate]) -> None:
        """Keep more runs and the stand-ins (by limit) that were fitted to them; `errors` stay those of the fresh runs."""
        self.x, self.outcomes = x, list(outcomes)
        self.surrogates = tuple(stand_ins.get(k, s) for k, s in enumerate(self.surrogates))

    def margin(self, k: int, x: Array, told: Array) -> Array:
        """(n,) margins of limit k at places x (n, d) of the box from what its stand-in says there."""
        if not self.limits[k].timed:
            return told
        on_time = x[:, 1] if self.timed_on else np.full(len(x), self.on_time)
        return np.asarray(np.log(self.limits[k].deadline(on_time)) - told)

    def _belongs(self, k: int, x: Array, outcomes: Sequence[Outcome]) -> IntArray:
        """Rows of runs that limit k is fitted to: what is too hot after the charge has fired says nothing about shots in
        which it did not fire, where temperatures stay a good deal lower and no such limit decides. Too few fired: all."""
        everything = np.arange(len(x))
        if not self.limits[k].too_much or all(b.charge is None for b in self.job.bodies):
            return everything
        on = x[:, 1] if self.timed_on else np.full(len(x), self.on_time)
        start = np.array([o.start for o in outcomes])
        fired = np.flatnonzero(start <= on)
        return fired if len(fired) >= term_count(x.shape[1], 1) + 6 else everything

    @staticmethod
    def _log(raw: Array, limit: Limit) -> Array:
        return np.asarray(np.log(raw), dtype=np.float64) if limit.timed else raw

    def _targets(self, x: Array, outcomes: Sequence[Outcome]) -> Array:
        raw = np.array([o.raw for o in outcomes])
        return np.column_stack([self._log(raw[:, k], limit) for k, limit in enumerate(self.limits)])

    def _predict(self, x: Array, guards: bool = True, seen: Array | None = None) -> Array:
        """(n, limits) at places x of the box, the ln of the level raised by `seen` (n, limits)."""
        out, x = np.full((len(x), len(self.limits)), np.nan), self._leant(x)
        for k, s in enumerate(self.surrogates):
            if guards or not self.limits[k].guard:
                out[:, k] = s(self._telling(k, x if seen is None else self.seen_at(x, seen, k)))
        return out

    @staticmethod
    def seen_at(x: Array, seen: Array, k: int) -> Array:
        """Places x (n, d) of the box as the side sees them that limit k reads."""
        if not seen[:, k].any():
            return x
        moved = x.copy()
        moved[:, 0] += seen[:, k]
        return moved

    # full runs --------------------------------------------------------------------------------------------------------

    def _run(self, x: Array, done: Callable[[int], None]) -> list[Outcome]:
        tasks = [self.task(row) for row in x]
        return run_all(self.runner, tasks, self.effort.workers, done)

    def task(self, row: Array) -> tuple[dict[str, float], float]:
        """(job values, level) of a row of the box."""
        values = {q.what: float(v) for q, v in zip(self.in_job, row[len(row) - len(self.in_job) :], strict=True)}
        if self.timed_on:
            values[ON_TIME] = float(row[1])
        return values, float(np.exp(row[0]))

    # draws ------------------------------------------------------------------------------------------------------------

    def draw(self, shots: int, seed: int) -> Draws:
        """Seeded draws of everything that varies."""
        rng = np.random.default_rng(seed)
        n = self.model.fixture.stations
        values = {q.what: q.ppf(rng.random((shots, n if q.per_station else 1))) for q in self.varied}
        return Draws(values, shots)

    def nominal(self, shots: int = 1) -> Draws:
        """Everything as it is drawn."""
        return Draws({q.what: np.full((shots, 1), q.nominal) for q in self.varied}, shots)

    def judge(
        self,
        draws: Draws,
        setting: float | Array = 1.0,
        on_time: float | Array | None = None,
        *,
        guards: bool = True,
        factor: Array | None = None,
        side: Array | None = None,
        station: int | None = None,
    ) -> Judged:
        """Margins of every station of every shot, or of one `station` (from 0) among the others, the source at `setting` times
        its healthy value.

        Without `guards` the margins of grave limits are left nan (faster). `factor` (stations,) multiplies the heating
        currents, `side` (stations, limits) the heat at the deciding side: what a fault does to them.
        """
        parts = []
        for k in range(0, draws.shots, _CHUNK):
            rows = np.arange(k, min(k + _CHUNK, draws.shots))
            s = np.broadcast_to(np.asarray(setting, dtype=float), (draws.shots,))[rows]
            t = on_time if on_time is None or np.ndim(on_time) == 0 else np.asarray(on_time)[rows]
            some = draws if draws.shots <= _CHUNK else draws.only(rows)
            parts.append(self._judge(some, s, t, guards, factor, side, station))
        return Judged(*(np.concatenate([getattr(p, name) for p in parts]) for name in Judged.__dataclass_fields__))

    def _judge(
        self, draws: Draws, setting: Array, on_time: float | Array | None, guards: bool, factor: Array | None,
        side: Array | None, station: int | None,
    ) -> Judged:  # fmt: skip
        crooked = self._crooked(draws)
        level = self._levels(draws, setting, crooked)
        heat = None if crooked is None else crooked.heat.reshape(*level.shape, len(self.limits))
        if station is not None:  # the others count for the current alone
            draws, level = draws.of(station), level[:, [station]]
            heat = None if heat is None else heat[:, [station]]
        deep = np.zeros_like(level)
        if factor is not None:  # what falls below the runs is judged from their end, and carried on from there
            level = np.maximum(level * factor, 1e-6)
            deep = np.maximum(self.box[0, 0] - np.log(level), 0.0)
            level = level * np.exp(deep)
        points = self.points(draws, level, on_time)
        shape = points.shape[:2]
        seen = np.zeros((*shape, len(self.limits)))
        if heat is not None:
            seen += 0.5 * np.log(heat)
        if side is not None:
            seen += 0.5 * np.log(side)
        flat = points.reshape(-1, points.shape[-1])
        out = self._predict(flat, guards, seen.reshape(len(flat), -1)).reshape(seen.shape)
        margins = out.copy()
        start = np.full(shape, np.nan)
        for k, limit in enumerate(self.limits):
            if limit.timed:
                margins[..., k] = self.margin(k, flat, out[..., k].ravel()).reshape(shape)
        if deep.any():
            margins -= self._steepness(points, seen, margins) * deep[..., None]
        timed = [k for kind in ("charge_fired", "reaches") for k, x in enumerate(self.limits)
                 if x.timed and x.criterion is not None and x.criterion.kind == kind]  # fmt: skip
        if timed:
            start = np.exp(out[..., timed[0]])
        return Judged(margins, level, start, seen)

    def _steepness(self, points: Array, seen: Array, margins: Array) -> Array:
        """(shots, stations, limits) what the margins gain per ln of the level, of limits failed by too little heat."""
        above = points.copy()
        above[..., 0] += _STEP
        flat = above.reshape(-1, above.shape[-1])
        told = self._predict(flat, False, seen.reshape(len(flat), -1)).reshape(margins.shape)
        out = np.zeros_like(margins)
        for k, limit in enumerate(self.limits):
            if not limit.too_much and not limit.guard:
                here = self.margin(k, flat, told[..., k].ravel()).reshape(margins.shape[:2])
                out[..., k] = np.maximum(here - margins[..., k], 0.0) / _STEP
        return out

    def points(self, draws: Draws, level: Array, on_time: float | Array | None = None) -> Array:
        """(shots, stations, d) places in the box."""
        shape = level.shape
        columns = [np.log(level)]
        if self.timed_on:
            time: Array = np.full((draws.shots, 1), self.on_time)
            if ON_TIME in draws.values:
                time = draws.values[ON_TIME]
            if on_time is not None:
                time = np.asarray(on_time, dtype=float).reshape(-1, 1) * (time / self.on_time)
            columns.append(np.broadcast_to(time, shape))
        columns += [np.broadcast_to(draws.values[q.what], shape) for q in self.in_job]
        return np.stack(columns, axis=-1)

    def _crooked(self, draws: Draws) -> Askew | None:
        """The poses of all draws, flat over shots and stations; None where no pose varies. The last are kept: the same draws
        are judged at many settings."""
        if self.askew is None:
            return None
        if self._last is None or self._last[0] is not draws:
            self._last = draws, self.askew(*self.poses(draws).reshape(-1, 4).T)
        return self._last[1]

    def poses(self, draws: Draws) -> Array:
        """(shots, stations, 4) height over the drawing, offset (m), tilt with it and across it (rad)."""
        n = self.model.fixture.stations
        values = []
        for role in ("axial", "sideways", "tilt", "towards"):
            name = self.pose_names.get(role)
            values.append(np.broadcast_to(np.zeros((1, 1)) if name is None else draws.values[name], (draws.shots, n)))
        up, sideways, tilt, towards = values
        if "axial" in self.pose_names:
            up = up - self.drawn_height
        return np.stack([up, sideways, tilt * np.cos(towards), tilt * np.sin(towards)], axis=-1)

    def _levels(self, draws: Draws, setting: Array, crooked: Askew | None) -> Array:
        """(shots, stations) heating current over nominal."""
        shape, mains = (draws.shots, self.model.fixture.stations), np.ones(draws.shots)
        for q in self.varied:
            if q.role == "setting":
                setting = setting * draws.values[q.what][:, 0] / q.nominal
            if q.role == "mains" and self.table is not None:
                mains = draws.values[q.what][:, 0]
            elif q.role == "mains" and not self.regulated:
                setting = setting * draws.values[q.what][:, 0]
        stack = [np.broadcast_to(draws.values[q.what], shape).ravel() for q in self.in_job]
        x = np.column_stack(stack) if stack else np.zeros((shape[0] * shape[1], 0))
        return self.levels(x, setting, mains, crooked) / self.model.nominal_current

    @property
    def regulated(self) -> bool:
        """Whether the source holds current or power whatever the mains do."""
        if self.table is not None:
            return bool(abs(float(self.table.current(np.array([self.table.middle]), 1.0, 0.95)[0]) - 1.0) < 1e-3)
        return "fixture" in self.job.later and self.model.fixture.control in ("current", "power")

    def check_clearances(self, draws: Draws) -> None:
        """Raise BadInput, naming shot and station, when a draw puts a coil into a body."""
        if self.askew is None:
            return
        at = self.poses(draws).reshape(-1, 4)
        rows = np.zeros((len(at), 6))
        rows[:, 2], rows[:, 0], rows[:, 4], rows[:, 3] = at.T
        rows[:, 5] = self.model.cells.at().ring[1]
        check_draws(self.model.cells.scene.section, rows, self.model.fixture.stations)

    def outside(self, draws: Draws, judged: Judged) -> float:
        """Share of station draws that lie outside the box the stand-ins were made for."""
        points = self.points(draws, judged.level)
        out = (points < self.box[:, 0]) | (points > self.box[:, 1])
        return float(np.mean(out.any(axis=-1)))


def runner_of(model: FixtureModel, varied: tuple[VariedQuantity, ...], effort: Effort) -> Runner:
    """What shoots one station of a fixture."""
    control, current = model.fixture.control, model.nominal_current
    steps = LONG_STEPS if effort.rough else STEPS
    return Runner(model.job, varied, control, current, model.frequency, effort.level, model.source, steps)
