"""The hand-over record beside the model, and the guided step: one coil moved on purpose, what that ought to do and did."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from coilwright.job import Job
from coilwright.line.limits import missing
from coilwright.line.machine import READINGS, Baseline, baseline
from coilwright.line.posterior import Board
from coilwright.line.signature import Gain, Sensitivity, sensitivities
from coilwright.line.taken import model_doubt
from coilwright.line.why import CAUTIONS, predicted_healthy

_APART = 3.0  # standard uncertainties at which a reading and its prediction do not agree


@dataclass(frozen=True)
class Beside:
    """One reading of the record (SI, `station` 0: the whole machine) with one sigma, beside what the model says.

    `against`: "model", or "stations" where the model only knows that equal stations read alike, and `predicted` is their mean.
    `apart`: difference in standard uncertainties, the model's doubt included.
    """

    what: str
    station: int
    measured: float
    sigma: float
    predicted: float | None
    against: str
    apart: float | None

    @property
    def agrees(self) -> bool:
        return self.apart is None or abs(self.apart) <= _APART

    def to_dict(self) -> dict[str, Any]:
        return {
            "reading": self.what,
            "station": self.station or None,
            "measured": self.measured,
            "uncertainty": self.sigma,
            "predicted": self.predicted,
            "against": self.against,
            "apart": self.apart,
            "agrees": self.agrees,
        }


@dataclass(frozen=True)
class Record:
    """The record looked at: what the source holds, readings beside the model, the measured gain, what is still lacking."""

    control: str
    rows: tuple[Beside, ...]
    gain: Gain
    lacking: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "control": self.control,
            "readings": [r.to_dict() for r in self.rows],
            "sensitivity": self.gain.to_dict(),
            "lacking": list(self.lacking),
        }


def look(board: Board, job: Job) -> Record:
    """The hand-over record of a job beside its model. Raises BadInput for a faulty record."""
    line = board.plant.line
    rows = tuple(_beside(baseline(job), predicted_healthy(board.plant)))
    return Record(line.control, rows, board.gain, missing(job, line.stations))


def _beside(base: Baseline, predicted: dict[str, float]) -> Iterator[Beside]:
    for (what, station), (value, sigma) in base.values.items():
        known = READINGS[what]
        told: float | None = predicted.get(what)
        against, doubt = "model", model_doubt(what)
        if told is None and station:
            others = [v for (w, k), (v, _) in base.values.items() if w == what and k != station]
            told, against, doubt = (math.fsum(others) / len(others) if others else None), "stations", 0.0
        if told is None:
            yield Beside(what, station, value, sigma, None, "", None)
            continue
        apart: float | None
        if known.ratio and value > 0.0 and told > 0.0:
            apart = math.log(value / told) / max(math.hypot(sigma / value, doubt), 1e-9)
        else:
            apart = (value - told) / sigma if sigma > 0.0 else None
        yield Beside(what, station, value, sigma, told, against, apart)


@dataclass(frozen=True)
class Step:
    """The guided step: what to do in order, what every reading ought to show, what to write down, and what it taught."""

    station: int
    back: float
    rows: tuple[Sensitivity, ...]
    gain: Gain
    steps: tuple[str, ...]
    to_fill_in: str
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "station": self.station,
            "back_m": self.back,
            "readings": [r.to_dict() for r in self.rows],
            "sensitivity": self.gain.to_dict(),
            "steps": list(self.steps),
            "to_fill_in": self.to_fill_in,
            "cautions": list(self.cautions),
        }


def guided_step(board: Board, job: Job, station: int, back: float) -> Step:
    """Move the coil of one station by `back` (m) on purpose: the steps, the predictions, and what a filled-in record says."""
    signature = baseline(job).moved
    if signature is not None:
        station, back = signature.station, signature.back
    plain = replace(board.plant, gain=1.0)  # what the model says by itself stands beside what was measured
    rows = sorted(sensitivities(plain, station, back, signature), key=lambda s: -abs(s.predicted) / s.sigma)
    shown = tuple(s for s in rows if s.seen or s.measured is not None or s.what in ("frequency", "q", "coil-current"))
    names = [s.what for s in shown if s.seen and s.measured is None] or [s.what for s in shown]
    return Step(station, back, shown, board.gain, _steps(station, back, names), _to_fill_in(station, back, names), CAUTIONS)


def _steps(station: int, back: float, names: list[str]) -> tuple[str, ...]:
    way = "back" if back > 0.0 else "nearer"
    asked = "; ".join(READINGS[n].asked for n in names[:4])
    return (
        f"With the machine as handed over, read and write down: {asked}.",
        "Isolate, lock, wait the stated time, prove dead.",
        f"Put a feeler of {1e3 * abs(back):g} mm at the nose of the coil of station {station}, move the coil {way} by it, "
        "clamp it, and measure the movement again: its uncertainty is the uncertainty of everything that follows.",
        "Run dummy or scrap parts only: parts made now are not for sale.",
        "Read everything again, station by station, without touching the power.",
        f"Isolate again, set the coil of station {station} with the setting gauge, and read once more: it must read as before.",
        "Write both columns into the job file under [machine.moved] and run this command again.",
    )


def _to_fill_in(station: int, back: float, names: list[str]) -> str:
    out = ["[machine.moved]", f"station = {station}", f'back = "{1e3 * back:g} mm"', 'back_uncertainty = "0.05 mm"']
    for name in names:
        out += ["[[machine.moved.reading]]", f'what = "{name.removesuffix("-hot")}"']
        out += ['condition = "hot"'] if name.endswith("-hot") else []
        out += ['before = ""', 'after = ""']
    return "\n".join(out)
