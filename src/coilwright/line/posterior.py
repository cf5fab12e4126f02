"""From readings to probabilities: the likelihood of every state of every cause, summed over the states of each cause.

Bayes' rule by quadrature. Each reading is normal about the prediction with its own uncertainty and, added in quadrature, a
twentieth of the predicted effect for the model's own error (memory); tallies by station are binomial and tallies per
tray Poisson-binomial, with a base share of bad pieces that nobody knows averaged over; contrasts of lots and shifts
are beta-binomial with and without a difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.special import betaln, gammaln, log_ndtr, logsumexp

from coilwright.line.causes import Cause, all_causes
from coilwright.line.machine import READINGS, Signature
from coilwright.line.plant import MARGIN_WEIGHTS, Array, Condition, Outcome, Plant
from coilwright.line.signature import Gain, setback_gain
from coilwright.line.taken import Contrast, Readings, Taken, Tallied

MODEL_ERROR = 0.05  # of a predicted effect
_BASES = np.array([0.002, 0.01, 0.03, 0.08])  # share of bad pieces of a healthy line, equally likely beforehand
_FLOOR = 1e-12


@dataclass(frozen=True, eq=False)
class Board:
    """All states of all causes of a machine, predicted once: `owner` (g,) index of the cause, `prior` (g,) sums to one."""

    plant: Plant
    causes: tuple[Cause, ...]
    owner: np.ndarray
    prior: Array
    states: Condition
    outcome: Outcome
    gain: Gain
    still: Outcome | None

    def column(self, what: str, station: int) -> Array:
        """(g,) predicted ln ratio (or m) of one reading."""
        out = _of(self.outcome, what, station)
        slope = self.gain.slopes.get(what)
        return out if slope is None else out + slope[0] * self.states.coil_back.sum(axis=1)

    def doubt(self, what: str, station: int) -> Array:
        """(g,) one sigma of what the model says of one reading: a twentieth of every effect (memory), but for those of places
        the uncertainty of the gain where a coil was moved on purpose."""
        mu = _of(self.outcome, what, station)
        if self.still is None:
            return np.asarray(MODEL_ERROR * np.abs(mu))
        fixed = _of(self.still, what, station)
        slope = self.gain.slopes.get(what, (0.0, 0.0))[1] * self.states.coil_back.sum(axis=1)
        return np.asarray(np.sqrt((MODEL_ERROR * fixed) ** 2 + (self.gain.sigma * (mu - fixed)) ** 2 + slope**2))


def _of(outcome: Outcome, what: str, station: int) -> Array:
    values = outcome.ratios[what]
    return values[:, station - 1] if values.ndim == 2 else values


def build_board(plant: Plant, moved: Signature | None = None) -> Board:
    """Predict everything. `moved`: what one coil moved on purpose did, which the model is then made to agree with."""
    gain = setback_gain(plant, moved)
    plant = replace(plant, gain=gain.value)
    causes = all_causes(plant)
    states = Condition.stack([c.grid for c in causes])
    owner = np.concatenate([np.full(len(c.weights), k) for k, c in enumerate(causes)])
    prior = np.concatenate([c.prior * c.weights for c in causes])
    still = None
    if gain.measured or gain.slopes:
        still = plant.predict(replace(states, **{k: 0.0 * getattr(states, k) for k in ("coil_back", "nest_back", "part_back")}))
    return Board(plant, causes, owner, prior, states, plant.predict(states), gain, still)


@dataclass(frozen=True, eq=False)
class Item:
    """One piece of evidence and its log-likelihood over the states (g,)."""

    name: str
    log: Array
    taken: Taken | None = None


def items(board: Board, readings: Readings) -> tuple[Item, ...]:
    """Every reading, tally and contrast with its log-likelihood."""
    out = [Item(str(t), log_reading(board, t), t) for t in readings.taken]
    if readings.tallies or readings.trays:
        out.append(Item(_tally_name(readings), _log_counts(board, readings.tallies, readings.trays)))
    out += [Item(f"{c.by}: {c.bad[0]} of {c.tried[0]} against {c.bad[1]} of {c.tried[1]}", _log_contrast(board, c))
            for c in readings.contrasts]  # fmt: skip
    return tuple(out)


def _tally_name(readings: Readings) -> str:
    parts = ["tally " + "-".join(map(str, t.bad)) + f" of {max(t.tried)} each" for t in readings.tallies]
    if readings.trays:
        parts.append(f"{len(readings.trays)} trays with {sum(readings.trays)} bad")
    return ", ".join(parts)


def log_reading(board: Board, t: Taken) -> Array:
    mu = board.column(t.what, t.station)
    sigma = np.hypot(t.sigma, board.doubt(t.what, t.station))
    if t.floor:
        return np.asarray(log_ndtr((mu - t.value) / sigma))
    z = (t.value - mu) / sigma
    # a wrong entry must not decide everything: beyond about five sigma the tail goes on as a broad one
    normal = -0.5 * z**2 - np.log(sigma)
    return np.asarray(np.logaddexp(normal, math.log(1e-6) - np.log(sigma)))


def _log_counts(board: Board, tallies: Sequence[Tallied], trays: Sequence[int]) -> Array:
    logs = []
    for base, (bad, doubt) in product(_BASES, zip(board.outcome.bad, MARGIN_WEIGHTS, strict=True)):
        p = np.clip(1.0 - (1.0 - base) * (1.0 - 0.99 * bad), 1e-9, 1.0 - 1e-9)
        log = np.full(len(p), math.log(doubt / len(_BASES)))
        for t in tallies:
            b, n = np.array(t.bad), np.array(t.tried)
            log += (b * np.log(p) + (n - b) * np.log1p(-p)).sum(axis=1)
        if trays:
            table = np.log(np.maximum(_poisson_binomial(p), 1e-300))
            log += table @ np.bincount(trays, minlength=p.shape[1] + 1)
        logs.append(log)
    # a model of chances that is slightly wrong must not look certain after thousands of pieces: counts as if over at most 300
    total = sum(sum(t.tried) for t in tallies) + len(trays) * board.plant.line.stations
    return np.asarray(logsumexp(np.array(logs), axis=0)) * min(1.0, 300.0 / max(total, 1))


def _poisson_binomial(p: Array) -> Array:
    """(g, n+1) chance of each number of bad pieces on a full tray."""
    out = np.zeros((len(p), p.shape[1] + 1))
    out[:, 0] = 1.0
    for k in range(p.shape[1]):
        out[:, 1:] = out[:, 1:] * (1.0 - p[:, [k]]) + out[:, :-1] * p[:, [k]]
        out[:, 0] *= 1.0 - p[:, k]
    return out


def _log_contrast(board: Board, c: Contrast) -> Array:
    """Beta(1, 4) shares: one for both, or (for causes that follow this lot or shift) one for each, the suspect's larger."""
    (b1, b2), (n1, n2) = c.bad, c.tried
    prior = betaln(1.0, 4.0)
    same = betaln(1.0 + b1 + b2, 4.0 + n1 + n2 - b1 - b2) - prior
    apart = betaln(1.0 + b1, 4.0 + n1 - b1) + betaln(1.0 + b2, 4.0 + n2 - b2) - 2.0 * prior
    ways = gammaln(n1 + 1) - gammaln(b1 + 1) - gammaln(n1 - b1 + 1)
    follows = np.array([x.follows == c.by for x in board.causes])[board.owner]
    return np.asarray(np.where(follows, apart, same) + ways)


@dataclass(frozen=True, eq=False)
class Posterior:
    """`states` (g,) probabilities of states, `causes` (c,) of causes, `stations` (n+1,) that a station is
    involved (0: that it is the whole machine or nothing)."""

    board: Board
    states: Array
    causes: Array
    stations: Array
    evidence: tuple[Item, ...]

    def within(self, cause: int) -> Array:
        """Weights (sum 1) of the states of one cause, in the order of its grid."""
        w = self.states[self.board.owner == cause]
        total = w.sum()
        return np.asarray(w / total) if total > 0.0 else self.board.causes[cause].weights

    def interval(self, cause: int, share: float = 0.9) -> tuple[float, float, float] | None:
        """(low, middle, high) of the size of a cause, in its unit; None for causes without a size."""
        size = self.board.causes[cause].size
        if size is None or len(size) < 2:
            return None
        order = np.argsort(size, kind="stable")
        x, w = size[order], self.within(cause)[order]
        x, index = np.unique(x, return_inverse=True)
        w = np.asarray(np.bincount(index, weights=w), dtype=float)
        edges = np.concatenate([[x[0]], 0.5 * (x[1:] + x[:-1]), [x[-1]]])
        edges[0] = x[0] - 0.5 * (x[1] - x[0])
        edges[-1] = x[-1] + 0.5 * (x[-1] - x[-2])
        reach = np.concatenate([[0.0], np.cumsum(w)])
        low, middle, high = np.interp([0.5 - share / 2.0, 0.5, 0.5 + share / 2.0], reach / reach[-1], edges)
        return float(low), float(middle), float(high)


def posterior(board: Board, readings: Readings) -> Posterior:
    """Probabilities of everything, given the readings."""
    evidence = items(board, readings)
    log = np.log(np.maximum(board.prior, 1e-300)) + sum((i.log for i in evidence), np.zeros(len(board.prior)))
    states = np.exp(log - logsumexp(log))
    return summed(board, states, evidence)


def summed(board: Board, states: Array, evidence: tuple[Item, ...] = ()) -> Posterior:
    causes = np.asarray(np.bincount(board.owner, weights=states, minlength=len(board.causes)), dtype=float)
    stations = np.zeros(board.plant.line.stations + 1)
    for p, cause in zip(causes, board.causes, strict=True):
        for k in cause.stations or (0,):
            stations[k] += p
    return Posterior(board, states, causes, stations, evidence)


def entropy(p: Array) -> Array:
    """Entropy in bits along the last axis."""
    return np.asarray(-np.sum(p * np.log2(np.maximum(p, _FLOOR)), axis=-1))


@dataclass(frozen=True)
class Next:
    """A reading not taken yet: `bits` it is expected to tell about the cause, in `minutes`; `rate` is bits per minute."""

    what: str
    stations: int
    bits: float
    minutes: float

    @property
    def rate(self) -> float:
        return self.bits / self.minutes


def next_readings(post: Posterior, readings: Readings, draws: int = 150, seed: int = 0) -> tuple[Next, ...]:
    """Readings not yet taken, best information per minute first: simulated from the posterior and diagnosed again."""
    board, rng = post.board, np.random.default_rng(seed)
    keep = np.argsort(post.states)[::-1]
    keep = keep[: min(len(keep), 1500)]
    keep = keep[post.states[keep] > 0.0]  # strong evidence leaves some no chance at all
    w = post.states[keep] / post.states[keep].sum()
    owner = board.owner[keep]
    names, compact = np.unique(owner, return_inverse=True)
    member = np.eye(len(names))[compact]
    before = float(entropy(w @ member))
    have = {(t.what, t.station) for t in readings.taken}
    out = []
    for what, known in READINGS.items():
        stations = [
            k for k in (range(1, board.plant.line.stations + 1) if known.each else (0,)) if (what, k) not in have
        ]
        if not stations:
            continue
        mu = np.column_stack([board.column(what, k)[keep] for k in stations])
        sigma = np.hypot(known.sigma, np.column_stack([board.doubt(what, k)[keep] for k in stations]))
        true = rng.choice(len(keep), size=draws, p=w)
        y = mu[true] + sigma[true] * rng.standard_normal((draws, len(stations)))
        log = np.log(w) - np.log(sigma).sum(axis=1)
        log = log[None, :] - 0.5 * (((y[:, None, :] - mu[None]) / sigma[None]) ** 2).sum(axis=2)
        p = np.exp(log - logsumexp(log, axis=1, keepdims=True))
        bits = max(before - float(entropy(p @ member).mean()), 0.0)
        out.append(Next(what, len(stations), bits, known.minutes))
    return tuple(sorted((x for x in out if x.bits > 0.01), key=lambda x: -x.rate))
