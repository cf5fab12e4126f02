"""Which further trials there are for a job, and what each would show: derivatives of readings not yet taken."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.job import Job
from coilwright.section.quad9 import Array
from coilwright.trials.calibrate import TrialModel
from coilwright.trials.fit import MapFit
from coilwright.trials.further import Candidate, Further, further
from coilwright.trials.measured import USUAL_ERROR, Channel
from coilwright.trials.runs import Run, foretold, run_around
from coilwright.trials.sheet import READINGS, TIMED_BY

_STEP = 0.03  # prior sigmas
_OTHER_POWER = 0.8  # of what the source holds, for a second shot
_LONGEST = 600.0  # s of further logging


@dataclass(frozen=True, eq=False)
class Slopes:
    """Runs at the fit and either way of every unknown of the job, under one setting."""

    middle: Run
    pairs: tuple[tuple[Run, Run], ...]

    def of(self, read: Callable[[Run], float | Array]) -> Array:
        """(n, p) derivatives of a reading."""
        columns = [(np.atleast_1d(read(a)) - np.atleast_1d(read(b))) / (2.0 * _STEP) for a, b in self.pairs]
        return np.stack(columns, axis=1)


def slopes(model: TrialModel, fit: MapFit, job_of: Callable[[Array], Job], end: float) -> Slopes:
    p = len(model.unknowns)
    rows = [fit.u[:p]]
    for k in range(p):
        for sign in (1.0, -1.0):
            row = fit.u[:p].copy()
            row[k] += sign * _STEP
            rows.append(row)
    runs = run_around([job_of(r) for r in rows], end, model.effort.workers, model.effort.level)
    return Slopes(runs[0], tuple(zip(runs[1::2], runs[2::2], strict=True)))


def advice(model: TrialModel, fit: MapFit) -> tuple[Further, ...]:
    """Further trials by what they are expected to tell. Costs two batches of full shots."""
    return further(fit.covariance, [x.name for x in model.unknowns], list(_candidates(model, fit)))


def _candidates(model: TrialModel, fit: MapFit) -> Iterator[Candidate]:
    trial = model.trial
    shot = model.job.drive.shot_time or trial.end
    more = min(max(2.0 * shot, 0.5 * trial.end, 5.0), _LONGEST)
    longer = slopes(model, fit, model.changed, trial.end + more)
    yield _logged_on(model, fit, longer, more)
    yield from _readings(model, longer)
    yield from _events(model, longer)
    yield from _places(model, longer)
    yield from _weighed(model)
    power = next((k for k, x in enumerate(model.unknowns) if x.name == "power"), None)
    if power is not None:
        x = model.unknowns[power]
        weaker = slopes(model, fit, lambda row: _weaker(model, row, power), trial.end)
        yield _second_shot(model, fit, weaker, f"a second shot with {x.key} at {100 * _OTHER_POWER:.0f} %")


def _weaker(model: TrialModel, row: Array, power: int) -> Job:
    x = model.unknowns[power]
    texts = model.texts(row)
    texts[x.key] = x.text(_OTHER_POWER * x.value(float(row[power])))
    return model.job.with_values(texts)


def _noise(model: TrialModel, fit: MapFit, channel: Channel) -> float:
    """What one more sample is worth, as this trial's own residuals tell."""
    return channel.noise * float(np.sqrt(fit.inflation[channel.name]))


def _columns(model: TrialModel, found: Slopes, channel: Channel, time: Array) -> tuple[Array, Array]:
    """(n, all unknowns) derivatives of a channel, without the moment of power on, which comes apart."""
    p, k = len(model.unknowns), list(model.trial.channels).index(channel)
    out = np.zeros((len(time), len(model.names)))
    out[:, :p] = found.of(lambda r: model.reading(r, channel, time, 0.0))
    plain = model.reading(found.middle, channel, time, 0.0)
    out[:, p + 1 + k] = model.reading(found.middle, channel, time, model.trial.error) - plain
    step = max(1e-3, 0.02 * model.trial.start.sigma)
    late = (plain - model.reading(found.middle, channel, time + step, 0.0)) / step * model.trial.start.sigma
    return out, late[:, None]


def _logged_on(model: TrialModel, fit: MapFit, found: Slopes, more: float) -> Candidate:
    rows, sigma = [], []
    for c in model.trial.channels:
        step = float(np.median(np.diff(c.time)))
        time = c.time[-1] + np.arange(step, more, max(step, more / 400.0))
        columns, late = _columns(model, found, c, time)
        columns[:, len(model.unknowns)] = late[:, 0]
        rows.append(columns)
        thinned = max(step, more / 400.0) / step
        sigma.append(np.full(len(time), _noise(model, fit, c) / np.sqrt(thinned)))
    return Candidate(f"log on for {more:.3g} s longer", np.concatenate(rows), np.concatenate(sigma))


def _second_shot(model: TrialModel, fit: MapFit, found: Slopes, what: str) -> Candidate:
    parts = [_columns(model, found, c, c.time) for c in model.trial.channels]
    sigma = np.concatenate([np.full(len(c.time), _noise(model, fit, c)) for c in model.trial.channels])
    return Candidate(what, np.concatenate([a for a, _ in parts]), sigma, np.concatenate([b for _, b in parts]))


def _readings(model: TrialModel, found: Slopes) -> Iterator[Candidate]:
    taken = {d.what for d in model.trial.data}
    if not found.middle.cold:
        return
    sets: Sequence[tuple[str, tuple[str, ...]]] = (
        ("the coil current with a current transformer (3 %)", ("coil current",)),
        ("R with and without the part (3 % each)", ("resistance with part", "resistance without part")),
        ("L with and without the part (0.4 nH on the change)", ("inductance change",)),
    )
    for what, names in sets:
        if not taken & set(names):
            yield _scalar(model, found, what, names)


def _scalar(model: TrialModel, found: Slopes, what: str, names: Sequence[str]) -> Candidate:
    rows = np.zeros((len(names), len(model.names)))
    sigma = []
    for n, name in enumerate(names):
        rows[n, : len(model.unknowns)] = found.of(lambda r, name=name: foretold(name, r))[0]  # type: ignore[misc]
        _, absolute, share = READINGS[name]
        sigma.append(absolute + share * abs(foretold(name, found.middle)))
    return Candidate(what, rows, np.array(sigma))


def _weighed(model: TrialModel) -> Iterator[Candidate]:
    """A balance and the material's own specific heat, in place of calliper and handbook."""
    for k, x in enumerate(model.unknowns):
        if x.aside and x.kind == "density":
            rows = np.zeros((1, len(model.names)))
            rows[0, k] = x.width
            yield Candidate(f"the part on a balance ({x.name} to 1 %)", rows, np.array([0.01]))


def _events(model: TrialModel, found: Slopes) -> Iterator[Candidate]:
    taken = {(d.what, d.where) for d in model.trial.data}
    for (what, body), when in found.middle.events.items():
        if what == "charge starts" and (what, body) not in taken and np.isfinite(when):
            rows = np.zeros((1, len(model.names)))
            rows[0, : len(model.unknowns)] = found.of(lambda r, w=what, b=body: foretold(w, r, b))[0]  # type: ignore[misc]
            told = f"the moment the charge of {body} starts, on video ({TIMED_BY['video']:g} s)"
            yield Candidate(told, rows, np.array([TIMED_BY["video"]]))


def _places(model: TrialModel, found: Slopes) -> Iterator[Candidate]:
    """A thermocouple where none is: every point and every body's mean; it has its own error at the top."""
    trial = model.trial
    used = {c.place.split(": ")[0] for c in trial.channels}
    first = trial.channels[0]
    for place, kelvin in found.middle.places.items():
        if ": " in place or place in used or float(np.ptp(kelvin)) < 20.0:
            continue
        there = Channel("further", place, first.time, first.kelvin, first.noise)
        rows = np.zeros((len(first.time), len(model.names)))
        rows[:, : len(model.unknowns)] = found.of(lambda r, c=there: model.reading(r, c, c.time, 0.0))  # type: ignore[misc]
        own = model.reading(found.middle, there, there.time, USUAL_ERROR)
        own = own - model.reading(found.middle, there, there.time, 0.0)
        yield Candidate(
            f"a thermocouple on {place} too", rows, np.full(len(first.time), 2.0 * first.noise), own[:, None]
        )
