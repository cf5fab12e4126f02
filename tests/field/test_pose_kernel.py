"""The ring harmonics against quadrature in high precision, and the integrals built on them."""

import mpmath
import numpy as np
import pytest

from coilwright.field.pose_kernel import ring_harmonics


def by_quadrature(m, x):
    """Q_{m-1/2}(1 + x) = integral over 0..pi of cos(m t) / sqrt(2 (1 + x - cos t)); DLMF 14.5 and 14.12 (memory)."""
    with mpmath.workdps(30):
        chi = 1 + mpmath.mpf(x)
        width = mpmath.sqrt(2 * mpmath.mpf(x))
        cuts = sorted({mpmath.mpf(0), *(min(width * k, mpmath.pi) for k in (1, 4, 16, 64)), mpmath.pi})
        f = lambda t: mpmath.cos(m * t) / mpmath.sqrt(2 * (chi - mpmath.cos(t)))  # noqa: E731
        return float(mpmath.quad(f, cuts))


@pytest.mark.parametrize("x", [1e-6, 1e-3, 0.029, 0.031, 0.5, 3.0, 40.0])
def test_kernel_against_quadrature(x):
    q, dq = np.zeros(8), np.zeros(8)
    ring_harmonics(x, 6, q, dq)
    for m in range(7):
        assert q[m] == pytest.approx(by_quadrature(m, x), rel=2e-12)


@pytest.mark.parametrize("x", [0.01, 0.2, 5.0])
def test_slope_against_differences(x):
    q, dq, above, below, spare = (np.zeros(8) for _ in range(5))
    ring_harmonics(x, 5, q, dq)
    h = 1e-5 * x
    ring_harmonics(x + h, 5, above, spare)
    ring_harmonics(x - h, 5, below, spare)
    assert dq[:6] == pytest.approx((above - below)[:6] / (2 * h), rel=1e-7)
