"""Control charts: individuals and moving range, EWMA, CUSUM, and shares of bad pieces with their over-dispersion.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2 and 6.3.3 (doi 10.18434/M32189); over-dispersed
shares after D. B. Laney, Quality Engineering 14 (2002) 531. Exact limits for small numbers from the binomial itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from coilwright.errors import BadInput, Fault

Array = NDArray[np.float64]

# Mean range of two normal values in units of sigma, and the upper factor of their range chart: 2/sqrt(pi) rounded as the
# handbook tables have it, so that limits agree with charts drawn by hand.
D2_OF_TWO, D4_OF_TWO = 1.128, 3.267
_LEAST_FOR_LAG = 12  # fewer values tell nothing about their neighbours


@dataclass(frozen=True, eq=False)
class Chart:
    """A chart: `values` (n,), `centre`, `lower` and `upper` limits (n,), and `alarms`: indices outside them (from 0)."""

    title: str
    values: Array
    centre: float
    lower: Array
    upper: Array
    notes: tuple[str, ...] = ()

    @property
    def alarms(self) -> tuple[int, ...]:
        outside = (self.values > self.upper) | (self.values < self.lower)
        return tuple(int(k) for k in np.flatnonzero(outside))

    def to_dict(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "values": self.values.tolist(),
            "centre": self.centre,
            "lower": self.lower.tolist(),
            "upper": self.upper.tolist(),
            "alarms": list(self.alarms),
            "notes": list(self.notes),
        }


def _series(values: ArrayLike, least: int, what: str) -> Array:
    x = np.asarray(values, dtype=float).ravel()
    if len(x) < least or not np.all(np.isfinite(x)):
        raise BadInput(Fault(what, f"needs at least {least} finite values; received {len(x)}"))
    return x


def _flat(title: str, x: Array, centre: float, low: float, high: float, notes: tuple[str, ...] = ()) -> Chart:
    return Chart(title, x, centre, np.full(len(x), low), np.full(len(x), high), notes)


def mean_sigma(values: ArrayLike) -> tuple[float, float]:
    """Mean, and sigma from the mean moving range over d2 (e-Handbook 6.3.2.2): blind to slow drift."""
    x = _series(values, 2, "individuals chart")
    return float(np.mean(x)), float(np.mean(np.abs(np.diff(x)))) / D2_OF_TWO


def individuals(values: ArrayLike, base: int | None = None) -> Chart:
    """Single values with limits from the mean moving range: mean -+ 3 MR / d2 (e-Handbook 6.3.2.2).

    `base`: the limits are those of so many first values; of all without.
    """
    x = _series(values, 2, "individuals chart")
    mean, spread = mean_sigma(x[:base])
    return _flat("individuals", x, mean, mean - 3.0 * spread, mean + 3.0 * spread, _neighbours(x[:base]))


def lag_one(values: ArrayLike) -> float:
    """Correlation of every value with the next one (e-Handbook 1.3.5.12, lag 1); nan when all are equal."""
    x = _series(values, 2, "correlation of neighbours")
    d = x - np.mean(x)
    square = float(d @ d)
    return float(d[:-1] @ d[1:]) / square if square > 0.0 else math.nan


def _neighbours(x: Array) -> tuple[str, ...]:
    """A word on limits that come from moving ranges where neighbours are not independent (three sigma of none, 1/sqrt(n))."""
    if len(x) < _LEAST_FOR_LAG or not np.ptp(x) > 0.0:
        return ()
    r = lag_one(x)
    if abs(r) < 3.0 / math.sqrt(len(x)):
        return ()
    what = "go together, so that the limits are too narrow" if r > 0.0 else "alternate, so that the limits are too wide"
    return (f"neighbouring values {what} (correlation {r:+.2f} from one to the next)",)


def moving_range(values: ArrayLike) -> Chart:
    """Ranges of neighbouring values, limit D4 times their mean (e-Handbook 6.3.2.2)."""
    x = _series(values, 2, "moving range chart")
    ranges = np.abs(np.diff(x))
    mean = float(np.mean(ranges))
    return _flat("moving range", ranges, mean, 0.0, D4_OF_TWO * mean)


def ewma(values: ArrayLike, target: float, sigma: float, weight: float = 0.3, width: float = 3.0,
         steady: bool = False) -> Chart:  # fmt: skip
    """Exponentially weighted moving average with limits target -+ width sigma sqrt(w/(2-w) [1-(1-w)^2i]).

    `steady` leaves the bracket out, as hand-drawn charts do (e-Handbook 6.3.2.4).
    """
    x = _series(values, 1, "EWMA chart")
    if not 0.0 < weight <= 1.0 or not sigma > 0.0:
        raise BadInput(Fault("EWMA chart", f"needs 0 < weight <= 1 and sigma > 0; received {weight:g} and {sigma:g}"))
    averages = np.empty(len(x))
    last = target
    for i, value in enumerate(x):
        last = weight * value + (1.0 - weight) * last
        averages[i] = last
    place = np.arange(1, len(x) + 1)
    settled = np.ones(len(x)) if steady else 1.0 - (1.0 - weight) ** (2 * place)
    half = width * sigma * np.sqrt(weight / (2.0 - weight) * settled)
    return Chart("EWMA", averages, target, target - half, target + half)


@dataclass(frozen=True, eq=False)
class Cusum:
    """Tabular CUSUM: sums above and below (n,), decision limit `h`, all in the unit of the values."""

    high: Array
    low: Array
    h: float

    @property
    def alarms(self) -> tuple[int, ...]:
        return tuple(int(k) for k in np.flatnonzero((self.high > self.h) | (self.low > self.h)))

    @property
    def began(self) -> int | None:
        """Index of the first value of the run that led to the first alarm: where to look for the event."""
        if not self.alarms:
            return None
        first = self.alarms[0]
        sums = self.high if self.high[first] > self.h else self.low
        zeros = np.flatnonzero(sums[: first + 1] == 0.0)
        return int(zeros[-1]) + 1 if len(zeros) else 0

    def to_dict(self) -> dict[str, Any]:
        return {
            "title": "CUSUM",
            "high": self.high.tolist(),
            "low": self.low.tolist(),
            "h": self.h,
            "alarms": list(self.alarms),
            "began": self.began,
        }


def cusum(values: ArrayLike, target: float, k: float, h: float) -> Cusum:
    """S_hi = max(0, S_hi + x - target - k) and its mirror, alarm above `h` (e-Handbook 6.3.2.3). k, h in units of x."""
    x = _series(values, 1, "CUSUM chart")
    if k < 0.0 or not h > 0.0:
        raise BadInput(Fault("CUSUM chart", f"needs k >= 0 and h > 0; received {k:g} and {h:g}"))
    high, low = np.empty(len(x)), np.empty(len(x))
    up = down = 0.0
    for i, deviation in enumerate(x - target):
        up, down = max(0.0, up + deviation - k), max(0.0, down - deviation - k)
        high[i], low[i] = up, down
    return Cusum(high, low, h)


def counts(bad: Sequence[int] | ArrayLike, tried: Sequence[int] | ArrayLike | int) -> tuple[Array, Array]:
    """(n,) bad and tried as whole numbers with 0 <= bad <= tried and tried > 0. Raises BadInput."""
    b = np.asarray(bad, dtype=float).ravel()
    n = (
        np.broadcast_to(np.asarray(tried, dtype=float), b.shape)
        if np.ndim(tried) == 0
        else np.asarray(tried, float).ravel()
    )
    if len(b) == 0 or b.shape != n.shape:
        raise BadInput(Fault("tally", f"needs as many numbers tried as bad; received {len(n)} and {len(b)}"))
    wrong = np.flatnonzero(~((b >= 0) & (b <= n) & (n > 0) & (b % 1 == 0) & (n % 1 == 0)))
    if len(wrong):
        k = int(wrong[0])
        raise BadInput(
            Fault("tally", f"must hold whole numbers with 0 <= bad <= tried; entry {k + 1} has {b[k]:g} of {n[k]:g}")
        )
    return b, n


def p_chart(bad: ArrayLike, tried: ArrayLike | int, overdispersed: bool = False, base: int | None = None) -> Chart:
    """Shares of bad pieces with three-sigma limits (e-Handbook 6.3.3.2).

    `overdispersed` widens them by the moving range of the standardised shares (Laney's p'), for lots that differ more
    than dice do; the note then states the factor. A factor below one (shares more alike than dice) is kept too. `base`: the
    limits are those of so many first groups; of all without.
    """
    b, n = counts(bad, tried)
    p = b / n
    mean = float(np.sum(b[:base]) / np.sum(n[:base]))
    half = 3.0 * np.sqrt(mean * (1.0 - mean) / n)
    notes: tuple[str, ...] = ()
    if overdispersed and 0.0 < mean < 1.0 and len(p[:base]) > 1:
        z = ((p - mean) / np.sqrt(mean * (1.0 - mean) / n))[:base]
        factor = float(np.mean(np.abs(np.diff(z)))) / D2_OF_TWO
        half = half * factor
        notes = (f"the shares vary {factor:.2f} times as much as dice would",)
    return Chart("share of bad pieces", p, mean, np.maximum(mean - half, 0.0), np.minimum(mean + half, 1.0), notes)


def exact_p_chart(bad: ArrayLike, tried: ArrayLike | int, risk: float = 0.0027, base: int | None = None) -> Chart:
    """As p_chart with limits from the binomial itself, for small numbers: at most risk/2 outside on either side."""
    b, n = counts(bad, tried)
    mean = float(np.sum(b[:base]) / np.sum(n[:base]))
    from scipy import stats  # a third of a second: on first use only

    low = np.asarray(stats.binom.ppf(risk / 2.0, n, mean)) / n
    high = np.asarray(stats.binom.ppf(1.0 - risk / 2.0, n, mean)) / n
    return Chart("share of bad pieces, exact limits", b / n, mean, low, high)


def c_chart(number: ArrayLike) -> Chart:
    """Counts of faults with limits c -+ 3 sqrt(c) (e-Handbook 6.3.3.1)."""
    c = _series(number, 1, "c chart")
    mean = float(np.mean(c))
    return _flat("faults", c, mean, max(mean - 3.0 * math.sqrt(mean), 0.0), mean + 3.0 * math.sqrt(mean))


def shewhart_run_length(shift: float, width: float = 3.0) -> float:
    """Mean number of points until a chart with limits -+ `width` sigma alarms, at a shift in sigma."""
    outside = float(ndtr(shift - width) + ndtr(-width - shift))
    return 1.0 / outside


def cusum_run_length(shift: float, k: float = 0.5, h: float = 5.0) -> float:
    """Mean run length of a two-sided CUSUM (k, h, shift in sigma), from the integral equation of one side.

    L(u) = 1 + L(0) F(k - u) + int_0^h L(y) f(y + k - u) dy by Gauss-Legendre; the two sides join as
    1/L = 1/L+ + 1/L- (E. S. Page, Biometrika 41 (1954) 100; D. C. Montgomery, Introduction to SQC).
    """
    return 1.0 / (1.0 / _one_side(shift, k, h) + 1.0 / _one_side(-shift, k, h))


def _one_side(shift: float, k: float, h: float) -> float:
    nodes, weights = np.polynomial.legendre.leggauss(64)
    y, w = 0.5 * h * (nodes + 1.0), 0.5 * h * weights
    start = np.concatenate([[0.0], y])
    kernel = _bell(y[None, :] + k - shift - start[:, None]) * w
    to_zero = ndtr(k - shift - start)
    system = np.eye(len(start)) - np.column_stack([to_zero, kernel])
    return float(np.linalg.solve(system, np.ones(len(start)))[0])


def _bell(x: Array) -> Array:
    """Density of the normal distribution."""
    return np.asarray(np.exp(-0.5 * x**2) / math.sqrt(2.0 * math.pi))


def ewma_run_length(shift: float, weight: float, width: float) -> float:
    """Mean run length of an EWMA with settled limits, started on target (S. V. Crowder, Technometrics 29 (1987) 401)."""
    h = width * math.sqrt(weight / (2.0 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(96)
    y, w = h * nodes, h * weights
    start = np.concatenate([[0.0], y])
    kernel = _bell((y[None, :] - (1.0 - weight) * start[:, None]) / weight - shift) * w / weight
    system = np.eye(len(start)) - np.column_stack([np.zeros(len(start)), kernel])
    return float(np.linalg.solve(system, np.ones(len(start)))[0])
