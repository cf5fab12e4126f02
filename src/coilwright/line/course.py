"""The course of a line in time: one dead station or a bad batch, when it changed, when to stop counting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaln, ndtri

from coilwright.errors import BadInput, Fault
from coilwright.line.charts import Array, counts
from coilwright.line.compare import largest_cell

_DRAWS = 20_000


@dataclass(frozen=True)
class Dispersion:
    """Bad pieces per tray against dice. `index`: variance over binomial variance; `p_even`: chance that dice come out as
    even (one bad station: about one bad piece in every tray), `p_bunched`: as bunched (a bad batch, a bad moment)."""

    index: float
    p_even: float
    p_bunched: float

    def verdict(self, risk: float = 0.01) -> str:
        if self.p_even < risk:
            return "the bad pieces are spread too evenly over the trays for chance: look for one bad station"
        if self.p_bunched < risk:
            return "the bad pieces come in bunches: look for a bad batch, a moment of low mains or water, or one shift"
        return "the spread over the trays is that of chance: it neither shows nor rules out one bad station"

    def to_dict(self) -> dict[str, Any]:
        return {"index": self.index, "p_even": self.p_even, "p_bunched": self.p_bunched, "verdict": self.verdict()}


def dispersion(bad_per_tray: ArrayLike, stations: int, seed: int = 0) -> Dispersion:
    """What tallies per tray say when nobody wrote the station down.

    All pieces shuffled over all trays, the total held: under "all pieces alike" the counts per tray are multivariate
    hypergeometric; the sum of squares of the counts is the statistic. Both tails sampled, seeded.
    """
    b, _ = counts(bad_per_tray, stations)
    trays, total = len(b), int(np.sum(b))
    if trays < 2 or total in (0, trays * stations):
        return Dispersion(1.0, 1.0, 1.0)
    share = total / (trays * stations)
    index = float(np.var(b, ddof=1) / (stations * share * (1.0 - share)))
    rng = np.random.default_rng(seed)
    draws = max(2000, min(_DRAWS, 2_000_000 // trays))
    drawn = rng.multivariate_hypergeometric(np.full(trays, stations, dtype=np.int64), total, size=draws)
    squares, own = np.sum(drawn.astype(float) ** 2, axis=1), float(np.sum(b**2))
    even, bunched = np.sum(squares <= own), np.sum(squares >= own)
    return Dispersion(index, float(even + 1) / (draws + 1), float(bunched + 1) / (draws + 1))


@dataclass(frozen=True, eq=False)
class Change:
    """Where the share (or mean) changed: `at` is the index of the first value after it, `interval` covers 90 % of the
    posterior of the place, `p` is the chance of so large a change somewhere in an unchanged series (sampled)."""

    at: int
    interval: tuple[int, int]
    before: float
    after: float
    p: float
    posterior: Array

    def to_dict(self) -> dict[str, Any]:
        return {
            "at": self.at,
            "interval": list(self.interval),
            "before": self.before,
            "after": self.after,
            "p": self.p,
        }


def change_of_share(bad: ArrayLike, tried: ArrayLike | int, draws: int = 400, seed: int = 0) -> Change:
    """Change point of a share by its likelihood, uniform over places, beta(1/2, 1/2) on either side integrated out."""
    b, n = counts(bad, tried)
    if len(b) < 3:
        raise BadInput(Fault("change point", f"needs at least 3 groups; received {len(b)}"))
    log_place = _share_places(b, n)
    own = _share_gain(b, n)
    rng = np.random.default_rng(seed)
    sampled = rng.multivariate_hypergeometric(n.astype(np.int64), int(np.sum(b)), size=draws)
    p = _exceeds(_share_gain(sampled.astype(float), n), float(own))
    at, interval, posterior = _place(log_place)
    return Change(at, interval, float(b[:at].sum() / n[:at].sum()), float(b[at:].sum() / n[at:].sum()), p, posterior)


def change_of_mean(values: ArrayLike, draws: int = 400, seed: int = 0) -> Change:
    """Change point of a measured value (unknown spread, common to both sides), p by shuffling the values."""
    x = np.asarray(values, float).ravel()
    if len(x) < 4 or not np.all(np.isfinite(x)):
        raise BadInput(Fault("change point", f"needs at least 4 finite values; received {len(x)}"))
    left = _residual(x)
    log_place = -0.5 * (len(x) - 2) * np.log(np.maximum(left, 1e-300))
    rng = np.random.default_rng(seed)
    shuffled = np.array([_residual(rng.permutation(x)).min() for _ in range(draws)])
    p = _exceeds(-shuffled, -float(left.min()))
    at, interval, posterior = _place(log_place)
    return Change(at, interval, float(x[:at].mean()), float(x[at:].mean()), p, posterior)


def _exceeds(sampled: Array, own: float) -> float:
    return float(np.sum(sampled >= own - 1e-9) + 1) / (len(sampled) + 1)


def _share_places(b: Array, n: Array) -> Array:
    b1, n1 = np.cumsum(b)[:-1], np.cumsum(n)[:-1]
    b2, n2 = b.sum() - b1, n.sum() - n1
    return np.asarray(betaln(b1 + 0.5, n1 - b1 + 0.5) + betaln(b2 + 0.5, n2 - b2 + 0.5))


def _share_gain(b: Array, n: Array) -> Array:
    """Largest log-likelihood ratio over all places; b (..., groups)."""
    b1, n1 = np.cumsum(b, axis=-1)[..., :-1], np.cumsum(n)[:-1]
    total, size = b.sum(axis=-1)[..., None], n.sum()
    gain = _entropy(b1, n1) + _entropy(total - b1, size - n1) - _entropy(total, size)
    return np.asarray(gain.max(axis=-1))


def _entropy(b: Array, n: Array | float) -> Array:
    from scipy.special import xlogy

    return np.asarray(xlogy(b, b / n) + xlogy(n - b, 1.0 - b / n))


def _residual(x: Array) -> Array:
    """Sum of squares left when the series is cut before index 1 ... n-1."""
    n, k = len(x), np.arange(1, len(x))
    one, two = np.cumsum(x)[:-1], np.cumsum(x**2)[:-1]
    a, s = x.sum() - one, (x**2).sum() - two
    return np.asarray(np.maximum(two - one**2 / k, 0.0) + np.maximum(s - a**2 / (n - k), 0.0))


def _place(log_place: Array) -> tuple[int, tuple[int, int], Array]:
    posterior = np.exp(log_place - log_place.max())
    posterior /= posterior.sum()
    reach = np.cumsum(posterior)
    low, high = int(np.searchsorted(reach, 0.05)), int(np.searchsorted(reach, 0.95))
    return int(np.argmax(posterior)) + 1, (low + 1, min(high, len(posterior) - 1) + 1), posterior


@dataclass(frozen=True)
class Sequential:
    """Wald's sequential test of a share: accept when bad <= slope n - accept, reject when bad >= slope n + reject."""

    accept: float
    reject: float
    slope: float

    def decide(self, bad: int, tried: int) -> Literal["good", "bad", "go on"]:
        counts([bad], [max(tried, 1)])
        if bad <= self.slope * tried - self.accept:
            return "good"
        return "bad" if bad >= self.slope * tried + self.reject else "go on"


def sequential(good_share: float, bad_share: float, alpha: float = 0.05, beta: float = 0.10) -> Sequential:
    """Sequential plan between two shares of bad pieces (A. Wald, 1947; e-Handbook 6.2.6)."""
    if not 0.0 < good_share < bad_share < 1.0:
        what = f"needs 0 < good share < bad share < 1; received {good_share:g} and {bad_share:g}"
        raise BadInput(Fault("sequential test", what))
    k = math.log(bad_share * (1.0 - good_share) / (good_share * (1.0 - bad_share)))
    return Sequential(
        math.log((1.0 - alpha) / beta) / k,
        math.log((1.0 - beta) / alpha) / k,
        math.log((1.0 - good_share) / (1.0 - bad_share)) / k,
    )


@lru_cache(maxsize=4096)
def _cell_p(bad: tuple[int, ...], tried: int) -> float:
    return largest_cell(np.sort(bad), tried).p


def power_of_trays(trays: int, stations: int, bad_station: float, others: float, risk: float = 0.01,
                   draws: int = 400, seed: int = 0) -> float:  # fmt: skip
    """Chance that `trays` full trays show one bad station by the exact largest-cell test at `risk` (sampled, seeded)."""
    rng = np.random.default_rng(seed)
    share = np.full(stations, others)
    share[0] = bad_station
    drawn = rng.binomial(trays, share, size=(draws, stations))
    found = 0
    for row in drawn:
        key = tuple(int(x) for x in np.sort(row))
        found += _cell_p(key, trays) < risk and int(np.argmax(row)) == 0
    return found / draws


def trays_needed(stations: int, bad_station: float, others: float, risk: float = 0.01, power: float = 0.9,
                 most: int = 400) -> int | None:  # fmt: skip
    """Fewest full trays with which one bad station is shown with `power` at `risk`; None when `most` do not suffice."""
    low, high = 1, 2
    while power_of_trays(high, stations, bad_station, others, risk) < power:
        low, high = high, 2 * high
        if high > most:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        if power_of_trays(middle, stations, bad_station, others, risk) < power:
            low = middle
        else:
            high = middle
    return high


def values_needed(shift: float, sigma: float, risk: float = 0.01, power: float = 0.9) -> int:
    """Values per group to show a `shift` of the mean with known `sigma` (two-sided normal test)."""
    z = -float(ndtri(risk / 2.0) + ndtri(1.0 - power))
    return max(2, math.ceil(2.0 * (z * sigma / shift) ** 2))
