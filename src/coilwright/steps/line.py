"""The line: the log looked at, causes found, practice cases made."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.line.limits import Limit, limits, missing
from coilwright.line.machine import baseline
from coilwright.line.rehearse import Case, choose, rehearse, write_case
from coilwright.line.taken import Readings, Tallied, read_readings
from coilwright.line.watch import Watch, watch
from coilwright.line.why import Answer, machine_board, predicted_healthy, why
from coilwright.steps.shot_log import existing
from coilwright.store.shots import ShotStore


def line_show(store: str, machine: str | None = None) -> Watch:
    """Charts and tests of a machine (the only one when none is named). Raises BadInput."""
    with existing(store) as opened:
        return watch(opened, _machine(opened, machine))


def line_why(job: Job, readings: Path | None = None, store: str | None = None, machine: str | None = None) -> Answer:
    """Which cause explains the readings of a file, the tally of a log, or both. Raises BadInput, NotConverged."""
    board = machine_board(job)
    stations = board.plant.line.stations
    given = Readings()
    if readings is not None:
        given = read_readings(readings, baseline(job), stations, predicted_healthy(board.plant))
    if store is not None:
        with existing(store) as opened:
            given = replace(given, tallies=(*given.tallies, _recent(opened, _machine(opened, machine), stations)))
    return why(board, given)


def _recent(store: ShotStore, machine: str, stations: int) -> Tallied:
    """The tally since the share last changed; of everything when it did not."""
    found = watch(store, machine)
    since = found.changed_seconds if found.change is not None and found.change.p < 0.01 else None
    tally = store.tally(machine, ["station"], since=since)
    place = {int(k): n for n, k in enumerate(tally.keys)}
    if any(k > stations for k in place):
        raise BadInput(Fault(store.place, f"has stations up to {max(place)}, but the job's [fixture] has {stations}"))
    order = [place.get(k) for k in range(1, stations + 1)]
    if None in order:
        raise BadInput(Fault(store.place, f"must hold shots of every station 1 to {stations} of the job"))
    return Tallied(*(tuple(int(x[n]) for n in order if n is not None) for x in (tally.bad, tally.tried)))


@dataclass(frozen=True)
class HandOverLimits:
    """Green, amber, red of every reading, and what the hand-over record still lacks."""

    limits: tuple[Limit, ...]
    missing: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        return {"limits": [x.to_dict() for x in self.limits], "missing": list(self.missing)}


def line_limits(job: Job) -> HandOverLimits:
    """Limits from what the part tolerates, the machine's sensitivities and how well readings repeat. Raises BadInput."""
    board = machine_board(job)
    return HandOverLimits(limits(board, job), missing(job, board.plant.line.stations))


@dataclass(frozen=True)
class Rehearsal:
    """A practice case: the files to work from, and what was wrong (kept apart, in the answer file)."""

    case: Case
    files: tuple[Path, ...]

    def to_dict(self) -> dict[str, Any]:
        return {"fault": self.case.to_dict(), "files": [str(f) for f in self.files]}


def line_rehearse(job: Job, out: Path, *, seed: int = 1, fault: str | None = None, station: int | None = None,
                  size: float | None = None, trays: int = 60) -> Rehearsal:  # fmt: skip
    """Write a log, its map, readings and (apart) the answer of one practice case into `out`. Raises BadInput."""
    board = machine_board(job)
    index = None if fault is None else choose(board, fault, station)
    case = rehearse(board, seed, index=index, size=size, take=("frequency", "q", "coil-current", "start"), trays=trays)
    files = write_case(board, case, out, seed, 2 * trays)
    answer = out / "answer.json"
    answer.write_text(json.dumps(case.to_dict(), indent=1), encoding="utf-8")
    return Rehearsal(case, (*files, answer))


def _machine(store: ShotStore, name: str | None) -> str:
    known = store.machines()
    if name is None and len(known) == 1:
        return known[0]
    if name is None:
        what = f"holds {len(known)} machines ({', '.join(known) or 'none'}); name one with --machine"
        raise BadInput(Fault(store.place, what))
    return name
