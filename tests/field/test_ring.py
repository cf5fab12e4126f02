"""Ring kernels against plain quadrature of Biot and Savart's law and Coulomb's law, near, far and on the axis."""

import numpy as np
import pytest
from mpmath import mp

from coilwright.field.exterior import MU0, blocks
from coilwright.field.radiation import flux_density
from coilwright.field.ring import ring_fields, ring_potential
from coilwright.field.skin import edge_shape, skin_of
from coilwright.section.blocks import disc

ANGLE = (np.arange(4000) + 0.5) * 2.0 * np.pi / 4000


def by_quadrature(r, z, a, za):
    """(M, B_r, B_z of the current, B_r, B_z of the charge) by the midpoint rule over the ring."""
    dz = z - za
    distance = np.sqrt(r * r + a * a - 2 * a * r * np.cos(ANGLE) + dz * dz)
    mean = lambda f: float(np.mean(f) * 2.0 * np.pi)  # noqa: E731
    m = a * r / (4 * np.pi) * mean(np.cos(ANGLE) / distance)
    b_r = a * dz / (4 * np.pi) * mean(np.cos(ANGLE) / distance**3)
    b_z = a / (4 * np.pi) * mean((a - r * np.cos(ANGLE)) / distance**3)
    c_r = a / (4 * np.pi) * mean((r - a * np.cos(ANGLE)) / distance**3)
    c_z = a * dz / (4 * np.pi) * mean(1.0 / distance**3)
    return m, b_r, b_z, c_r, c_z


@pytest.mark.parametrize(
    ("r", "z"), [(1.3, 0.2), (0.7, -0.4), (0.01, 0.3), (5.0, 3.0), (0.0, 0.5), (1.0, 0.03), (1e-4, 2.0), (0.97, 0.0)]
)
def test_ring_fields_against_quadrature(r, z):
    m, b_r, b_z, c_r, c_z = by_quadrature(r, z, 1.0, 0.1)
    got_m, r_bz, r_br = ring_potential(r - 1.0, z - 0.1, 1.0)
    assert got_m == pytest.approx(m, rel=1e-10, abs=1e-14)
    assert (r_bz, r_br) == pytest.approx((r * b_z, r * b_r), rel=1e-9, abs=1e-12)
    assert ring_fields(r, z, 1.0, 0.1) == pytest.approx((b_r, b_z, c_r, c_z), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("gap", [1e-9, 1e-6, 1e-3, 0.3, 40.0])
def test_no_digits_are_lost_near_or_far(gap):
    """M and its slopes against 50-digit arithmetic of the classical elliptic form."""
    with mp.workdps(50):
        a, dr, dz = mp.mpf("0.012"), mp.mpf(0.6 * gap) * mp.mpf("0.012"), mp.mpf(0.8 * gap) * mp.mpf("0.012")

        def flux(x, y):
            k2 = 4 * a * (a + x) / ((2 * a + x) ** 2 + y**2)
            k = mp.sqrt(k2)
            return mp.sqrt(a * (a + x)) / (2 * mp.pi) * ((2 / k - k) * mp.ellipk(k2) - 2 / k * mp.ellipe(k2))

        want = [flux(dr, dz), mp.diff(lambda x: flux(x, dz), dr), -mp.diff(lambda y: flux(dr, y), dz)]
    got = ring_potential(float(dr), float(dz), float(a))
    for g, w in zip(got, want, strict=True):
        assert g == pytest.approx(float(w), rel=2e-12)


def test_panels_far_and_near_agree_with_brute_force():
    """Integrals over a small circle seen from near and far, against 400 Gauss points per edge."""
    skin = skin_of(disc((0.02, 0.0), np.array([0.0, 1e-3]), 12, "turn"))
    at = np.array([[0.02, 1.02e-3], [0.02103, 0.0], [0.0213, 2e-4], [0.025, 0.0], [0.04, 0.03], [0.002, -0.01]])
    V, K = blocks(at, skin)
    x, w = np.polynomial.legendre.leggauss(400)
    shape = np.stack([0.5 * x * (x - 1), 1 - x * x, 0.5 * x * (x + 1)])
    slope = np.stack([x - 0.5, -2 * x, x + 0.5])
    for i, (r, z) in enumerate(at):
        total_v = total_k = 0.0
        for p in skin.points:
            rr, zz, tr, tz = p[:, 0] @ shape, p[:, 1] @ shape, p[:, 0] @ slope, p[:, 1] @ slope
            every = np.array([ring_potential(a - r, b - z, r) for a, b in zip(rr, zz, strict=True)])
            total_v += np.sum(w * np.hypot(tr, tz) * every[:, 0])
            total_k += np.sum(w * (tz * every[:, 1] + tr * every[:, 2]))
        assert V[i].sum() == pytest.approx(total_v, rel=1e-8)
        assert K[i].sum() == pytest.approx(total_k, rel=1e-6, abs=1e-12)


def test_a_thin_ring_of_current_gives_the_field_on_its_axis():
    """B_z = mu0 I a^2 / (2 (a^2 + z^2)^1.5): Smythe (1968), 7.09 eq. (from memory)."""
    skin = skin_of(disc((0.02, 0.0), np.array([0.0, 1e-6]), 8, "turn"))
    h = np.full(skin.n_field, -1.0 / skin.circulation.sum(), dtype=complex)  # 1 A
    z = np.array([0.0, 0.01, 0.05])
    got = flux_density(np.column_stack([0 * z, z]), skin, h, np.zeros(skin.n_potential, dtype=complex))
    assert got[:, 1] == pytest.approx(MU0 * 0.02**2 / (2 * (0.02**2 + z**2) ** 1.5), rel=1e-5)
    assert np.all(got[:, 0] == 0.0)


def test_far_points_and_near_points_meet_in_the_flux_density():
    """One point at a time and all together, across the limit between the two rules, on and off the axis."""
    skin = skin_of(disc((0.02, 0.0), np.array([0.0, 2e-3]), 12, "turn"))
    rng = np.random.default_rng(3)
    h = rng.normal(size=skin.n_field) + 1j * rng.normal(size=skin.n_field)
    potential = rng.normal(size=skin.n_potential) + 0j
    for r, z, tolerance in [(0.02, 4.9e-3, 1e-4), (0.0, 0.01, 1e-7), (1e-7, 0.01, 1e-7), (0.05, -0.02, 1e-7)]:
        got = flux_density(np.array([[r, z]]), skin, h, potential)[0]
        x, w = np.polynomial.legendre.leggauss(40)
        want = np.zeros(2, dtype=complex)
        at_edges = potential[skin.number]
        for e, p in enumerate(skin.points):
            shape, slope = np.stack([x * (x - 1) / 2, 1 - x * x, x * (x + 1) / 2]), np.stack([x - 0.5, -2 * x, x + 0.5])
            rr, zz, tr, tz = p[:, 0] @ shape, p[:, 1] @ shape, p[:, 0] @ slope, p[:, 1] @ slope
            current = -MU0 * np.hypot(tr, tz) * w * (h[2 * e : 2 * e + 2] @ edge_shape(x))
            charge = -(tr / rr * (at_edges[e] @ shape) + at_edges[e] @ slope) * w
            for k in range(len(x)):
                b_r, b_z, c_r, c_z = ring_fields(r, z, rr[k], zz[k])
                want += current[k] * np.array([b_r, b_z]) + charge[k] * np.array([c_r, c_z])
        assert got == pytest.approx(want, rel=tolerance, abs=tolerance * np.abs(want).max())
