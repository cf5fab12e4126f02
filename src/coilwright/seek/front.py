"""Which of many points are better than none of the others: dominance, spacing, and the one in the middle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coilwright.section.quad9 import Array, IntArray


def undominated(costs: Array) -> IntArray:
    """Places of the rows of `costs` (n, m), less is better, that no other row beats or equals in all and beats in one.

    Of equal rows the first is kept.
    """
    costs = np.asarray(costs, dtype=float)
    keep = []
    for i, row in enumerate(costs):
        no_worse = np.all(costs <= row, axis=1)
        better = np.any(costs < row, axis=1)
        twin = np.all(costs == row, axis=1) & (np.arange(len(costs)) < i)
        if not np.any(no_worse & better) and not np.any(twin):
            keep.append(i)
    return np.array(keep, dtype=np.int64)


def scaled(costs: Array) -> Array:
    """Every column from 0 (its best) to 1 (its worst); 0 where all are equal."""
    costs = np.asarray(costs, dtype=float)
    low, high = costs.min(axis=0), costs.max(axis=0)
    return np.asarray((costs - low) / np.where(high > low, high - low, 1.0))


def spread_out(costs: Array, most: int) -> IntArray:
    """At most `most` rows that stand for all: the best of every column, then always the row farthest from those chosen."""
    if len(costs) <= most:
        return np.arange(len(costs))
    x = scaled(costs)
    chosen = list(dict.fromkeys(int(k) for k in np.argmin(x, axis=0)))[:most]
    while len(chosen) < most:
        away = np.min(np.linalg.norm(x[:, None, :] - x[chosen][None, :, :], axis=2), axis=1)
        chosen.append(int(np.argmax(away)))
    return np.array(sorted(chosen), dtype=np.int64)


def balanced(costs: Sequence[Sequence[float]] | Array) -> int:
    """The row whose worst column, scaled, is best: where every objective gives up about equally much."""
    x = scaled(np.asarray(costs, dtype=float))
    return int(np.lexsort((x.sum(axis=1), x.max(axis=1)))[0])
