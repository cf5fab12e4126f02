"""A stand-in for full runs: a quadratic through them and a Gaussian process for what it leaves.

Universal kriging in two steps, with a squared-exponential kernel of its own length in every direction, lengths and
noise by maximum likelihood: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning (2006), eq.
2.25, 2.26 and 5.8. Points to add near a limit by B. Echard, N. Gayton, M. Lemaire, Structural Safety 33 (2011) 145:
those whose sign is least certain, |mean| / deviation smallest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement

import numpy as np
import scipy.linalg as sl
from scipy.optimize import minimize

from coilwright.errors import BadInput, Fault
from coilwright.section.quad9 import Array, IntArray

_CHUNK = 2_000  # rows at a time: the kernel's block stays in the cache
# The likelihood has more than one hill, among them "all is noise": the climb begins at several (ln length, ln noise).
_STARTS = ((0.5, -2.0), (0.3, -5.0), (-0.5, -4.0))
_FLAT = 1e-7  # residuals of the quadratic below this need no process


def filling(n: int, d: int, seed: int) -> Array:
    """(n, d) scrambled Sobol points that fill the unit box."""
    from scipy.stats import qmc  # a third of a second: on first use only

    power = int(np.ceil(np.log2(max(n, 2))))
    return np.asarray(qmc.Sobol(d, rng=np.random.default_rng(seed)).random_base2(power)[:n])


def quadratic_terms(x: Array, degree: int = 2) -> Array:
    """(n, terms) constant, linear and with degree 2 all products of (n, d)."""
    n, d = x.shape
    out = [np.ones((n, 1)), x]
    if degree > 1:
        pairs = list(combinations_with_replacement(range(d), 2))
        out.append(np.column_stack([x[:, i] * x[:, j] for i, j in pairs]) if pairs else np.zeros((n, 0)))
    return np.concatenate(out, axis=1)


def term_count(d: int, degree: int = 2) -> int:
    return 1 + d + (d * (d + 1) // 2 if degree > 1 else 0)


@dataclass(frozen=True, eq=False)
class Surrogate:
    """y over a box. `points` (n, d) are in -1..1 over the box, `weights` (n,) = K^-1 (residuals); `scale` and `noise` are
    standard deviations of the process and of single runs about it."""

    middle: Array
    half: Array
    degree: int
    coefficients: Array
    points: Array
    lengths: Array
    scale: float
    weights: Array
    factor: Array
    noise: float = 0.0

    def __call__(self, x: Array) -> Array:
        """(n,) values at (n, d)."""
        return self._mean(self.inside(x))

    def inside(self, x: Array) -> Array:
        """Coordinates -1..1 over the box."""
        return np.asarray((np.atleast_2d(x) - self.middle) / self.half)

    def _mean(self, u: Array) -> Array:
        out = np.empty(len(u))
        for k in range(0, len(u), _CHUNK):
            part = u[k : k + _CHUNK]
            out[k : k + _CHUNK] = self.coefficients[0] + part @ self.coefficients[1 : 1 + part.shape[1]]
            if self.degree > 1:
                out[k : k + _CHUNK] += np.einsum("nd,nd->n", part @ self._products, part)
            if self.scale > 0.0:
                out[k : k + _CHUNK] += _kernel(part, self.points, self.lengths, 1.0) @ (self.scale**2 * self.weights)
        return out

    @cached_property
    def _products(self) -> Array:
        """(d, d) upper triangle of the coefficients of all products: quicker than `quadratic_terms` for many places."""
        d = len(self.middle)
        out = np.zeros((d, d))
        out[np.triu_indices(d)] = self.coefficients[1 + d :]
        return out

    def deviation(self, x: Array) -> Array:
        """(n,) standard deviation of the process at (n, d): small near runs, large far from them."""
        u = self.inside(x)
        if self.scale == 0.0:
            return np.zeros(len(u))
        out = np.empty(len(u))
        for k in range(0, len(u), _CHUNK):
            cross = _kernel(u[k : k + _CHUNK], self.points, self.lengths, self.scale)
            v = sl.solve_triangular(self.factor, cross.T, lower=True, check_finite=False)
            out[k : k + _CHUNK] = np.sqrt(np.maximum(self.scale**2 - np.sum(v**2, axis=0), 0.0))
        return out


def fit(
    x: Array, y: Array, ranges: Array, enough: float = _FLAT, before: Surrogate | None = None
) -> Surrogate:
    """Surrogate of runs y (n,) at x (n, d) in the box `ranges` (d, 2); the quadratic alone where it leaves less than
    `enough` (rms). `before`: an earlier one over the same box, whose lengths are close to the new. Raises BadInput with too
    few runs."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    n, d = x.shape
    if n < term_count(d, 1) + 2:
        raise BadInput(
            Fault("surrogate", f"needs at least {term_count(d, 1) + 2} runs for {d} quantities; received {n}")
        )
    middle, half = 0.5 * (ranges[:, 0] + ranges[:, 1]), 0.5 * (ranges[:, 1] - ranges[:, 0])
    u = (x - middle) / half
    degree = 2 if n >= 1.5 * term_count(d) else 1
    terms = quadratic_terms(u, degree)
    coefficients: Array = np.asarray(np.linalg.lstsq(terms, y, rcond=None)[0], dtype=np.float64)
    left = y - terms @ coefficients
    spread = float(np.sqrt(np.sum(left**2) / max(n - terms.shape[1], 1)))
    if spread < enough:
        return Surrogate(middle, half, degree, coefficients, u, np.ones(d), 0.0, np.zeros(n), np.eye(n))
    lengths, scale, noise = _likeliest(u, left, spread, before)
    factor: Array = np.asarray(
        np.linalg.cholesky(_kernel(u, u, lengths, scale) + noise**2 * np.eye(n)), dtype=np.float64
    )
    weights = sl.cho_solve((factor, True), left)
    return Surrogate(middle, half, degree, coefficients, u, lengths, scale, weights, factor, noise)


def _kernel(a: Array, b: Array, lengths: Array, scale: float) -> Array:
    p, q = a / lengths, b / lengths
    out = p @ q.T  # minus half the square of the distance, in as few passes as there are
    out -= 0.5 * np.einsum("nd,nd->n", p, p)[:, None]
    out -= 0.5 * np.einsum("nd,nd->n", q, q)
    np.exp(out, out=out)
    if scale != 1.0:
        out *= scale**2
    return np.asarray(out)


def _likeliest(u: Array, y: Array, spread: float, before: Surrogate | None) -> tuple[Array, float, float]:
    """(lengths, scale, noise) of greatest marginal likelihood, gradient included."""
    n, d = u.shape
    z = y / spread
    differences = (u[:, None, :] - u[None, :, :]) ** 2

    def cost(p: Array) -> tuple[float, Array]:
        lengths, scale, noise = np.exp(p[:d]), np.exp(p[d]), np.exp(p[d + 1])
        scaled = differences / lengths**2
        k = scale**2 * np.exp(-0.5 * scaled.sum(axis=2))
        try:
            factor = np.linalg.cholesky(k + noise**2 * np.eye(n))
        except np.linalg.LinAlgError:
            return 1e10, np.zeros(len(p))
        inverse = sl.cho_solve((factor, True), np.eye(n))
        a = inverse @ z
        value = 0.5 * z @ a + np.sum(np.log(np.diag(factor)))
        g = 0.5 * (inverse - np.outer(a, a))
        weighted = g * k
        slope = np.concatenate(
            [np.einsum("ij,ijd->d", weighted, scaled), [2.0 * weighted.sum()], [2.0 * noise**2 * np.trace(g)]]
        )
        # lengths that the data do not speak about stay near the size of the box
        prior = 0.05 * np.sum((p[:d] - 0.7) ** 2)
        slope[:d] += 0.1 * (p[:d] - 0.7)
        return float(value + prior), slope

    bounds = [(-1.5, 3.0)] * d + [(-3.0, 3.0), (-7.0, 0.0)]
    starts = [np.array([*[length] * d, 0.0, noise]) for length, noise in _STARTS]
    if before is not None and before.scale > 0.0:  # and one that believes the runs, lest an early "noise" last for ever
        starts = [np.log([*before.lengths, before.scale / spread, max(before.noise / spread, 1e-3)]), starts[1]]
    found = min(
        (
            minimize(cost, np.clip(start, *np.transpose(bounds)), jac=True, method="L-BFGS-B", bounds=bounds)
            for start in starts
        ),
        key=lambda f: float(f.fun),
    )
    p = found.x
    return np.exp(p[:d]), float(np.exp(p[d]) * spread), float(np.exp(p[d + 1]) * spread)


def least_certain(margin: Array, deviation: Array, x: Array, half: Array, count: int) -> IntArray:
    """Rows of `x` (n, d) to run next: the sign of the margin is in doubt, and no two are close to each other."""
    doubt = np.abs(margin) / np.maximum(deviation, 1e-9)
    order = np.argsort(doubt)[: max(40 * count, 200)]
    chosen: list[int] = []
    u = x / half
    for apart in (0.05, 0.005, 0.0):  # as far apart as so many can be
        for k in order:
            if len(chosen) == count:
                break
            if k not in chosen and all(np.sum((u[k] - u[c]) ** 2) >= apart for c in chosen):
                chosen.append(int(k))
    return np.array(chosen, dtype=np.int64)
