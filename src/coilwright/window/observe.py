"""What every reading in reach would show of every fault, against how well it can be read; and what to read instead.

A fault that moves nothing at the terminals by more than twice the uncertainty of a change there is said to be invisible
from them, however much power its station has lost.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coilwright.errors import BadInput
from coilwright.job import Job
from coilwright.readings.worth import WORTH
from coilwright.window.faults import StationFault, usual_faults
from coilwright.window.margins import Outcome, Runner
from coilwright.window.pool import run_all
from coilwright.window.stations import FixtureModel, Station, StationsResult

_HARDLY = 0.02  # of a station's power
_SEEN = 2.0  # standard uncertainties of a change
_LEVELS = (0.5, 0.65, 0.8, 0.9, 1.0, 1.15, 1.3)


@dataclass(frozen=True)
class Reading:
    """`name` as in a hand-over record and a shot log, `words` as said. `sigma`: standard uncertainty of a change against the
    healthy state, relative or in SI; `minutes` it takes."""

    name: str
    words: str
    at: Literal["terminals", "station"]
    sigma: float
    relative: bool
    unit: str
    minutes: float
    how: str


# Common practice, no source: what careful people get on a shop floor.
READINGS = (
    Reading("frequency", "frequency", "terminals", WORTH["frequency"], True, "Hz", 1,
            "counter; the bank's own drift is the limit"),
    Reading("coil-current", "current", "terminals", WORTH["coil-current"], True, "A", 1, "current transformer"),
    Reading("source-power", "power", "terminals", WORTH["source-power"], True, "W", 1, "meter at the source"),
    Reading("tank-voltage", "volts", "terminals", WORTH["tank-voltage"], True, "V", 1, "probe or meter"),
    Reading("q", "loaded Q", "terminals", WORTH["q"], True, "", 10, "ring-down of the tank with the bridge off"),
    Reading("setback", "setting block", "station", WORTH["setback"], False, "m", 1,
            "block or feeler between nose and part, power off"),
    Reading("start", "start time, stopwatch", "station", 0.2, False, "s", 2, "by eye, station by station"),
    Reading("start-photodiode", "start time, photodiode", "station", 0.02, False, "s", 5, "light of the start"),
    Reading("pyrometer", "pyrometer", "station", 10.0, False, "K", 5, "at one fixed moment of the shot"),
    Reading("voltage-share", "station volts", "station", WORTH["voltage-share"], True, "", 5,
            "each coil's share of the volts, same probe on all"),
    Reading("pick-up", "pick-up loop", "station", WORTH["pick-up"], True, "V", 15,
            "one turn on a dummy part, fitted when isolated"),
    Reading("disc-step", "gauge disc in/out", "station", 7.0, False, "Hz", 15,
            "step of the ring-down frequency, copper disc"),
    Reading("gauge-step", "part in/out", "station", 0.003, True, "", 15,
            "step of the loaded Q with a good unfired part"),
)  # fmt: skip


@dataclass(frozen=True)
class Change:
    """A reading `healthy` and `faulty` (SI), and the change over its uncertainty."""

    reading: Reading
    healthy: float
    faulty: float
    sigma: float

    @property
    def sigmas(self) -> float:
        if math.isinf(self.faulty) and math.isfinite(self.healthy):
            return math.inf
        return abs(self.faulty - self.healthy) / self.sigma if math.isfinite(self.healthy) else 0.0

    @property
    def seen(self) -> bool:
        return self.sigmas >= _SEEN

    def to_dict(self) -> dict[str, Any]:
        tail = f"_{self.reading.unit}" if self.reading.unit else ""
        return {
            "reading": self.reading.name, "words": self.reading.words, "at": self.reading.at, f"healthy{tail}": self.healthy,
            f"faulty{tail}": self.faulty, f"sigma{tail}": self.sigma, "sigmas": self.sigmas, "seen": self.seen,
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Sight:
    """One fault: what it does to its station's power and to the others', and every reading's change. `scrap`: share of
    bad parts at the station and in all, where a study has told it."""

    fault: StationFault
    power_change: float
    others_change: float
    changes: tuple[Change, ...]
    scrap: tuple[float, float] | None = None

    def change(self, name: str) -> Change:
        return next(c for c in self.changes if c.reading.name == name)

    @property
    def seen_at_terminals(self) -> bool:
        return any(c.seen for c in self.changes if c.reading.at == "terminals")

    @property
    def cheapest(self) -> Change | None:
        """The quickest reading that shows it; of equally quick ones the clearest."""
        seen = [c for c in self.changes if c.seen]
        return min(seen, key=lambda c: (c.reading.minutes, -c.sigmas), default=None)

    @property
    def clearest(self) -> Change:
        return max(self.changes, key=lambda c: c.sigmas)

    @property
    def said(self) -> str:
        what = f"{self.fault.name}: station {self.fault.station} {100 * self.power_change:+.1f} % power"
        if abs(self.power_change) < _HARDLY and not any(c.seen for c in self.changes if c.reading.name != "setback"):
            only = any(c.seen for c in self.changes)
            return what + "; it hardly matters" + (", and only the setting block would show it" if only else "")
        if self.scrap is not None:
            what += f", {100 * self.scrap[0]:.0f} % scrap there, {100 * self.scrap[1]:.1f} % in all"
        if not self.seen_at_terminals:
            what += "; this cannot be seen from the terminals"
        if self.cheapest is None:
            return what + "; no reading here shows it"
        c = self.cheapest
        return what + f"; {c.reading.words} ({c.reading.minutes:g} min) shows it{_size(c)}"

    def to_dict(self) -> dict[str, Any]:
        return {
            "fault": self.fault.name, "station": self.fault.station, "power_change": self.power_change,
            "others_change": self.others_change,
            "scrap_there": None if self.scrap is None else self.scrap[0],
            "scrap_in_all": None if self.scrap is None else self.scrap[1], "seen_at_terminals": self.seen_at_terminals,
            "cheapest": None if self.cheapest is None else self.cheapest.reading.name,
            "clearest": self.clearest.reading.name, "said": self.said,
            "readings": [c.to_dict() for c in self.changes],
        }  # fmt: skip


def _size(c: Change) -> str:
    if not math.isfinite(c.sigmas):
        return " (it never happens)"
    if c.reading.relative:
        return f" ({100 * (c.faulty / c.healthy - 1):+.1f} %, {c.sigmas:.0f} times its uncertainty)"
    unit, scale = ("mm", 1e3) if c.reading.unit == "m" else (c.reading.unit, 1.0)
    return f" ({(c.faulty - c.healthy) * scale:+.2g} {unit}, {c.sigmas:.0f} times its uncertainty)"


class Observer:
    """Computes readings of a fixture, healthy and with faults. `scatter`: ordinary spread of start times (relative)."""

    def __init__(self, model: FixtureModel, runner: Runner, *, scatter: float = 0.03, workers: int = 1) -> None:
        self.model, self.runner, self.scatter = model, runner, scatter
        nominal = runner.run({})
        end = model.job.drive.shot_time or 0.0
        self.runner.look = 0.5 * (nominal.start if math.isfinite(nominal.start) else end)
        self.shots = run_all(runner, [({}, level) for level in _LEVELS], workers, lambda n: None)
        self.healthy = model.solve()
        self._before: dict[int, dict[str, float]] = {}

    def look(self, station: int, faults: Sequence[StationFault] | None = None) -> tuple[Sight, ...]:
        """Every fault at `station` (from 1), or the usual ones."""
        return tuple(self.sight(f) for f in (usual_faults(self.model, station) if faults is None else faults))

    def sight(self, fault: StationFault) -> Sight:
        """All readings of one fault."""
        k = fault.station
        if k not in self._before:
            self._before[k] = self._readings(StationFault("healthy", "common", k))
        healthy, faulty = self._before[k], self._readings(fault)
        changes = []
        for r in READINGS:
            if (
                r.name not in healthy
                or r.name not in faulty
                or not math.isfinite(healthy[r.name])
                or math.isnan(faulty[r.name])
            ):
                continue
            sigma = r.sigma * abs(healthy[r.name]) if r.relative else r.sigma
            if r.name.startswith("start"):
                sigma = math.hypot(sigma, self.scatter * healthy[r.name])
            changes.append(Change(r, healthy[r.name], faulty[r.name], sigma))
        result = self._solve(fault)
        ratio = result.powers / self.healthy.powers - 1.0
        others = np.delete(ratio, k - 1)
        return Sight(fault, float(ratio[k - 1]), float(others.mean()) if len(others) else 0.0, tuple(changes))

    def _solve(self, fault: StationFault, **station: Any) -> StationsResult:
        states = dict(fault.stations)
        if station:
            mine = states.get(fault.station, Station())
            states[fault.station] = Station(**{**{f: getattr(mine, f) for f in mine.__dataclass_fields__}, **station})
        return self.model.solve(states, setting=fault.setting, capacitance=fault.capacitance)

    def _readings(self, fault: StationFault) -> dict[str, float]:
        k = fault.station - 1
        now = self._solve(fault)
        shot = self._shot(fault, now)
        out = {
            "frequency": now.frequency, "coil-current": now.current, "source-power": now.power, "tank-voltage": now.voltage,
            "q": now.q, "setback": fault.gap + 1.0, "voltage-share": float(now.voltage_shares[k]),
            "start": shot[0], "start-photodiode": shot[0], "pyrometer": shot[1],
        }  # fmt: skip
        # what is fitted in place of the part sees the coil, not what was wrong with the part
        bare = (
            StationFault("", fault.kind, fault.station, {}, fault.setting, fault.capacitance)
            if fault.kind == "part"
            else fault
        )
        empty = self._solve(bare, part=False)
        good = self._solve(bare)
        out["gauge-step"] = 1.0 + (empty.q - good.q) / empty.q
        out["pick-up"] = self._loop(bare, empty, good)
        step = self._disc_step(bare, empty)
        if step is not None:
            out["disc-step"] = step
        return out

    def _loop(self, fault: StationFault, empty: StationsResult, good: StationsResult) -> float:
        """Volts (rms) of one turn at the place of the part. Behind a changed coil they are read from the part's power, which
        goes with the square of the flux."""
        k = fault.station - 1
        omega = 2.0 * math.pi * empty.frequency
        cell = self.model.cells.at()
        state = fault.stations.get(fault.station)
        if state is not None and state.variant is not None:
            like = math.sqrt(float(good.powers[k] / self.healthy.powers[k])) * float(self.healthy.heating_current[k])
            return omega * cell.flux() * like * float(empty.heating_current[k] / good.heating_current[k])
        there, state = (cell, Station()) if state is None else (self.model.cell(state), state)
        # a heating current counts the root of the part's power; a loop sees the flux itself
        askew = there.flux(state.sideways, state.tilt) / float(empty.network.flux[k, k])
        return omega * askew * float(empty.heating_current[k])

    def _disc_step(self, fault: StationFault, empty: StationsResult) -> float | None:
        state = fault.stations.get(fault.station, Station())
        job = gauge_job(self.model.job if state.variant is None else state.variant)
        if job is None:
            return None
        try:
            return self._solve(fault, variant=job).frequency - empty.frequency
        except BadInput:  # the disc does not fit where the part sits
            return None

    def _shot(self, fault: StationFault, now: StationsResult) -> tuple[float, float]:
        """(start time s, temperature K at the fixed moment); inf when it does not start while the heat is on."""
        k = fault.station - 1
        state = fault.stations.get(fault.station)
        if now.powers[k] <= 0.0:
            return math.inf, self.model.cells.scene.job.surroundings.temperature
        level = float(self.healthy.heating_current[k]) / self.runner.current
        if fault.kind == "part" and state is not None and state.variant is not None:
            other = Runner(
                state.variant, (), self.runner.control, self.runner.current, self.runner.frequency, self.runner.level
            )
            other.look = self.runner.look
            shot: Outcome = other.run({}, float(now.heating_current[k]) / self.runner.current)
            return self._in_time(shot.start), shot.looked
        level *= math.sqrt(float(now.powers[k] / self.healthy.powers[k]))
        x, at = np.log(_LEVELS), math.log(min(max(level, _LEVELS[0]), _LEVELS[-1]))
        starts = np.array([s.start for s in self.shots])
        known = np.isfinite(starts)
        if not known.any() or math.log(level) < x[known].min() - 1e-9:
            start = math.nan if np.isnan(starts).all() else math.inf
        else:
            start = math.exp(float(np.interp(at, x[known], np.log(starts[known]))))
        return self._in_time(start), float(np.interp(at, x, [s.looked for s in self.shots]))

    def _in_time(self, start: float) -> float:
        """A start that the timer does not wait for never happens."""
        end = self.model.job.drive.shot_time
        return math.inf if end is not None and start > end else start


_discs: dict[int, tuple[Job, Job | None]] = {}


def gauge_job(job: Job, thickness: float = 1e-3) -> Job | None:
    """The job with a copper disc, as wide as the part, in the place of its work; None where that cannot be drawn."""
    if id(job) in _discs and _discs[id(job)][0] is job:
        return _discs[id(job)][1]
    from coilwright.section.scene import scene

    work = [b.name for b in job.bodies if b.role == "work"]
    section = scene(job, checked=False).section
    boxes = np.array([b.outer.box for b in section.bodies if b.name in work])  # r low, r high, z low, z high
    disc = {
        "name": work[0], "role": "work", "material": "copper",
        "shape": {"kind": "disc", "diameter": f"{2 * float(boxes[:, 1].max())!r} m", "height": f"{thickness!r} m"},
        "centre": f"{0.5 * float(boxes[:, 2].min() + boxes[:, 3].max())!r} m",
    }  # fmt: skip
    others = [b for b in job.document["body"] if b.get("name") not in work]
    changes: dict[str, Any] = {"body": [disc, *others], "accept": None, "joint": None, "contact": None, "varies": None}
    try:
        made = job.with_values({k: v for k, v in changes.items() if v is not None or k in job.document})
        scene(made)
    except BadInput:
        made = None
    _discs[id(job)] = (job, made)
    return made
