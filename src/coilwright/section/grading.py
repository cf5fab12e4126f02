"""Break points along a line from a wanted element size that varies along it.

The wanted size h(x) is the smallest of several sources: each asks for an element of a given size at its place and
lets the elements grow by a constant factor away from it. Elements are equal steps of the integral of dx/h, so a
finer level is the same h times a factor and a family of levels converges regularly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from coilwright.section.quad9 import Array

_SUBSTEPS = 12  # integration steps per element


@dataclass(frozen=True, eq=False)
class Wanted:
    """Sources of small elements on a line: at `at` (k,) elements of `size` (k,), nowhere longer than `longest` (m)."""

    at: Array
    size: Array
    longest: float = math.inf

    @classmethod
    def join(cls, *parts: Wanted) -> Wanted:
        return cls(
            np.concatenate([p.at for p in parts]),
            np.concatenate([p.size for p in parts]),
            min(p.longest for p in parts),
        )


def wanted(at: Array | list[float], size: Array | list[float], longest: float = math.inf) -> Wanted:
    return Wanted(np.asarray(at, dtype=float), np.asarray(size, dtype=float), longest)


def breaks(start: float, end: float, want: Wanted, growth: float, scale: float, at_least: int = 1) -> Array:
    """Break points from `start` to `end` (start < end).

    `growth` is the length ratio of neighbours away from a source, `scale` multiplies every length (the mesh level),
    `at_least` is the smallest number of elements (not scaled).
    """
    return _spread(start, end, *_march(start, end, want, growth, scale), at_least)


def even_breaks(start: float, end: float, want: Wanted, growth: float, scale: float, at_least: int = 2) -> Array:
    """As `breaks`, with an even number of elements."""
    x, total = _march(start, end, want, growth, scale)
    count = max(at_least, 2 * math.ceil(0.5 * (total[-1] - 0.2)))
    return _spread(start, end, x, total, count + count % 2, exactly=True)


def _march(start: float, end: float, want: Wanted, growth: float, scale: float) -> tuple[Array, Array]:
    slope = math.log(growth)
    first = want.size * slope / (growth - 1.0)  # so that the first whole element has the size asked for
    longest = min(want.longest, 10.0 * (end - start))
    n = _count(start, end, want.at, first * scale, slope * scale, longest * scale)
    x, total = np.empty(n + 1), np.empty(n + 1)
    _integrate(start, end, want.at, first * scale, slope * scale, longest * scale, x, total)
    return x, total


def _spread(start: float, end: float, x: Array, total: Array, at_least: int, exactly: bool = False) -> Array:
    count = at_least if exactly else max(at_least, math.ceil(total[-1] - 0.2), 1)
    out = np.interp(np.linspace(0.0, total[-1], count + 1), total, x)
    out[0], out[-1] = start, end
    return out


@njit(cache=True)
def _size(x: float, at: Array, first: Array, slope: float, longest: float) -> float:
    h = longest
    for k in range(at.shape[0]):
        h = min(h, first[k] + slope * abs(x - at[k]))
    return h


@njit(cache=True)
def _count(start: float, end: float, at: Array, first: Array, slope: float, longest: float) -> int:
    n = 0
    x = start
    while x < end and n < 1_000_000:
        x += _size(x, at, first, slope, longest) / _SUBSTEPS
        n += 1
    return n


@njit(cache=True)
def _integrate(
    start: float, end: float, at: Array, first: Array, slope: float, longest: float, x: Array, total: Array
) -> None:
    x[0] = start
    total[0] = 0.0
    for k in range(x.shape[0] - 1):
        step = min(_size(x[k], at, first, slope, longest) / _SUBSTEPS, end - x[k])
        x[k + 1] = x[k] + step
        a, b, c = x[k], x[k] + 0.5 * step, x[k] + step  # Simpson
        total[k + 1] = total[k] + step / 6.0 * (
            1.0 / _size(a, at, first, slope, longest)
            + 4.0 / _size(b, at, first, slope, longest)
            + 1.0 / _size(c, at, first, slope, longest)
        )
