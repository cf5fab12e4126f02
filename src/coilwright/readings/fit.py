"""Least squares with the uncertainty of what was fitted: the one fitter the analyses here share.

Levenberg and Marquardt (MINPACK through scipy) with derivatives by central differences, then judged: standard
uncertainties from the covariance s^2 (J^T J)^-1, correlations, residual spread. Checked against the certified
nonlinear sets of NIST StRD.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.evidence import Uncertain
from coilwright.readings.records import Floats

Model = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True)
class Fit:
    """`values` and their covariance; `spread` is the residual standard deviation, `rss` the residual sum of
    squares.
    """

    values: Floats
    covariance: Floats
    spread: float
    rss: float
    freedom: int

    @property
    def sigma(self) -> Floats:
        """Standard uncertainties, same order as `values`."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), dtype=np.float64)

    @property
    def correlation(self) -> Floats:
        """Correlation matrix of the values."""
        sigma = self.sigma
        return np.asarray(self.covariance / np.outer(sigma, sigma), dtype=np.float64)

    def of(self, k: int) -> Uncertain:
        """Value number `k` with its standard uncertainty."""
        return Uncertain(float(self.values[k]), float(self.sigma[k]))


def central_jacobian(model: Model, x: Floats, at: Floats) -> Floats:
    """Derivatives (len(x) by len(at)) by central differences with a step of the cube root of the machine precision."""
    columns = []
    for k in range(len(at)):
        step = 6e-6 * (abs(float(at[k])) or 1.0)
        up, down = at.copy(), at.copy()
        up[k] += step
        down[k] -= step
        columns.append((model(x, up) - model(x, down)) / (up[k] - down[k]))
    return np.stack(columns, axis=1)


def covariance_of(jacobian: Floats, spread: float) -> Floats:
    """s^2 (J^T J)^-1 by singular values with scaled columns; raises NotConverged when the data do not tell the
    parameters apart.
    """
    scale = np.linalg.norm(jacobian, axis=0)
    if not np.all(np.isfinite(scale)) or np.any(scale == 0.0):
        raise NotConverged("a fitted parameter has no effect on the data", advice="Fit fewer parameters.")
    _, singular, rows = np.linalg.svd(jacobian / scale, full_matrices=False)
    if singular[-1] < 1e-13 * singular[0]:
        raise NotConverged(
            "the data cannot tell the fitted parameters apart", advice="Fit fewer parameters or take more data."
        )
    inverse = (rows.T / singular**2) @ rows
    return np.asarray(spread**2 * inverse / np.outer(scale, scale), dtype=np.float64)


def fit_curve(
    model: Model,
    x: Floats,
    y: Floats,
    start: Sequence[float],
    jacobian: Callable[[Floats, Floats], Floats] | None = None,
    sigma: float | None = None,
) -> Fit:
    """Fit `model(x, parameters)` to `y` from `start`.

    The model returns as many values as `y` has (which may be stacked from several readings at each `x`). All points
    weigh the same; `sigma` is their known standard uncertainty, else it is taken from the residuals. `jacobian(x,
    parameters)` may give the derivatives. Raises BadInput for too few points or numbers that are not finite,
    NotConverged when the search fails.
    """
    if len(y) <= len(start):
        raise BadInput(Fault("fit", f"needs more points than parameters ({len(start)}), received {len(y)}"))
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise BadInput(Fault("fit", "points must be finite numbers"))
    derivatives = jacobian or (lambda xs, p: central_jacobian(model, xs, p))

    def misfit(p: Floats) -> Floats:
        return _tamed(model(x, p) - y)

    def slopes(p: Floats) -> Floats:
        return _tamed(derivatives(x, p))

    with np.errstate(all="ignore"):  # wild trial steps may overflow; the search turns back from them
        best = least_squares(
            misfit,
            np.asarray(start, dtype=np.float64),
            jac=slopes,
            method="lm",
            x_scale="jac",
            ftol=1e-15,
            xtol=1e-15,
            gtol=1e-15,
            max_nfev=5000,
        )
    values = np.asarray(best.x, dtype=np.float64)
    residual = model(x, values) - y
    if best.status <= 0 or not np.all(np.isfinite(residual)):
        raise NotConverged("the fit did not settle", [float(np.linalg.norm(best.fun))], "Give a better start.")
    rss = float(residual @ residual)
    freedom = len(y) - len(values)
    spread = math.sqrt(rss / freedom)
    covariance = covariance_of(derivatives(x, values), spread if sigma is None else sigma)
    return Fit(values, covariance, spread, rss, freedom)


def _tamed(array: Floats) -> Floats:
    return np.nan_to_num(array, nan=1e150, posinf=1e150, neginf=-1e150)
