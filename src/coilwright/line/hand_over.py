"""What to read at hand-over, what the model predicts for it, and between which values it may stand afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coilwright.field.look import CheckResult
from coilwright.heating.electrical import TankReport
from coilwright.job import Job
from coilwright.line.effects import Effect, effects
from coilwright.line.limits import Limit, limits, missing
from coilwright.line.machine import READINGS, Baseline, Machine, baseline, read_machine
from coilwright.line.plant import Condition
from coilwright.line.posterior import Board
from coilwright.line.upkeep import Upkeep, upkeep
from coilwright.line.why import predicted_healthy

Key = tuple[str, int]


@dataclass(frozen=True)
class Bound:
    """One side of a reading's limits, in the reading's own unit (SI): where it turns amber and red, and what drives it."""

    amber: float
    red: float
    driven_by: str
    seen: bool


@dataclass(frozen=True)
class HandOverRow:
    """One reading to take. `predicted` by the model, `recorded` at hand-over (None: not yet), both SI; `sigma` its usual
    standard uncertainty in the same unit; `low`, `high` limits or None where none is known."""

    what: str
    station: int
    asked: str
    kind: str | None
    minutes: float
    predicted: float | None
    recorded: float | None
    sigma: float | None
    low: Bound | None
    high: Bound | None

    @property
    def healthy(self) -> float | None:
        return self.predicted if self.recorded is None else self.recorded


@dataclass(frozen=True, eq=False)
class HandOverSheet:
    """Rows in the order of reading; `lacking` what a full record would have besides; `upkeep` when to look again; `effects` of
    what may be otherwise than assumed."""

    rows: tuple[HandOverRow, ...]
    record: Machine
    lacking: tuple[str, ...]
    stations: int
    upkeep: tuple[Upkeep, ...]
    effects: tuple[Effect, ...] = ()


def hand_over_sheet(
    board: Board, job: Job, check: CheckResult, tank: TankReport | None, done: tuple[float | None, ...] = ()
) -> HandOverSheet:
    """All readings of a machine with prediction and limits. `done` (s): when enough is reached at each station, where a
    window computed it. Raises BadInput for a faulty record.
    """
    base, stations = baseline(job), board.plant.line.stations
    told = dict(_predicted(board, check, tank, done))
    found: dict[Key, list[Limit]] = {}
    reached = limits(board, job)
    for limit in reached:
        found.setdefault((limit.what, limit.station), []).append(limit)
    rows = tuple(
        _row(what, k, told, base, found.get((what, k), []))
        for what, known in READINGS.items()
        for k in (range(1, stations + 1) if known.each else (0,))
    )
    return HandOverSheet(
        rows, read_machine(job), missing(job, stations), stations, upkeep(reached, job), effects(board.plant)
    )


def _row(what: str, station: int, told: Mapping[Key, float], base: Baseline, found: list[Limit]) -> HandOverRow:
    known, recorded = READINGS[what], base.values.get((what, station))
    predicted = told.get((what, station))
    value = predicted if recorded is None else recorded[0]
    sigma = None
    if recorded is not None:
        sigma = recorded[1]
    elif not known.ratio or value is not None:
        sigma = known.sigma * (abs(value or 0.0) if known.ratio else 1.0)
    low = high = None
    for limit in found:
        bound = _bound(limit, value)
        if bound is not None and limit.red < 0.0:
            low = bound if low is None or bound.red > low.red else low
        elif bound is not None:
            high = bound if high is None or bound.red < high.red else high
    return HandOverRow(what, station, known.asked, known.kind, known.minutes, predicted,
                       None if recorded is None else recorded[0], sigma, low, high)  # fmt: skip


def _bound(limit: Limit, value: float | None) -> Bound | None:
    if value is None:
        return None
    at = (lambda x: value * math.exp(x)) if READINGS[limit.what].ratio else (lambda x: value + x)
    return Bound(at(limit.amber), at(limit.red), limit.driven_by, limit.seen)


def _predicted(
    board: Board, check: CheckResult, tank: TankReport | None, done: tuple[float | None, ...]
) -> Iterator[tuple[Key, float]]:
    """Healthy values, SI, of every reading the results hold."""
    plant, stations = board.plant, range(1, board.plant.line.stations + 1)
    circuit = plant.circuit(Condition.healthy(1, len(stations)))
    for what, value in predicted_healthy(plant).items():
        for k in stations if READINGS[what].each else (0,):
            yield (what, k), value
    yield ("part-mass", 0), sum(b.mass for b in check.bodies if check.scene.job.body(b.name).role == "work")
    if tank is not None:
        yield from _of_tank(tank)
    gaps = [c.distance for c in check.clearances if ("turn" in c.first) != ("turn" in c.second)]
    for k in stations:
        own = done[k - 1] if len(done) >= k else None
        if own is not None and math.isfinite(own):
            # the window's instant is that at which enough has been reached, with a charge later than the first flash
            yield ("total", k), own
            if not plant.charged:
                yield ("start", k), own
        yield ("voltage-share", k), float(circuit["voltage-share"][0, k - 1])
        if gaps:
            yield ("setback", k), min(gaps)


def _of_tank(tank: TankReport) -> Iterator[tuple[Key, float]]:
    cold = tank.cold
    yield ("frequency", 0), cold.frequency
    yield ("q", 0), cold.loaded_q
    if cold.unloaded_q is not None:
        yield ("q-empty", 0), cold.unloaded_q
    yield ("coil-current", 0), cold.coil_current
    yield ("tank-voltage", 0), cold.component("tank").voltage
    yield ("source-power", 0), cold.source_power
    for end, point in (("hot", tank.hot), ("empty", tank.empty)):
        if point is not None:
            yield (f"frequency-{end}", 0), point.frequency
            yield (f"coil-current-{end}", 0), point.coil_current
            yield (f"source-power-{end}", 0), point.source_power
    yield ("q-hot", 0), tank.hot.loaded_q
    yield ("tank-voltage-hot", 0), tank.hot.component("tank").voltage
    yield ("capacitance", 0), tank.tank.bank.capacitance
    if tank.cooling is not None:
        yield ("outlet-rise", 0), tank.cooling.outlet_temperature - tank.cooling.circuit.inlet_temperature
