"""Measured over predicted: the forward model of one trial, and the fit of its unknowns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.job import Job
from coilwright.job.lookup import value_at
from coilwright.section.quad9 import Array
from coilwright.section.sizes import Level
from coilwright.trials.fit import Group, MapFit, fit_map
from coilwright.trials.measured import Channel, Measured
from coilwright.trials.runs import Run, foretold, run_all, run_around
from coilwright.trials.unknowns import Unknown
from coilwright.units import parse

START = "moment of power on"
# Sigmas away at which the band is measured.
_REACH = 2.0
_UNMOVED = 0.1  # prior sigmas
_MUTE = 0.98  # posterior over prior width: nothing learnt


@dataclass(frozen=True)
class Effort:
    """Processes for the full shots and the mesh they run on (their error against the next finer one is measured)."""

    workers: int = 1
    level: Level = "coarse"


@dataclass(eq=False)
class TrialModel:
    """A job, what is unknown about it, and what was measured: rows of unknowns in, foretold data out.

    The unknowns are those of the job, then the moment of power on, then one common reading error per channel; each on
    a scale where it is standard normal beforehand. The last shot in the middle is remembered.
    """

    job: Job
    unknowns: tuple[Unknown, ...]
    trial: Measured
    effort: Effort
    runs: int = 0
    _known: dict[tuple[float, ...], Run] = field(default_factory=dict)

    def remember(self, nominal: Run) -> None:
        """The run at the nominal values, when it has been shot already."""
        self._known[tuple(0.0 for _ in self.unknowns)] = nominal

    @property
    def names(self) -> tuple[str, ...]:
        errors = (f"reading error of {c.name}" for c in self.trial.channels)
        return (*(x.name for x in self.unknowns), START, *errors)

    @property
    def data(self) -> tuple[Array, Array, tuple[Group, ...]]:
        """(measured, stated noise, groups) in order: channels, then events and readings."""
        trial, values, sigmas, groups, first = self.trial, [], [], [], 0
        for c in trial.channels:
            values.append(c.kelvin)
            sigmas.append(np.full(len(c.time), c.noise))
            groups.append(Group(c.name, first, first + len(c.time), True))
            first += len(c.time)
        for d in trial.data:
            values.append(np.array([d.value]))
            sigmas.append(np.array([d.sigma]))
            groups.append(Group(str(d), first, first + 1, False))
            first += 1
        return np.concatenate(values), np.concatenate(sigmas), tuple(groups)

    def changed(self, u: Array) -> Job:
        """The job with its unknowns at `u` (prior sigmas)."""
        return self.job.with_values(self.texts(u))

    def texts(self, u: Array) -> dict[str, object]:
        return {x.key: x.text(x.value(float(v))) for x, v in zip(self.unknowns, u, strict=False)}

    def shots(self, rows: Array) -> list[Run]:
        """A run for every row, all with the time steps that the first asks for; nothing is shot twice in a batch."""
        p = len(self.unknowns)
        keys = [tuple(float(v) for v in row[:p]) for row in rows]
        others = [k for k in dict.fromkeys(keys) if k != keys[0]]
        jobs = [self._job(np.array(k)) for k in (keys[0], *others)]
        end, workers, level = self.trial.end, self.effort.workers, self.effort.level
        if keys[0] in self._known:
            middle = self._known[keys[0]]
            around = run_all(jobs[1:], end, workers, level, middle.steps)
        else:
            middle, *around = run_around(jobs, end, workers, level)
            self.runs += 2
        self.runs += len(others)
        self._known = {keys[0]: middle}
        found = {keys[0]: middle, **dict(zip(others, around, strict=True))}
        return [found[k] for k in keys]

    def _job(self, u: Array) -> Job:
        try:
            return self.changed(u)
        except BadInput as error:
            told = ", ".join(f"{x.name} = {x.shown(x.value(v))}" for x, v in zip(self.unknowns, u, strict=True))
            what = f"cannot be {told}, where the fit had to look: {error.faults[0].what}; narrow its prior"
            raise BadInput(Fault("fit", what)) from None

    def forward(self, rows: Array) -> Array:
        """(m, n) foretold data for (m, p) rows."""
        return np.array([self.seen(shot, row) for shot, row in zip(self.shots(rows), rows, strict=True)])

    def seen(self, shot: Run, u: Array) -> Array:
        """What this trial's instruments would show of a run."""
        trial, p = self.trial, len(self.unknowns)
        late = trial.start.sigma * u[p]
        parts = [self.reading(shot, c, c.time - late, trial.error * u[p + 1 + k]) for k, c in enumerate(trial.channels)]
        scalars = [foretold(d.what, shot, d.where, d.at, d.limit) for d in trial.data]
        return np.concatenate([*parts, np.array(scalars)])

    def reading(self, shot: Run, channel: Channel, time: Array, error: float) -> Array:
        """A channel at `time` (s after power on): the place in the model, off by `error` (K) at the top of the trace."""
        kelvin = np.interp(time, shot.time, shot.places[channel.place])
        cold, top = float(shot.places[channel.place][0]), self.trial.top
        return np.asarray(kelvin + error * (kelvin - cold) / max(top - cold, 1.0))

    def fit(self, report: Callable[[float], None] | None = None) -> MapFit:
        """Raises BadInput when the data say nothing about any unknown of the job, NotConverged."""
        measured, sigma, groups = self.data
        try:
            found = fit_map(self.forward, measured, sigma, groups, len(self.names), report)
        except NotConverged as error:
            raise NotConverged(f"{error}; the trace may belong to another job, setting or unit") from None
        told = [float(s) for s, x in zip(found.spread, self.unknowns, strict=False) if not x.aside]
        if told and min(told) > _MUTE:
            listed = ", ".join(x.name for x in self.unknowns if not x.aside)
            what = f"carries nothing on {listed}: the uncertainty after the fit is that before it"
            raise BadInput(Fault(self.trial.origin, f"{what}; fit something it depends on, or take another trial"))
        return found


@dataclass(frozen=True)
class Interval:
    """A figure with its standard deviation and the ends of its 90 % interval, SI."""

    value: float
    sigma: float
    low: float
    high: float


NORMAL_90 = 1.6448536269514722


def interval_of(x: Unknown, u: float, spread: float) -> Interval:
    """An unknown of the job after the fit, on its own scale."""
    ends = x.value(u - NORMAL_90 * spread), x.value(u + NORMAL_90 * spread)
    return Interval(x.value(u), x.sigma(u, spread), min(ends), max(ends))


def directions(fit: MapFit, unknowns: int) -> Array:
    """(k, p) steps along the columns of a root of the posterior covariance of the job's unknowns, one sigma each."""
    covariance = fit.covariance[:unknowns, :unknowns]
    return np.asarray(np.linalg.cholesky(covariance + 1e-12 * np.eye(unknowns)).T)


@dataclass(frozen=True, eq=False)
class Sigmas:
    """Runs at the most probable unknowns and `_REACH` posterior sigmas either way along every direction."""

    middle: Run
    either: tuple[tuple[Run, Run], ...]

    def of(self, read: Callable[[Run], float | Array]) -> tuple[Array, Array, Array]:
        """(value, sigma, bend) of anything read off a run: bend is what a straight line misses one sigma away."""
        middle = np.asarray(read(self.middle), dtype=float)
        variance, bend = np.zeros_like(middle), np.zeros_like(middle)
        for up, down in self.either:
            above, below = np.asarray(read(up), dtype=float), np.asarray(read(down), dtype=float)
            variance = variance + (0.5 * (above - below) / _REACH) ** 2
            bend = bend + ((0.5 * (above + below) - middle) / _REACH**2) ** 2
        return middle, np.sqrt(variance), np.sqrt(bend)


def sigma_runs(jobs: Callable[[Array], Job], fit: MapFit, unknowns: int, end: float, effort: Effort) -> Sigmas:
    """Full shots at the fit and either side of it; `jobs` makes the job of a row of unknowns."""
    u = fit.u[:unknowns]
    rows = [u, *(u + sign * _REACH * s for s in directions(fit, unknowns) for sign in (1.0, -1.0))]
    runs = run_around([jobs(r) for r in rows], end, effort.workers, effort.level)
    return Sigmas(runs[0], tuple(zip(runs[1::2], runs[2::2], strict=True)))


def scalars_of(sigmas: Sigmas) -> dict[str, Interval]:
    """Every figure of the runs with its interval; what did not happen in all of them is left out."""
    every = [sigmas.middle, *(r for pair in sigmas.either for r in pair)]
    names = [n for n in sigmas.middle.scalars if all(n in r.scalars for r in every)]
    out: dict[str, Interval] = {}
    for name in names:
        value, sigma, _ = (float(v) for v in sigmas.of(lambda r, n=name: r.scalars[n]))  # type: ignore[misc]
        out[name] = Interval(value, sigma, value - NORMAL_90 * sigma, value + NORMAL_90 * sigma)
    return out


def fitted_texts(
    job: Job, unknowns: Sequence[Unknown], u: Array, digits: int = 9, sparing: bool = False
) -> dict[str, object]:
    """What the fit found, as values for a job that may have been set otherwise than the trial was.

    A setting keeps its distance from what was set, on the scale it was fitted on: 3 % less current than the dial said in
    the trial is 3 % less at any dial. `sparing` leaves out what the fit has not moved.
    """
    out: dict[str, object] = {}
    for x, v in zip(unknowns, u, strict=False):
        raw = value_at(job.document, x.key)
        here = x if raw is None else replace(x, nominal=parse(raw, x.kind) if x.kind else float(raw))
        if sparing and abs(float(v)) < _UNMOVED:
            continue
        out[x.key] = here.text(here.value(float(v)), digits)
    return out
