"""Finding unknowns from data under priors: the most probable values, their covariance, honest about correlated residuals.

Everything is on scales where the prior of each unknown is a standard normal. Gauss and Newton with damping look for the
least sum of squares (data and prior); derivatives are central differences over full runs, asked for in one batch so that
they can run side by side. A trace sampled fast does not tell more than its slow wander allows: the weight of each group of
data is divided by the integrated correlation time of its residuals and by their excess over the stated noise (A. Sokal,
Monte Carlo methods in statistical mechanics, 1997, section 3, from memory: tau = 1 + 2 sum of autocorrelations).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.section.quad9 import Array

Forward = Callable[
    [Array], Array
]  # (m, p) rows of unknowns -> (m, n) foretold data; the first row is the middle of all
# Steps of the difference quotients, in sigmas of the prior: wide in the first round, to look past the edge that a charge
# makes when it fires; then narrow, because wide ones of different unknowns smear that edge differently and would part what
# cannot be parted. Shots around one take its time steps (runs.run_around), so narrow ones are smooth.
_WIDE, _NARROW = 0.3, 0.03
_SETTLED = 0.1  # of a posterior sigma
_FLAT = 0.005  # share of the sum of squares that a round must still gain
_MOST = 20
_FAR = 6.0  # prior sigmas: no step leads further out
_FEWEST = 12  # residuals from which on a correlation is looked for


@dataclass(frozen=True)
class Group:
    """Rows `start`:`stop` of the data that belong together; `trace` ones are ordered in time and may hang together."""

    name: str
    start: int
    stop: int
    trace: bool

    @property
    def rows(self) -> slice:
        return slice(self.start, self.stop)


@dataclass(frozen=True, eq=False)
class MapFit:
    """`u` (p,) most probable, prior sigmas from nominal; `covariance` (p, p), 1 a priori; `jacobian` (n, p), `residual`
    (n,) measured minus foretold; `sigma` (n,) inflated by the root of `inflation` (per group name); `foretold` (n,)."""

    u: Array
    covariance: Array
    jacobian: Array
    residual: Array
    sigma: Array
    inflation: dict[str, float]
    foretold: Array
    rounds: int
    runs: int
    history: tuple[float, ...] = field(default=())

    @property
    def spread(self) -> Array:
        """Posterior over prior standard deviation, (p,): 1 means nothing was learnt."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def correlation(self) -> Array:
        return np.asarray(self.covariance / np.outer(self.spread, self.spread))


def fit_map(
    forward: Forward,
    measured: Array,
    sigma: Array,
    groups: Sequence[Group],
    unknowns: int,
    report: Callable[[float], None] | None = None,
) -> MapFit:
    """Most probable unknowns of `measured` (n,) with stated noise `sigma` (n,), starting from the nominal values.

    Raises BadInput when there is nothing to fit, NotConverged with the sums of squares when it does not settle.
    """
    if unknowns < 1 or len(measured) == 0:
        raise BadInput(Fault("fit", f"needs unknowns and data; received {unknowns} and {len(measured)}"))
    return _Search(forward, measured, sigma, groups, unknowns, report or (lambda share: None)).run()


def posterior(jacobian: Array, sigma: Array) -> Array:
    """Covariance (p, p) from derivatives (n, p) and noise (n,) under standard-normal priors."""
    weighted = jacobian / sigma[:, None]
    p = jacobian.shape[1]
    return np.asarray(np.linalg.inv(weighted.T @ weighted + np.eye(p)))


def correlation_time(residual: Array) -> float:
    """1 + 2 sum of the autocorrelations up to the first that is not distinct from zero (two sigma); at least 1.

    A fit takes the slow part out of its residuals, which lowers that sum: it counts as at least what the first
    autocorrelation alone says of noise that forgets exponentially, (1 + a)/(1 - a), with a's bias of -(1 + 3a)/n mended
    (F. H. C. Marriott and J. A. Pope, Biometrika 41 (1954) 390, from memory).
    """
    n = len(residual)
    r = residual - residual.mean()
    power = float(r @ r)
    if n < _FEWEST or power == 0.0:
        return 1.0
    padded = np.fft.rfft(r, 2 * n)
    rho = np.fft.irfft(np.abs(padded) ** 2)[1:n] / power
    small = np.flatnonzero(rho < 2.0 / np.sqrt(n))
    last = int(small[0]) if len(small) else n - 1
    if last == 0:
        return 1.0
    a = min(float(rho[0] + (1.0 + 3.0 * rho[0]) / n), 1.0 - 2.0 / n)
    return float(max(1.0, 1.0 + 2.0 * rho[:last].sum(), (1.0 + a) / (1.0 - a)))


def inflation(residual: Array, sigma: Array, group: Group, told: float) -> float:
    """Factor on the variance of a group's noise: correlation time x excess of the residuals, at least 1.

    `told` is the number of unknowns that this group may have used up.
    """
    rows = group.rows
    scaled = residual[rows] / sigma[rows]
    if not group.trace or len(scaled) < _FEWEST:
        return 1.0
    tau = correlation_time(scaled)
    free = max(len(scaled) / tau - told, 1.0) * tau
    return max(1.0, float(scaled @ scaled) / free) * tau


class _Search:
    def __init__(
        self, forward: Forward, measured: Array, sigma: Array, groups: Sequence[Group], p: int,
        report: Callable[[float], None],
    ) -> None:  # fmt: skip
        self.forward, self.measured, self.stated = forward, measured, sigma
        self.groups, self.p, self.report = groups, p, report
        self.sigma = sigma.copy()
        self.inflation = {g.name: 1.0 for g in groups}
        self.runs = 0
        self.width = _WIDE

    def run(self) -> MapFit:
        u = np.zeros(self.p)
        foretold, jacobian = self._look(u)
        honest, damping, costs = False, 1e-3, []
        for n in range(1, _MOST + 1):
            residual = self.measured - foretold
            cost = self._cost(u, foretold)
            costs.append(cost)
            step, covariance = self._step(u, residual, jacobian, damping)
            self.width = _NARROW
            moved = float(np.sqrt(step @ np.linalg.solve(covariance, step)))
            if moved < _SETTLED or (len(costs) > 1 and abs(costs[-2] - cost) < max(0.05, _FLAT * cost)):
                if honest and self._honest(residual, covariance) < 0.1:
                    return MapFit(u, covariance, jacobian, residual, self.sigma, dict(self.inflation), foretold, n,
                                  self.runs, tuple(costs))  # fmt: skip
                honest = True
                self._inflate(residual, covariance)
                costs.clear()
                continue
            u, damping = self._accepted(u, step, cost, damping)
            foretold, jacobian = self._look(u)
            self.report(min(0.9, n / 6.0))
        raise NotConverged("the fit of the trial did not settle", costs, "Fit fewer quantities, or narrow their priors")

    def _look(self, u: Array) -> tuple[Array, Array]:
        """(foretold, jacobian) around `u` from one batch of runs."""
        rows = [u]
        for k in range(self.p):
            for sign in (1.0, -1.0):
                row = u.copy()
                row[k] += sign * self.width
                rows.append(row)
        out = self.forward(np.array(rows))
        self.runs += len(rows)
        slopes = (out[1::2] - out[2::2]) / (2.0 * self.width)
        return out[0], slopes.T

    def _cost(self, u: Array, foretold: Array) -> float:
        left = (self.measured - foretold) / self.sigma
        return float(left @ left + u @ u)

    def _step(self, u: Array, residual: Array, jacobian: Array, damping: float) -> tuple[Array, Array]:
        weighted = jacobian / self.sigma[:, None]
        normal = weighted.T @ weighted + np.eye(self.p)
        slope = weighted.T @ (residual / self.sigma) - u
        damped = normal + damping * np.diag(np.diag(normal))
        step = np.linalg.solve(damped, slope)
        longest = float(np.max(np.abs(step)))
        shortened = np.asarray(step * min(1.0, 2.0 / longest if longest > 0.0 else 1.0))
        return shortened, np.asarray(np.linalg.inv(normal))

    def _accepted(self, u: Array, step: Array, cost: float, damping: float) -> tuple[Array, float]:
        """The step, halved until the sum of squares falls."""
        tries = np.array([np.clip(u + share * step, -_FAR, _FAR) for share in (1.0, 0.5, 0.2, 0.05)])
        out = self.forward(tries[:1])
        self.runs += 1
        if self._cost(tries[0], out[0]) < cost:
            return tries[0], damping * 0.3
        rest = self.forward(tries[1:])
        self.runs += len(tries) - 1
        costs = [self._cost(t, f) for t, f in zip(tries[1:], rest, strict=True)]
        best = int(np.argmin(costs))
        if costs[best] >= cost:  # within the noise of the runs: take the shortest and damp more
            return tries[-1], min(damping * 10.0 + 1e-2, 1e3)
        return tries[1 + best], damping * 3.0

    def _wanted(self, residual: Array, covariance: Array) -> dict[str, float]:
        told = float(np.sum(1.0 - np.clip(np.diag(covariance), 0.0, 1.0)))
        return {g.name: inflation(residual, self.stated, g, told) for g in self.groups}

    def _inflate(self, residual: Array, covariance: Array) -> None:
        self.inflation = self._wanted(residual, covariance)
        for g in self.groups:
            self.sigma[g.rows] = self.stated[g.rows] * np.sqrt(self.inflation[g.name])

    def _honest(self, residual: Array, covariance: Array) -> float:
        """How far the inflation in use is from the one the residuals ask for now (ln)."""
        wanted = self._wanted(residual, covariance)
        return max((abs(np.log(wanted[name] / self.inflation[name])) for name in wanted), default=0.0)
