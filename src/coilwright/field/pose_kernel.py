"""The azimuthal harmonics of the free-space potential: Q_{m-1/2}, the Legendre functions of the second kind of a ring.

1 / (4 pi |x - x'|) = sum over m of Q_{|m|-1/2}(chi) e^{im(phi - phi')} / (4 pi^2 sqrt(r r')), chi = 1 + x,
x = ((r - r')^2 + (z - z')^2) / (2 r r'). Sources: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 8.13
and 17.6 (from memory; tests/field/test_pose_kernel.py checks against quadrature in high precision).
"""

from __future__ import annotations

import math

from coilwright.field.compiled import compiled
from coilwright.section.quad9 import Array

# Below this x upward recurrence keeps its digits (chi close to 1); above, it runs down from far orders (Miller).
_UPWARD_BELOW = 0.03
_LARGE = 1e250


@compiled
def ring_harmonics(x: float, modes: int, q: Array, dq: Array) -> None:
    """Fill q[m] = Q_{m-1/2}(1 + x) and dq[m] = its slope for m = 0..modes (>= 1); x > 0 comes without cancellation."""
    chi = 1.0 + x
    arithmetic, geometric = 1.0, math.sqrt(x / (x + 2.0))
    total, power = 1.0 / (x + 2.0), 0.5
    for _ in range(30):
        c = 0.5 * (arithmetic - geometric)
        arithmetic, geometric = 0.5 * (arithmetic + geometric), math.sqrt(arithmetic * geometric)
        power *= 2.0
        total += power * c * c
        if abs(c) < 1e-16:
            break
    K = 0.5 * math.pi / arithmetic
    E = K * (1.0 - total)
    first = math.sqrt(2.0 / (x + 2.0)) * K
    q[0] = first
    if x < _UPWARD_BELOW:
        q[1] = chi * first - math.sqrt(2.0 * (x + 2.0)) * E
        for m in range(1, modes):
            q[m + 1] = (4.0 * m * chi * q[m] - (2.0 * m - 1.0) * q[m - 1]) / (2.0 * m + 1.0)
    else:
        _downward(x, modes, q)
        scale = first / q[0]
        for m in range(modes + 1):
            q[m] *= scale
    for m in range(1, modes + 1):
        dq[m] = (m - 0.5) * (chi * q[m] - q[m - 1]) / (x * (x + 2.0))
    dq[0] = 0.5 * (q[1] - chi * q[0]) / (x * (x + 2.0))


@compiled
def _downward(x: float, modes: int, q: Array) -> None:
    """q[0..modes] up to a common factor."""
    chi = 1.0 + x
    reach = math.log(chi + math.sqrt(x * (x + 2.0)))
    after, here = 0.0, 1e-280
    for m in range(modes + int(20.0 / reach) + 2, 0, -1):
        before = (4.0 * m * chi * here - (2.0 * m + 1.0) * after) / (2.0 * m - 1.0)
        after, here = here, before
        if m == modes:
            q[m] = after
        if m - 1 <= modes:
            q[m - 1] = here
        if here > _LARGE:
            after /= _LARGE
            here /= _LARGE
            for k in range(m - 1, modes + 1):
                q[k] /= _LARGE
