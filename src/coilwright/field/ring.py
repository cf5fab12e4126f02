"""The field of a circular filament (ring) and of a ring of magnetic charge, without loss of digits near or far.

All follow from one arithmetic-geometric mean started at k' = d/D, where D and d are the largest and smallest distance
of the field point from the ring: the nome-like sum S keeps what the usual (2/k - k)K - (2/k)E cancels.
Sources: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 17.6 (AGM, sum of 2^(n-1) c_n^2); Smythe,
Static and Dynamic Electricity, 3rd ed. (1968), 7.10 (vector potential and field of a ring); both from memory, checked
in tests/field/test_ring.py against quadrature.
"""

from __future__ import annotations

import math

from coilwright.field.compiled import compiled

_TWO_PI = 2.0 * math.pi
# Below this share of the ring radius a field point is on the axis.
_ON_AXIS = 1e-12


@compiled
def _elliptic(dr: float, dz: float, a: float) -> tuple[float, float, float, float, float, float]:
    """(D, d^2, k'^2, k^2, K, S) for a ring of radius a and the field point (a + dr, dz)."""
    total = dr + 2.0 * a
    far2 = total * total + dz * dz
    near2 = dr * dr + dz * dz
    kp2 = near2 / far2
    kp = math.sqrt(kp2)
    k2 = 4.0 * (a + dr) * a / far2
    c = 0.5 * k2 / (1.0 + kp)
    mean = 0.5 * (1.0 + kp)
    geometric = math.sqrt(kp)
    total_s = c * c
    power = 1.0
    while c > 1e-4:
        following = 0.5 * (mean + geometric)
        c = c * c / (4.0 * following)
        power *= 2.0
        total_s += power * c * c
        geometric = math.sqrt(mean * geometric)
        mean = following
    # The next two steps in closed form: c' = c^2 / (4 mean') with mean' = mean - c', whose own follower is below 1e-17.
    following = 0.5 * (mean + geometric)
    c = c * c / (4.0 * following)
    total_s += 2.0 * power * c * c
    return math.sqrt(far2), near2, kp2, k2, 0.5 * math.pi / following, total_s


@compiled
def ring_potential(dr: float, dz: float, a: float) -> tuple[float, float, float]:
    """(M, dM/dr, -dM/dz) at (a + dr, dz) of a ring of radius a (m); M = r A_phi / (mu0 I), in m.

    dM/dr = r B_z / (mu0 I) and -dM/dz = r B_r / (mu0 I). Differences come in as such, so that a field point
    0.1 nm from the filament keeps its digits.
    """
    far, near2, kp2, k2, K, S = _elliptic(dr, dz, a)
    E = K * (1.0 - 0.5 * k2 - S)
    m = far * K * S / _TWO_PI
    r_bz = (a + dr) / (_TWO_PI * far) * (K - (dr * (2.0 * a + dr) + dz * dz) / near2 * E)
    r_br = dz / (_TWO_PI * far) * K / (4.0 * kp2) * (k2 * k2 - 2.0 * (1.0 + kp2) * S)
    return m, r_bz, r_br


@compiled
def ring_fields(r: float, z: float, a: float, za: float) -> tuple[float, float, float, float]:
    """(B_r, B_z) / (mu0 I) in 1/m of a ring current, then the same of a ring of unit magnetic charge per metre of
    section, at (r, z) for a ring of radius a at za; on the axis too."""
    dr, dz = r - a, z - za
    far, near2, kp2, k2, K, S = _elliptic(dr, dz, a)
    E = K * (1.0 - 0.5 * k2 - S)
    b_z = (K + (a * a - r * r - dz * dz) / near2 * E) / (_TWO_PI * far)
    c_z = a * dz * E / (math.pi * far * near2)
    if r < _ON_AXIS * a:
        return 0.0, b_z, 0.0, c_z
    b_r = dz / (_TWO_PI * far * r) * K / (4.0 * kp2) * (k2 * k2 - 2.0 * (1.0 + kp2) * S)
    c_r = a / (_TWO_PI * far) * (K * (2.0 * a / (far * far) + S / r) + 2.0 * dr / near2 * E)
    return b_r, b_z, c_r, c_z
