"""Which cause explains these readings and tallies: the ranked answer in words, with what to measure and what not to do."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal

import numpy as np
from scipy.special import logsumexp

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.line.build import build_plant
from coilwright.line.causes import keys
from coilwright.line.kept import kept_plant
from coilwright.line.machine import READINGS, baseline
from coilwright.line.plant import Array, Condition, Plant
from coilwright.line.posterior import Board, Item, Next, Posterior, build_board, next_readings, posterior
from coilwright.line.shots import Rough
from coilwright.line.taken import Readings

Told = Literal["cause", "station", "nothing"]
_SURE_CAUSE, _SURE_GROUP, _SURE_STATION = 0.7, 0.9, 0.8
_TWIN = 0.35  # nats by which all readings together may differ between causes that they cannot part
_SHOWN = 6


@dataclass(frozen=True)
class Ranked:
    """One cause: probability, size (low, middle, high) of a 90 % interval in `unit` or None, evidence in words."""

    key: str
    name: str
    stations: tuple[int, ...]
    probability: float
    size: tuple[float, float, float] | None
    unit: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    remedy: str
    look_for: str

    def to_dict(self) -> dict[str, Any]:
        size = None if self.size is None else dict(zip(("low", "middle", "high"), self.size, strict=True))
        return {
            "cause": self.key,
            "name": self.name,
            "stations": list(self.stations),
            "probability": self.probability,
            "size": size,
            "unit": self.unit,
            "for": list(self.speaks_for),
            "against": list(self.speaks_against),
            "remedy": self.remedy,
            "look_for": self.look_for,
        }

    def __str__(self) -> str:
        size = "" if self.size is None else f", {_size(self.size, self.unit)}"
        return f"{100 * self.probability:.0f} % {self.name}{size}"


def _size(size: tuple[float, float, float], unit: str) -> str:
    low, middle, high = size
    return f"{middle:.2g} {unit} ({low:.2g} to {high:.2g})"


@dataclass(frozen=True)
class Excluded:
    """A kind of cause that is met often and that the readings leave less than one per cent, and the strongest reason."""

    key: str
    name: str
    probability: float
    why: str


@dataclass(frozen=True)
class Answer:
    """The diagnosis. `told`: the "cause" is told, only the "station" is, or "nothing" can be told from these readings."""

    told: Told
    said: str
    ranked: tuple[Ranked, ...]
    stations: tuple[float, ...]
    twins: tuple[str, ...]
    next: tuple[Next, ...]
    scrap_now: float
    scrap_after: float
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    excluded: tuple[Excluded, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        return {
            "told": self.told,
            "said": self.said,
            "causes": [r.to_dict() for r in self.ranked],
            "stations": [{"station": k + 1, "probability": p} for k, p in enumerate(self.stations)],
            "cannot_be_told_apart": list(self.twins),
            "next": [
                {"reading": x.what, "ask": READINGS[x.what].asked, "stations": x.stations, "information_bits": x.bits,
                 "time_s": 60.0 * x.minutes}
                for x in self.next
            ],
            "scrap_now": self.scrap_now,
            "scrap_after": self.scrap_after,
            "excluded": [{"cause": x.key, "name": x.name, "probability": x.probability, "against": x.why} for x in self.excluded],
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
        }  # fmt: skip


CAUTIONS = (
    "Coil, leads and tank are live while heating and capacitors may stay charged: isolate, lock, wait the stated time, prove "
    "dead before a gauge, a feeler or a meter goes near them.",
    "The pick-up loop goes into an enclosed dummy part with shielded leads, fitted with the machine isolated.",
    "Only licensed or otherwise qualified persons open mains parts; local codes decide. Interlocks stay as they are.",
    "Parts that failed once are scrap until the process owner says otherwise: a part-fired charge cannot be fired again as new.",
)


def machine_board(job: Job, measured_q: float | None = None, rough: Rough | None = None) -> Board:
    """The job's machine with all causes predicted, ready for many questions: a few seconds the first time (see `kept`), less
    where the `rough` shot of the job is at hand."""
    base = baseline(job)
    q = base.values.get(("q", 0))
    measured = measured_q if measured_q is not None else None if q is None else q[0]
    plant = kept_plant(job, partial(build_plant, rough=rough), base.spread, measured)
    if base.moved is not None and base.moved.station > plant.line.stations:
        what = f"must be from 1 to {plant.line.stations}; received {base.moved.station}"
        raise BadInput(Fault(f"{job.name}: machine.moved.station", what))
    return build_board(plant, base.moved)


def predicted_healthy(plant: Plant) -> dict[str, float]:
    """SI values of the model for readings that nobody took at hand-over; the same at every station."""
    zero = Condition.healthy(1, plant.line.stations)
    got = plant.circuit(zero) | plant.terminals(zero, np.zeros((1, plant.line.stations)))
    n = plant.line.stations if plant.line.feed == "parallel" else 1
    current, omega, nothing = plant.current * n, 2.0 * math.pi * plant.frequency, np.zeros(1)
    per = {"coil-current": current, "tank-voltage": current, "source-power": current**2}
    unit = per | {f"{k}-{end}": v for k, v in per.items() for end in ("hot", "empty")}
    out = {k: float(got[k].flat[0]) * unit.get(k, 1.0) / float(_of_current(k, got)) for k in _ABSOLUTE if k in got}
    out |= {k: float(got[k][0, 0]) for k in ("resistance", "resistance-empty")}
    out |= {k: float(got[k][0, 0]) / omega for k in ("inductance", "inductance-empty")}
    times = {"start": plant.shot.start, "total": plant.shot.total}
    out |= {k: float(np.exp(time(nothing))[0]) for k, time in times.items()}
    return {**out, "on-time": plant.on_time, **plant.sourced}


_ABSOLUTE = ("frequency", "q", "q-empty", "frequency-empty", "frequency-hot", "q-hot", *(
    f"{k}{end}" for k in ("coil-current", "tank-voltage", "source-power") for end in ("", "-hot", "-empty")
))  # fmt: skip


def _of_current(what: str, got: dict[str, Array]) -> float:
    """The healthy current, in the unit of `got`, to the power in which the reading holds it."""
    power = {"coil-current": 1, "tank-voltage": 1, "source-power": 2}.get(
        what.removesuffix("-hot").removesuffix("-empty"), 0
    )
    return float(got["coil-current"][0]) ** power


def why(board: Board, readings: Readings) -> Answer:
    """Rank the causes. Without any reading the answer is the prior, and that nothing can be told."""
    post = posterior(board, readings)
    order = np.argsort(-post.causes, kind="stable")
    ranked = tuple(_ranked(post, int(k)) for k in order[:_SHOWN])
    best = int(order[0])
    stations = tuple(float(p) for p in post.stations[1:])
    like = _twins(post, best, order)
    twins = tuple(board.causes[k].name for k in like)
    told = _told(post, best, like, readings)
    after = next_readings(post, readings)
    now, healthy = _scrap(post, best), _scrap_healthy(board)
    said = _said(told, ranked[0], stations, twins, after)
    return Answer(
        told,
        said,
        ranked,
        stations,
        twins,
        after[:6],
        now,
        healthy,
        _warnings(post, best, told, stations),
        CAUTIONS,
        _excluded(post),
    )


def _told(post: Posterior, best: int, like: tuple[int, ...], readings: Readings) -> Told:
    """What may be claimed. Good and bad alone never tell a cause at a station, only the station: that takes a reading.

    Causes at one station that the readings cannot part count together, and the sentence names them all.
    """
    stations = post.stations[1:]
    if not readings.anything:
        return "nothing"
    here = post.board.causes[best].stations
    together = all(post.board.causes[k].stations == here for k in like) and bool(here)
    group = post.causes[best] + sum(post.causes[k] for k in like)
    sure = post.causes[best] >= _SURE_CAUSE or (together and group >= _SURE_GROUP)
    if sure and (readings.taken or not here):
        return "cause"
    return "station" if len(stations) > 1 and stations.max() >= _SURE_STATION else "nothing"


def _said(told: Told, top: Ranked, stations: tuple[float, ...], twins: tuple[str, ...], after: tuple[Next, ...]) -> str:
    ask = f" Read next: {READINGS[after[0].what].asked} ({after[0].minutes:g} min)." if after else ""
    if told == "cause":
        also = f" These readings cannot part it from: {', '.join(twins)}." if twins else ""
        return f"{str(top)[:1].upper()}{str(top)[1:]}.{also}{ask if twins else ''}"
    if told == "station":
        k = int(np.argmax(stations)) + 1
        return (
            f"Station {k} is at fault ({100 * stations[k - 1]:.0f} %); what is wrong with it cannot be told from these readings, "
            f"likeliest: {top}.{ask}"
        )
    return f"Cannot be told from these readings; likeliest, but no more than that: {top}.{ask}"


def _ranked(post: Posterior, k: int) -> Ranked:
    cause = post.board.causes[k]
    speaks = [_speaks(post, k, item) for item in post.evidence]
    good = sorted((s for s in speaks if s[0] > 0.7), key=lambda s: -s[0])
    poor = sorted((s for s in speaks if s[0] < -0.7), key=lambda s: s[0])
    return Ranked(
        cause.key, cause.name, cause.stations, float(post.causes[k]), post.interval(k), cause.unit,
        tuple(s[1] for s in good[:4]), tuple(s[1] for s in poor[:4]), cause.remedy, cause.see,
    )  # fmt: skip


def _excluded(post: Posterior) -> tuple[Excluded, ...]:
    """Kinds that held two per cent or more beforehand and hold less than one now, the commonest first."""
    causes, out = post.board.causes, list[tuple[float, Excluded]]()
    for key in keys(causes):
        mine = [k for k, c in enumerate(causes) if c.key == key]
        before, now = sum(causes[k].prior for k in mine), float(post.causes[mine].sum())
        if before < 0.02 or now >= 0.01:
            continue
        best = max(mine, key=lambda k: post.causes[k])
        speaks = min((_speaks(post, best, item) for item in post.evidence), default=(0.0, ""))
        name = causes[best].name if len(mine) == 1 else f"{causes[best].name} (or another)"
        out.append((before, Excluded(key, name, now, speaks[1] if speaks[0] < 0.0 else "")))
    return tuple(x for _, x in sorted(out, key=lambda o: -o[0]))


def _speaks(post: Posterior, k: int, item: Item) -> tuple[float, str]:
    """How much one piece of evidence favours a cause over all others together (nats), and the sentence."""
    board = post.board
    mine = board.owner == k
    own = float(logsumexp(item.log[mine], b=np.maximum(post.within(k), 1e-300)))
    others = float(logsumexp(item.log[~mine], b=board.prior[~mine] / board.prior[~mine].sum()))
    weight = own - others
    text = item.name
    if item.taken is not None:
        t = item.taken
        expected = float(post.within(k) @ board.column(t.what, t.station)[mine])
        shown = f"{100 * math.expm1(expected):+.2f} %" if READINGS[t.what].ratio else f"{1e3 * expected:+.2f} mm"
        text += f" (this cause: {shown})"
    return weight, text


def _twins(post: Posterior, best: int, order: np.ndarray) -> tuple[int, ...]:
    """Causes that all readings together favour neither more nor less than the first: only habit ranks them."""
    board, out = post.board, list[int]()
    if not post.evidence:
        return ()
    total = sum((i.log for i in post.evidence), np.zeros(len(board.prior)))

    def fit(k: int) -> float:
        mine = board.owner == k
        return float(logsumexp(total[mine], b=np.maximum(board.causes[k].weights, 1e-300)))

    own = fit(best)
    for k in order[1:12]:
        if post.causes[k] > 0.02 and abs(fit(int(k)) - own) < _TWIN:
            out.append(int(k))
    return tuple(out[:5])


def _scrap(post: Posterior, k: int) -> float:
    bad = post.board.outcome.expected_bad[post.board.owner == k].mean(axis=1)
    return float(post.within(k) @ bad)


def _scrap_healthy(board: Board) -> float:
    zero = Condition.healthy(1, board.plant.line.stations)
    return float(board.plant.predict(zero).expected_bad.mean())


def _warnings(post: Posterior, best: int, told: Told, stations: tuple[float, ...]) -> tuple[str, ...]:
    cause, board = post.board.causes[best], post.board
    out = []
    if cause.stations and told != "nothing" and len(stations) > 1:
        out.append(_not_the_dial(board, post, best))
    if cause.key in ("capacitor-lost", "joint-loose", "short-turn", "coil-water"):
        out.append("Do not go on running: this fault grows while the machine runs.")
    if cause.key == "part-missing":
        out.append("An empty station takes no power: the others got more. Check them for over-heating.")
    if told == "nothing":
        out.append("Do not change settings on a guess: take the next reading first.")
    return tuple(out)


def _not_the_dial(board: Board, post: Posterior, best: int) -> str:
    """What rescuing one station with the power would do to the others, in figures."""
    mine, plant = board.owner == best, board.plant
    w = post.within(best)
    lost = float(w @ board.outcome.power[mine].min(axis=1))
    k = board.causes[best].stations[0]
    if lost > -0.02:
        return f"Do not turn the power for the sake of station {k} alone: all stations change with it."
    row = int(np.argmax(w))
    state = board.states.take(np.flatnonzero(mine)[[row]])
    raise_by = -max(lost, -1.2) * 0.5  # ln of volts or amperes that restores the power of the station
    raised = replace(state, setting=state.setting + raise_by)
    got = plant.predict(raised)
    others = [j for j in range(plant.line.stations) if j + 1 not in board.causes[best].stations]
    more = 100.0 * math.expm1(float(np.mean(got.power[0, others])))
    bad = 100.0 * float(np.mean(got.expected_bad[0, others]))
    start = 100.0 * float(np.exp(np.mean(got.ratios["start"][0, others])))
    dial = 100.0 * math.expm1(raise_by)
    fail = f", and {bad:.0f} % of their parts would fail" if bad >= 0.5 else ""
    return (
        f"Do not raise the power to rescue station {k}: it would take {dial:+.0f} % on the dial, the others would get "
        f"{more:+.0f} % power and start in {start:.0f} % of their time{fail}."
    )
