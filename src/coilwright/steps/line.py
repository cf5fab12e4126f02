"""The line: the log looked at, causes found, practice cases made."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.line.limits import Limit, limits, missing
from coilwright.line.machine import baseline
from coilwright.line.posterior import Board
from coilwright.line.record import Record, Step, guided_step, look
from coilwright.line.rehearse import Case, choose, rehearse, write_case
from coilwright.line.taken import Readings, Tallied, from_tables, read_readings
from coilwright.line.watch import Watch, watch
from coilwright.line.why import Answer, machine_board, predicted_healthy
from coilwright.line.why import why as line_why
from coilwright.steps.shot_log import existing
from coilwright.store.shots import ShotStore

_COUNTED_TWICE = (
    "The tally among the readings is left out: the log counts the same parts, and evidence counted twice looks surer than it is. "
    "To use that tally, ask without the log."
)


def line_show(store: str, machine: str | None = None) -> Watch:
    """Charts and tests of a machine (the only one when none is named). Raises BadInput."""
    with existing(store) as opened:
        return watch(opened, _machine(opened, machine))


@dataclass(frozen=True, eq=False)
class Visit:
    """A service call: the job, everything that was read and counted, the log if there is one, and the answer."""

    job: Job
    board: Board
    readings: Readings
    watch: Watch | None
    answer: Answer


def why(job: Job, readings: Path | Mapping[str, Any] | None = None, store: str | None = None,
        machine: str | None = None) -> Answer:  # fmt: skip
    """Which cause explains the readings of a file (or of such tables), the tally of a log, or both.

    Raises BadInput, NotConverged.
    """
    return service_visit(job, readings, store, machine).answer


def service_visit(job: Job, readings: Path | Mapping[str, Any] | None = None, store: str | None = None,
                  machine: str | None = None) -> Visit:  # fmt: skip
    """As `why`, with everything the service report tells besides. Raises BadInput, NotConverged."""
    board = machine_board(job)
    stations, healthy = board.plant.line.stations, predicted_healthy(board.plant)
    given, found = Readings(), None
    counted: tuple[Tallied, ...] = ()
    if isinstance(readings, Mapping):
        given = from_tables(readings, "readings", baseline(job), stations, healthy)
    elif readings is not None:
        given = read_readings(Path(readings), baseline(job), stations, healthy)
    if store is not None:
        with existing(store) as opened:
            name = _machine(opened, machine)
            found = watch(opened, name)
            counted, given = given.tallies, replace(given, tallies=(_recent(opened, found, stations),))
    answer = line_why(board, given)
    if counted:
        answer = replace(answer, warnings=(*answer.warnings, _COUNTED_TWICE))
    return Visit(job, board, given, found, answer)


def service_files(visit: Visit, target: Path) -> list[Path]:
    """The service report as PDF, and its pictures, into a folder."""
    from coilwright.pack.line_pictures import causes_picture, watch_pictures
    from coilwright.pack.service_report import service_report

    out = [service_report(visit.job, visit.board, visit.readings, visit.watch, visit.answer, target / "service-report.pdf")]
    out.append(causes_picture(visit.answer, target / "causes.png"))
    return out + ([] if visit.watch is None else watch_pictures(visit.watch, target))


def _recent(store: ShotStore, found: Watch, stations: int) -> Tallied:
    """The tally since the share last changed; of everything when it did not."""
    since = found.changed_seconds if found.change is not None and found.change.p < 0.01 else None
    tally = store.tally(found.machine, ["station"], since=since)
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


def line_record(job: Job) -> Record:
    """The hand-over record beside the model, and what it lacks. Raises BadInput."""
    return look(machine_board(job), job)


def line_move(job: Job, station: int = 1, back: float = 1e-3) -> Step:
    """The guided step: one coil moved by `back` (m) on purpose, predicted and, once filled in, measured. Raises BadInput."""
    board = machine_board(job)
    known = board.plant.line.stations
    if not 1 <= station <= known:
        raise BadInput(Fault("station", f"must be from 1 to {known}; received {station}"))
    if not 0.0 < abs(back) <= board.plant.reach or -back > board.plant.forward:
        room = f"{-1e3 * board.plant.forward:.2g} mm to {1e3 * board.plant.reach:.2g} mm"
        raise BadInput(Fault("back", f"must be within what the section has room for, {room}; received {1e3 * back:g} mm"))
    return guided_step(board, job, station, back)


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
    files = write_case(board, case, out, seed, 2 * trays, baseline(job).values)
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
