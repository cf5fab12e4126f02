"""A practice case: the job's own machine with one fault, its readings with their noise, its tallies and its log.

What the diagnosis gets is what a shop would have; what was wrong is kept beside it. Seeded: the same seed is the same case.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.line.causes import Cause
from coilwright.line.machine import READINGS
from coilwright.line.plant import MARGIN_WEIGHTS, Array, Condition
from coilwright.line.posterior import Board, posterior
from coilwright.line.taken import Contrast, Readings, Taken, Tallied
from coilwright.line.why import predicted_healthy
from coilwright.units import KINDS

# (reading, station or 0) -> healthy value and its unit
Healthy = Callable[[str, int], tuple[float, str]]

_MODEL_ERROR = 0.05
_BASE = (0.002, 0.03)  # share of bad pieces of the healthy line


@dataclass(frozen=True, eq=False)
class Case:
    """A rehearsed fault: the cause, its size in the cause's unit (None without), what was read, and the true chances
    `bad` (n,) of a bad piece by station."""

    cause: Cause
    index: int
    size: float | None
    readings: Readings
    bad: Array

    def to_dict(self) -> dict[str, Any]:
        return {
            "cause": self.cause.key,
            "name": self.cause.name,
            "stations": list(self.cause.stations),
            "size": self.size,
            "unit": self.cause.unit,
            "chance_bad": self.bad.tolist(),
        }


def choose(board: Board, key: str, station: int | None = None) -> int:
    """Index of a cause by key, and station where it has one. Raises BadInput with the known keys."""
    found = [k for k, c in enumerate(board.causes) if c.key == key]
    if not found:
        known = ", ".join(sorted({c.key for c in board.causes}))
        raise BadInput(Fault("fault", f'must be one of {known}; received "{key[:40]}"'))
    if station is None:
        return found[0]
    at = [k for k in found if station in board.causes[k].stations]
    if not at:
        raise BadInput(
            Fault(
                "station", f'must be one at which "{key}" can be (1 to {board.plant.line.stations}); received {station}'
            )
        )
    return at[0]


def rehearse(board: Board, seed: int, *, index: int | None = None, size: float | None = None,
             take: Sequence[str] = ("pick-up", "start"), trays: int = 20, by_station: bool = True,
             contrast: bool = False) -> Case:  # fmt: skip
    """One case. `index` of the cause (default: drawn as often as it is met), `size` in its unit (default: drawn), `take`:
    readings taken (keys of READINGS, all stations), `trays` full trays counted, by station or only per tray."""
    rng = np.random.default_rng(seed)
    if index is None:
        index = int(rng.choice(len(board.causes), p=[c.prior for c in board.causes]))
    cause = board.causes[index]
    state, shown = _state(cause, rng, size)
    got = board.plant.predict(state)
    taken = tuple(t for what in take for t in _read(board, got.ratios, what, rng))
    base = float(rng.uniform(*_BASE))
    doubt = int(rng.choice(len(MARGIN_WEIGHTS), p=MARGIN_WEIGHTS))
    bad = 1.0 - (1.0 - base) * (1.0 - 0.99 * got.bad[doubt, 0])
    pieces = rng.random((trays, len(bad))) < bad
    tallies = (Tallied(tuple(int(x) for x in pieces.sum(axis=0)), (trays,) * len(bad)),) if trays and by_station else ()
    per_tray = tuple(int(x) for x in pieces.sum(axis=1)) if trays and not by_station else ()
    contrasts = (_contrast(cause, "lot", bad, base, rng), _contrast(cause, "shift", bad, base, rng)) if contrast else ()
    return Case(cause, index, shown, Readings(taken, tallies, per_tray, contrasts), bad)


def _state(cause: Cause, rng: np.random.Generator, size: float | None) -> tuple[Condition, float | None]:
    """A state of a cause between the nodes of its grid, and its size."""
    if cause.size is None or len(cause.size) < 2:
        row = int(rng.choice(len(cause.weights), p=cause.weights))
        return cause.grid.take([row]), None
    sizes = cause.size
    if size is None:
        row = int(rng.choice(len(sizes), p=cause.weights))
        if len(np.unique(sizes)) < len(sizes):  # two things at once: only the nodes are states
            return cause.grid.take([row]), float(sizes[row])
        step = 0.5 * (rng.random() - 0.5) * 2.0
        place = float(np.clip(row + step, 0.0, len(sizes) - 1.0))
    else:
        order = np.argsort(sizes)
        if not sizes[order[0]] <= size <= sizes[order[-1]]:
            what = f"must be from {sizes[order[0]]:.3g} to {sizes[order[-1]]:.3g} {cause.unit}; received {size:g}"
            raise BadInput(Fault("size", what))
        place = float(np.interp(size, sizes[order], np.arange(len(sizes))[order]))
    k = min(int(place), len(sizes) - 2)
    t = place - k
    low, high = cause.grid.take([k]), cause.grid.take([k + 1])
    mixed = {n: (1.0 - t) * getattr(low, n) + t * getattr(high, n) for n in Condition.__dataclass_fields__}
    return Condition(**mixed), float((1.0 - t) * sizes[k] + t * sizes[k + 1])


def _read(board: Board, ratios: dict[str, Array], what: str, rng: np.random.Generator) -> list[Taken]:
    known = READINGS.get(what)
    if known is None:
        raise BadInput(Fault("readings", f'must be among {", ".join(READINGS)}; received "{what[:40]}"'))
    true = np.atleast_1d(ratios[what][0])
    error = np.hypot(known.sigma, _MODEL_ERROR * true)
    noisy = true + error * rng.standard_normal(len(true))
    return [Taken(what, k + 1 if known.each else 0, float(y), known.sigma) for k, y in enumerate(noisy)]


def _contrast(cause: Cause, by: Any, bad: Array, base: float, rng: np.random.Generator) -> Contrast:
    """Sixty pieces of the suspect lot or shift against sixty of another."""
    here = float(np.mean(bad))
    other = base if cause.follows == by else here
    return Contrast(by, (int(rng.binomial(60, here)), int(rng.binomial(60, other))), (60, 60))


def can_be_told(board: Board, case: Case) -> bool:
    """Whether these readings, taken without noise, would give the true cause 70 % or more: the table of what can be told.

    The tallies stay as drawn (there are no tallies without chance).
    """
    quiet = []
    for t in case.readings.taken:
        values = board.column(t.what, t.station)
        quiet.append(Taken(t.what, t.station, _clean(board, case, values), t.sigma, t.floor))
    given = Readings(tuple(quiet), case.readings.tallies, case.readings.trays, case.readings.contrasts)
    return bool(posterior(board, given).causes[case.index] >= 0.7)


def _clean(board: Board, case: Case, values: Array) -> float:
    mine = values[board.owner == case.index]
    size = case.cause.size
    if case.size is None or size is None:
        return float(mine[0])
    order = np.argsort(size, kind="stable")
    return float(np.interp(case.size, size[order], mine[order]))


def write_log(board: Board, case: Case, file: TextIO, *, trays: int, seed: int, onset: int = 0,
              begin: datetime | None = None, every: float = 60.0) -> None:  # fmt: skip
    """A log of `trays` trays as CSV (time, station, result, tray, batch, start_ms); the fault sets in with tray `onset`."""
    rng = np.random.default_rng(seed)
    n = board.plant.line.stations
    healthy = board.plant.predict(Condition.healthy(1, n))
    calm = np.clip(healthy.expected_bad[0] + 0.005, 0.0, 1.0)
    row = np.flatnonzero(board.owner == case.index)
    mode = (
        row[0]
        if case.cause.size is None or case.size is None
        else row[int(np.argmin(abs(case.cause.size - case.size)))]
    )
    start0 = float(np.exp(board.plant.shot.start(np.zeros(1)))[0])
    late = board.outcome.ratios["start"][mode]
    when = begin or datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["time", "station", "result", "tray", "batch", "start_ms"])
    for tray in range(trays):
        wrong = tray >= onset
        for k in range(n):
            scrap = rng.random() < (case.bad[k] if wrong else calm[k])
            start = start0 * np.exp((late[k] if wrong else 0.0) + 0.04 * rng.standard_normal())
            stamp = (when + timedelta(seconds=every * tray)).replace(tzinfo=None).isoformat()
            out.writerow(
                [stamp, k + 1, "bad" if scrap else "good", f"T{tray + 1}", f"L{tray // 200 + 1}", f"{1e3 * start:.0f}"]
            )


LOG_MAP = """# How the columns of the rehearsed log are to be read.
machine = "rehearsal"
stations = {stations}
[columns]
time = "time"
station = "station"
result = "result"
tray = "tray"
batch = "batch"
[readings.start]
column = "start_ms"
unit = "ms"
kind = "time"
"""


def write_case(board: Board, case: Case, folder: Path, seed: int, trays: int,
               recorded: Mapping[tuple[str, int], tuple[float, float]] | None = None) -> tuple[Path, ...]:  # fmt: skip
    """log.csv, map.toml and readings.toml of a case in a folder (the answer is not among them).

    `recorded`: what the hand-over record holds, by (what, station or 0), SI value and sigma; the readings start from it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    log, mapping, read = folder / "log.csv", folder / "map.toml", folder / "readings.toml"
    with log.open("w", encoding="utf-8", newline="") as file:
        write_log(board, case, file, trays=trays, seed=seed, onset=trays // 2)
    mapping.write_text(LOG_MAP.format(stations=board.plant.line.stations), encoding="utf-8")
    read.write_text(readings_text(case.readings, _healthy_values(board, recorded or {})), encoding="utf-8")
    return log, mapping, read


def _healthy_values(board: Board, recorded: Mapping[tuple[str, int], tuple[float, float]]) -> Healthy:
    """Healthy value and unit of each reading: as recorded, else as the model says, else a stand-in (only ratios matter)."""
    stand_ins = {"tank-voltage": 500.0, "source-power": 1000.0, "outlet-rise": 10.0, "mains": 230.0, "capacitance": 1e-6,
                 "part-mass": 1e-3, "part-resistance": 0.04, "pick-up": 1.5, "flow": 2e-5, "voltage-share": 1.0}  # fmt: skip
    known = stand_ins | predicted_healthy(board.plant)

    def healthy(what: str, station: int) -> tuple[float, str]:
        kind = READINGS[what].kind
        value = recorded.get((what, station), (known.get(what, 100.0), 0.0))[0]
        return value, "" if kind is None else KINDS[kind][0]

    return healthy


def readings_text(readings: Readings, healthy: Healthy) -> str:
    """Readings as a file that `why` reads."""
    out = []
    for t in readings.taken:
        out.append("[[reading]]")
        out.append(f'what = "{t.what}"')
        if t.station:
            out.append(f"station = {t.station}")
        if not READINGS[t.what].ratio:
            out += [f'value = "{1e3 * t.value:.3f} mm"', f'uncertainty = "{1e3 * t.sigma:.3f} mm"', ""]
            continue
        base, unit = healthy(t.what, t.station)
        value = base * float(np.exp(t.value))
        for key, x in (("value", value), ("healthy", base), ("uncertainty", t.sigma * value)):
            out.append(f'{key} = "{x:.6g} {unit}"' if unit else f"{key} = {float(x):.6g}")
        out.append("")
    for tally in readings.tallies:
        out += ["[[tally]]", f"bad = {list(tally.bad)}", f"tried = {list(tally.tried)}", ""]
    if readings.trays:
        out += ["[[tray]]", f"bad = {list(readings.trays)}", ""]
    for c in readings.contrasts:
        out += ["[[contrast]]", f'by = "{c.by}"', f"bad = {list(c.bad)}", f"tried = {list(c.tried)}", ""]
    return "\n".join(out)
