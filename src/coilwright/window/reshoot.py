"""Drawn parts shot in full: how many verdicts of the stand-ins change, and what that does to the yield.

Parts are sorted by how far the stand-in's margin lies from the limit in units of its own error (`doubt`), some or all of
every layer are shot in full, and the layers are put together again by their weights: stratified sampling, W. G. Cochran,
Sampling Techniques, 3rd ed. (1977), eq. 5.1 and 5.7, with the finite-population factor. A layer whose sample shows no
change is not taken as sure: four more shots are counted in, of which as many change as an error of that size would make.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from coilwright.section.quad9 import Array, IntArray
from coilwright.window.pool import run_all
from coilwright.window.study import Draws, Judged, Study

# Layers by margin over the error of the stand-in (two deviations), and which share of the shots each gets.
_EDGES = (-1.0, 0.0, 1.0, 2.0)
_NAMES = ("clear failures", "failures in doubt", "passes in doubt", "passes near it")
_SHARES = (0.15, 0.35, 0.35, 0.15)
# How many of a layer a normal error of half the doubt would change (0.2 within it, 0.004 beyond), counted as so many shots.
_EXPECTED, _COUNTED = (0.02, 0.2, 0.2, 0.02), 4.0
ALL = -1


@dataclass(frozen=True)
class Layer:
    """`parts` drawn with such a margin, how many were `shot` in full, and how many of those `changed` their verdict."""

    name: str
    parts: int
    shot: int
    changed: int

    def to_dict(self) -> dict[str, Any]:
        return {"layer": self.name, "parts": self.parts, "shot": self.shot, "changed": self.changed}


@dataclass(frozen=True)
class Reshot:
    """What full shots of drawn parts say: `share` of good parts with its 95 % interval, drawing and layers together."""

    layers: tuple[Layer, ...]
    share: float
    low: float
    high: float

    @property
    def shot(self) -> int:
        return sum(x.shot for x in self.layers)

    @property
    def changed(self) -> int:
        return sum(x.changed for x in self.layers)

    @property
    def said(self) -> str:
        each = "; ".join(f"{x.changed} of {x.shot} {x.name} (of {x.parts})" for x in self.layers if x.parts)
        return (
            f"{self.shot} drawn parts shot in full, {self.changed} verdicts changed: {each or 'none drawn near a limit'}; "
            f"yield so corrected {100 * self.share:.2f} % ({100 * self.low:.2f} to {100 * self.high:.2f})"
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            "shot": self.shot, "changed": self.changed, "yield": self.share, "low": self.low, "high": self.high,
            "layers": [x.to_dict() for x in self.layers],
        }  # fmt: skip


def reshoot(
    study: Study, draws: Draws, judged: Judged, doubt: Array, shots: int, report: Callable[[float], None] | None = None
) -> Reshot:
    """Shoot drawn parts in full: `shots` of them near a limit, or ALL failures and all parts in doubt.

    `doubt` (limits,): error of the stand-ins, two deviations. Raises NotConverged.
    """
    counts = study.counts
    distance = judged.margins[..., counts] / np.maximum(doubt[counts], 1e-12)
    worst = distance.min(axis=-1)
    layer = np.digitize(worst.ravel(), _EDGES)
    rng = np.random.default_rng(study.effort.seed + 40)
    chosen = [_sample(np.flatnonzero(layer == k), shots, _SHARES[k], k, rng) for k in range(len(_NAMES))]
    flat = np.concatenate(chosen).astype(np.int64)
    good = _verdicts(study, draws, judged, distance, flat, report or (lambda share: None))
    layers, share, variance, first = [], 0.0, 0.0, 0
    for k, name in enumerate(_NAMES):
        parts, n = int(np.count_nonzero(layer == k)), len(chosen[k])
        passed = int(np.count_nonzero(good[first : first + n]))
        first += n
        failing = k < 2
        layers.append(Layer(name, parts, n, passed if failing else n - passed))
        weight, own = parts / layer.size, passed / n if n else float(not failing)
        share += weight * own
        guess = (layers[-1].changed + _EXPECTED[k] * _COUNTED) / (n + _COUNTED)
        variance += weight**2 * guess * (1.0 - guess) / (n + _COUNTED) * (1.0 - n / parts if parts else 0.0)
    share += float(np.count_nonzero(layer == len(_NAMES))) / layer.size
    variance += _drawing(np.asarray(worst >= 0.0), share)
    half = 1.96 * float(np.sqrt(variance))
    return Reshot(tuple(layers), share, max(share - half, 0.0), min(share + half, 1.0))


def _sample(rows: IntArray, shots: int, share: float, layer: int, rng: np.random.Generator) -> IntArray:
    if shots == ALL and layer < len(_NAMES) - 1:
        return rows
    wanted = round(share * (40 if shots == ALL else shots))
    return rows if len(rows) <= wanted else np.sort(rng.choice(rows, wanted, replace=False))


def _drawing(good: Array, share: float) -> float:
    """Variance of a share of parts of which those of one shot have much in common."""
    of_shots = good.mean(axis=1)
    spread = float(np.var(of_shots, ddof=1)) if len(of_shots) > 1 else 0.0
    return float(max(spread, share * (1.0 - share) / good.shape[1]) / len(of_shots))


def _verdicts(
    study: Study, draws: Draws, judged: Judged, distance: Array, flat: IntArray, report: Callable[[float], None]
) -> Array:
    """(n,) whether parts are good by full shots, one for every side of the part that a limit in doubt reads."""
    stations, counts = judged.level.shape[1], study.counts
    tasks, what = [], []
    points = study.points(draws.only(flat // stations), judged.level[flat // stations])
    for n, k in enumerate(flat):
        shot, station = divmod(int(k), stations)
        near = distance[shot, station]
        doubtful = set(np.flatnonzero(near < 2.0)) | {int(np.argmin(near))}
        by_side: dict[float, list[int]] = {}
        for i in doubtful:
            by_side.setdefault(round(float(judged.side[shot, station, counts[i]]), 4), []).append(int(i))
        for side, limits in by_side.items():
            row = points[n, station].copy()
            row[0] += side
            tasks.append(study.task(row))
            what.append((n, limits))
    outcomes = run_all(study.runner, tasks, study.effort.workers, lambda done: report(done / max(len(tasks), 1)))
    good = np.ones(len(flat), dtype=bool)
    for (n, limits), outcome in zip(what, outcomes, strict=True):
        good[n] &= bool(np.all(outcome.margins[counts[limits]] >= 0.0))
    return good
