"""Station against station, lot against lot, by exact tests; many at once without fooling oneself.

The library does what it has (scipy.stats: Fisher, binomial, Clopper-Pearson); what it lacks stands here with its source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats
from scipy.signal import fftconvolve

from coilwright.errors import BadInput, Fault
from coilwright.line.charts import Array, counts

_MOST_TABLES = 300_000  # enumerated; above, seeded sampling with a stated standard error
_DRAWS = 40_000
_MANY = 2000
_NOTHING = 1e-250  # chances below are as good as none, and the quantiles of the library give out


@dataclass(frozen=True)
class Test:
    """What a test says: its name, the statistic, p, and where it was sampled the standard error of p."""

    __test__ = False  # not a test of pytest's

    name: str
    statistic: float
    p: float
    p_error: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        return {"name": self.name, "statistic": self.statistic, "p": self.p, "p_error": self.p_error}


def holm(p_values: ArrayLike) -> Array:
    """p values adjusted so that the chance of any false alarm among them stays at the level one compares with.

    S. Holm, Scandinavian Journal of Statistics 6 (1979) 65: step down, multiply the k-th smallest by (m - k + 1).
    """
    p = np.asarray(p_values, dtype=float).ravel()
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    out = np.empty(len(p))
    out[order] = np.minimum(stepped, 1.0)
    return out


@dataclass(frozen=True)
class Components:
    """Where the spread of a reading comes from: standard deviations `within` groups and `between` them; F and p of equal ones."""

    within: float
    between: float
    f: float
    p: float

    def to_dict(self) -> dict[str, Any]:
        return {"within": self.within, "between": self.between, "f": self.f, "p": self.p}


def components(number: ArrayLike, mean: ArrayLike, variance: ArrayLike) -> Components:
    """One-way analysis of variance from numbers, means and variances (about the mean, divided by the number) of the groups.

    Moments: (MS between - MS within) / n0 with n0 = (N - sum n^2 / N) / (k - 1) (S. R. Searle, Linear Models (1971) 385, from
    memory). Raises BadInput with fewer than two groups or nothing repeated.
    """
    n, m, v = (np.asarray(x, dtype=float).ravel() for x in (number, mean, variance))
    groups, total = len(n), float(n.sum())
    if groups < 2 or not total > groups:
        raise BadInput(Fault("analysis of variance", f"needs two groups and repeated values; received {groups} groups"))
    grand = float(n @ m) / total
    within = float(n @ v) / (total - groups)
    between = float(n @ (m - grand) ** 2) / (groups - 1)
    n0 = (total - float(n @ n) / total) / (groups - 1)
    f = between / within if within > 0.0 else math.inf
    p = float(stats.f.sf(f, groups - 1, total - groups))
    return Components(math.sqrt(within), math.sqrt(max(between - within, 0.0) / n0), f, p)


def largest_cell(bad: ArrayLike, tried: ArrayLike | int) -> Test:
    """Is the worst station worse than chance? Exact: the chance that any station collects that many of the bad pieces.

    Under "all alike" the bad pieces fall on stations in proportion to the pieces tried (multinomial). The chance that
    every station stays below m comes from truncated Poisson series joined by convolution; exact, no simulation.
    With unequal numbers tried the station judged is the one with the smallest chance, not the one with most pieces.
    """
    b, n = counts(bad, tried)
    total = int(np.sum(b))
    if total == 0 or len(b) < 2:  # a machine of one station has none worse than the others
        return Test("largest cell", float(total), 1.0)
    share = n / np.sum(n)
    tails = stats.binom.sf(b - 1, total, share)
    least = float(np.min(tails))
    if least < _NOTHING:
        return Test("largest cell", float(np.max(b)), len(b) * least)
    # each station's own threshold with the same tail, so that equal surprise is judged equally
    thresholds = [_threshold(total, float(s), least) for s in share]
    added = float(np.sum(stats.binom.sf(np.array(thresholds) - 1, total, share)))
    # so rare that two stations at once do not count, and rounding would eat the difference: the stations' chances add up
    p = added if added < 1e-9 else 1.0 - _all_below(total, share, thresholds)
    return Test("largest cell", float(np.max(b)), float(min(max(p, least), 1.0)))


def _all_below(total: int, share: Array, thresholds: Sequence[int]) -> float:
    """Chance that every cell of a multinomial stays below its threshold."""
    joint = np.array([1.0])
    for s, m in zip(share, thresholds, strict=True):
        kept = stats.poisson.pmf(np.arange(min(m, total + 1)), total * s)
        # by Fourier transform where there are many; that is good to 1e-15 of the largest term, which p does not notice
        joint = (fftconvolve(joint, kept) if total > _MANY else np.convolve(joint, kept))[: total + 1]
    return float(joint[total] / stats.poisson.pmf(total, total)) if len(joint) > total else 0.0


def _threshold(total: int, share: float, tail: float) -> int:
    """Smallest count whose upper tail is not larger than `tail`."""
    m = int(stats.binom.isf(tail, total, share))
    while stats.binom.sf(m - 1, total, share) > tail * (1.0 + 1e-12):
        m += 1
    while m > 0 and stats.binom.sf(m - 2, total, share) <= tail * (1.0 + 1e-12):
        m -= 1
    return m


def each_against_rest(bad: ArrayLike, tried: ArrayLike | int, worse_only: bool = False) -> tuple[Array, Array]:
    """Fisher's exact p of every station against all others together: (n,) raw, (n,) after Holm.

    Two-sided, or with `worse_only` the chance of so many bad pieces or more.
    """
    b, n = counts(bad, tried)
    good = n - b
    side: Literal["greater", "two-sided"] = "greater" if worse_only else "two-sided"
    raw = []
    for k in range(len(b)):
        rest_bad, rest_good = np.sum(b) - b[k], np.sum(good) - good[k]
        table = [[int(b[k]), int(good[k])], [int(rest_bad), int(rest_good)]]
        raw.append(float(stats.fisher_exact(np.array(table), alternative=side)[1]) if len(b) > 1 else 1.0)
    return np.array(raw), holm(raw)


def fisher(table: Sequence[Sequence[int]]) -> Test:
    """Fisher's exact test of a 2 x 2 table, two-sided (scipy)."""
    odds, p = stats.fisher_exact(np.array(table))
    return Test("Fisher exact", float(odds), float(p))


def freeman_halton(bad: ArrayLike, tried: ArrayLike | int, seed: int = 0) -> Test:
    """Are the groups alike? Fisher-Freeman-Halton test of a 2 x n table, margins held.

    G. H. Freeman, J. H. Halton, Biometrika 38 (1951) 141. All tables are enumerated when they are few; else p is
    sampled from the multivariate hypergeometric distribution, with its standard error.
    """
    b, n = counts(bad, tried)
    total, groups = int(np.sum(b)), len(b)
    log_own = _log_ways(b, n)
    slack = 1e-7
    if math.comb(total + groups - 1, groups - 1) <= _MOST_TABLES:
        logs = _all_tables(total, n)
        weight = np.exp(logs - logs.max())
        p = float(np.sum(weight[logs <= log_own + slack]) / np.sum(weight))
        return Test("Fisher-Freeman-Halton", float(log_own), p)
    rng = np.random.default_rng(seed)
    drawn = rng.multivariate_hypergeometric(n.astype(np.int64), total, size=_DRAWS)
    hits = int(np.sum(_log_ways(drawn.astype(float), n) <= log_own + slack))
    p = (hits + 1) / (_DRAWS + 1)
    return Test("Fisher-Freeman-Halton, sampled", float(log_own), p, math.sqrt(p * (1.0 - p) / _DRAWS))


def _log_ways(b: Array, n: Array) -> Any:
    from scipy.special import gammaln

    return np.sum(gammaln(n + 1) - gammaln(b + 1) - gammaln(n - b + 1), axis=-1)


def _all_tables(total: int, n: Array) -> Array:
    """log weights of all ways to spread `total` bad pieces over groups of sizes `n`, built group by group."""
    from scipy.special import gammaln

    left, logs = np.array([total]), np.array([0.0])
    for k, size in enumerate(n):
        rest = float(np.sum(n[k + 1 :]))
        out_left, out_logs = [], []
        for j in range(int(min(size, total)) + 1):
            ok = (left >= j) & (left - j <= rest)
            ways = gammaln(size + 1) - gammaln(j + 1) - gammaln(size - j + 1)
            out_left.append(left[ok] - j)
            out_logs.append(logs[ok] + ways)
        left, logs = np.concatenate(out_left), np.concatenate(out_logs)
    return np.asarray(logs)


def clopper_pearson(bad: int, tried: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact interval of a share (scipy). For 0 of n the upper end is near 3/n at 95 %, one-sided."""
    counts([bad], [tried])
    interval = stats.binomtest(int(bad), int(tried)).proportion_ci(confidence, method="exact")
    return float(interval.low), float(interval.high)


def upper_bound(bad: int, tried: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of a share: what `bad` of `tried` prove."""
    counts([bad], [tried])
    return 1.0 if bad == tried else float(stats.beta.ppf(confidence, bad + 1, tried - bad))


def wilson(bad: int, tried: int, confidence: float = 0.95) -> tuple[float, float]:
    """Score interval of a share (scipy), narrower than the exact one."""
    counts([bad], [tried])
    interval = stats.binomtest(int(bad), int(tried)).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


def stratified(bad: ArrayLike, tried: ArrayLike) -> Test:
    """Do groups differ once strata are taken apart? Cochran-Mantel-Haenszel for 2 x K tables, no continuity correction.

    `bad`, `tried`: (strata, K). E.g. lots as groups and stations as strata, so that a new lot which came with a knocked
    coil is not blamed. A. Agresti, Categorical Data Analysis, 2nd ed. (2002), section 7.5; chi-square with K - 1 degrees.
    """
    b, n = np.atleast_2d(np.asarray(bad, float)), np.atleast_2d(np.asarray(tried, float))
    if b.shape != n.shape or b.shape[1] < 2 or np.any(b < 0) or np.any(b > n):
        raise BadInput(Fault("stratified tally", "needs two tables (strata, groups >= 2) with 0 <= bad <= tried"))
    size, total = n.sum(axis=1), b.sum(axis=1)
    use = size > 1
    b, n, size, total = b[use], n[use], size[use], total[use]
    away = (b - n * (total / size)[:, None]).sum(axis=0)[:-1]
    factor = total * (size - total) / (size**2 * (size - 1.0))
    cov = np.einsum("h,hi,ij->ij", factor * size, n, np.eye(n.shape[1])) - np.einsum("h,hi,hj->ij", factor, n, n)
    cov = cov[:-1, :-1]
    if np.linalg.matrix_rank(cov) < len(cov):
        return Test("Cochran-Mantel-Haenszel", 0.0, 1.0)
    value = float(away @ np.linalg.solve(cov, away))
    return Test("Cochran-Mantel-Haenszel", value, float(stats.chi2.sf(value, len(away))))


def trend(bad: ArrayLike, tried: ArrayLike | int, scores: ArrayLike | None = None) -> Test:
    """Does the share drift? Cochran-Armitage test, two-sided; `scores` default to 0, 1, 2 ...

    P. Armitage, Biometrics 11 (1955) 375; A. Agresti, Categorical Data Analysis, 2nd ed. (2002), section 3.4.
    """
    b, n = counts(bad, tried)
    x = np.arange(len(b), dtype=float) if scores is None else np.asarray(scores, float).ravel()
    if len(x) != len(b) or len(b) < 2:
        raise BadInput(Fault("trend", f"needs one score per group and two groups; received {len(x)} for {len(b)}"))
    p, middle = np.sum(b) / np.sum(n), np.sum(n * x) / np.sum(n)
    spread = p * (1.0 - p) * np.sum(n * (x - middle) ** 2)
    if spread <= 0.0:
        return Test("Cochran-Armitage", 0.0, 1.0)
    z = float(np.sum((b - n * p) * (x - middle)) / math.sqrt(spread))
    return Test("Cochran-Armitage", z, float(2.0 * stats.norm.sf(abs(z))))
