"""Inductance, field and force of round loops and of the windings made of them.

Lengths in m, results in H (or T/A, N/A²), µ0 = 4π·1e-7. Arguments broadcast. All loops are coaxial unless a name
says tilted. The elliptic integrals are taken in Carlson's form where the textbook form cancels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, ellipkm1, elliprd

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_skin import MU_0, Values, positive


def loop_mutual(radius_1: ArrayLike, radius_2: ArrayLike, distance: ArrayLike) -> Values:
    """Mutual inductance of two coaxial thin loops `distance` apart (planes), in H.

    M = µ0 (r1+r2) k² R_D(0, 1-k², 1)/3 with r1, r2 the greatest and least distance between the loops and
    k = 4 a b/(r1+r2)²: Maxwell's formula (Treatise, art. 701) after Landen's transformation, free of
    cancellation from touching loops to far ones. Source: DLMF § 19.34; Grover, Inductance Calculations, ch. 11.
    Valid for any radii > 0; infinite where the loops coincide. Loops of 50 mm, 10 mm apart: 107.7 nH.

    >>> round(float(loop_mutual(0.05, 0.05, 0.01)) * 1e9, 3)
    107.693
    """
    a, b = positive("loop_mutual", radius_1=radius_1, radius_2=radius_2)
    return (_mutual_over_b2(a, b, np.asarray(distance, dtype=float)) * b**2)[()]


def _mutual_over_b2(a: NDArray[np.float64], b: NDArray[np.float64], z: NDArray[np.float64]) -> NDArray[np.float64]:
    """M/b², finite as b goes to zero."""
    far, near = np.hypot(a + b, z), np.hypot(a - b, z)
    s = far + near
    with np.errstate(divide="ignore"):
        return np.asarray(MU_0 * 16 * a**2 / (3 * s**3) * elliprd(0.0, 4 * far * near / s**2, 1.0))


def loop_force(radius_1: ArrayLike, radius_2: ArrayLike, distance: ArrayLike) -> Values:
    """dM/dz of two coaxial loops in N/A²: times both currents the axial force, negative = attraction for z > 0.

    For sinusoidal currents use rms values and the cosine of their phase: that gives the mean force.
    Source: Grover, Inductance Calculations, ch. 26 (derivative of Maxwell's formula). Loses digits for loops much
    farther apart than their size (relative error about 1e-15 (distance/radius)^4).
    Loops of 50 mm, 10 mm apart: -6.02 µN/A².
    """
    a, b = positive("loop_force", radius_1=radius_1, radius_2=radius_2)
    z = np.asarray(distance, dtype=float)
    far2 = (a + b) ** 2 + z**2
    m1 = ((a - b) ** 2 + z**2) / far2
    bracket = ellipkm1(m1) - (1 + m1) / (2 * m1) * ellipe(1 - m1)
    return (MU_0 * z / np.sqrt(far2) * bracket)[()]


def loop_flux_density(radius: ArrayLike, r: ArrayLike, z: ArrayLike) -> tuple[Values, Values]:
    """(B_r, B_z) in T per ampere of a thin loop at radius r, height z above its plane.

    Source: Smythe, Static and Dynamic Electricity, § 7.10. Infinite on the loop itself. On the axis it is
    µ0 a²/(2 (a²+z²)^1.5): 50 mm loop at 20 mm height gives 10.06 µT/A.
    """
    (a,) = positive("loop_flux_density", radius=radius)
    rho, height = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
    far2, near2 = (a + rho) ** 2 + height**2, (a - rho) ** 2 + height**2
    m1 = near2 / far2
    K, E = ellipkm1(m1), ellipe(1 - m1)
    c = MU_0 / (2 * np.pi * np.sqrt(far2))
    bz = c * (K + (a**2 - rho**2 - height**2) / near2 * E)
    safe = np.where(rho == 0, 1.0, rho)
    br = np.where(rho == 0, 0.0, c * height / safe * (-K + (a**2 + rho**2 + height**2) / near2 * E))
    return br[()], bz[()]


def loop_self_inductance(radius: ArrayLike, wire_radius: ArrayLike, current: str = "surface") -> Values:
    """Self inductance of one turn of round wire in H.

    `current` "uniform" (direct current): µ0 R [(1 + a²/8R²) ln(8R/a) + a²/24R² - 7/4], Rayleigh & Niven 1881, as in
    Rosa & Grover, Bull. Bur. Standards 8 (1912) eq. 63. "surface" (skin depth much less than a): µ0 R [ln(8R/a) - 2],
    leading order, error of relative order (a/R)². A tube is its outside at high frequency.
    Loop of 25 mm, wire radius 1.5 mm: 98.8 nH uniform, 90.9 nH surface.
    """
    R, a = positive("loop_self_inductance", radius=radius, wire_radius=wire_radius)
    log, q = np.log(8 * R / a), (a / R) ** 2
    if current == "uniform":
        return (MU_0 * R * ((1 + q / 8) * log + q / 24 - 1.75))[()]
    if current == "surface":
        return (MU_0 * R * (log - 2))[()]
    raise BadInput(Fault("loop_self_inductance: current", f'must be "uniform" or "surface", received "{current}"'))


def nagaoka_coefficient(diameter_over_length: ArrayLike) -> Values:
    """Ratio K of the inductance of a current sheet to that of the same length of an endless one.

    K = 4/(3π k') [k'² (K-E)/k² + E - k], k² = D²/(D²+l²): Lorenz 1879, Nagaoka, J. Coll. Sci. Tokyo 27 (1909) art. 6.
    Any ratio >= 0 (relative error about 1e-16 (D/l)² for flat coils). D/l = 1: 0.688423.
    """
    x = np.asarray(diameter_over_length, dtype=float)
    if np.any(~np.isfinite(x) | (x < 0)):
        raise BadInput(Fault("nagaoka_coefficient: diameter_over_length", "must be finite and not negative"))
    k2 = x**2 / (1 + x**2)
    k1 = 1 / np.sqrt(1 + x**2)
    bracket = k1**2 * elliprd(0.0, k1**2, 1.0) / 3 + ellipe(k2) - np.sqrt(k2)
    return (4 / (3 * np.pi * k1) * bracket)[()]


def current_sheet_inductance(radius: ArrayLike, length: ArrayLike, turns: ArrayLike) -> Values:
    """Inductance µ0 N² π R² K/l of a thin single-layer solenoid (current sheet) in H; source as `nagaoka_coefficient`.

    R = l = 1 m, one turn: 2.07463 µH.
    """
    R, length_, N = positive("current_sheet_inductance", radius=radius, length=length, turns=turns)
    return MU_0 * N**2 * np.pi * R**2 / length_ * nagaoka_coefficient(2 * R / length_)


def rosa_wire_term(diameter_over_pitch: ArrayLike, current: str = "uniform") -> Values:
    """Rosa's A: 5/4 - ln(2 p/d) for uniform current in round wire, 3/2 - ln(2 p/d) for current on its surface.

    Source: Rosa & Grover, Bull. Bur. Standards 8 (1912), table VII (uniform); the other follows from the geometric mean
    radius d/2 instead of d/2·e^(-1/4). d = p: 0.5569.
    """
    (ratio,) = positive("rosa_wire_term", diameter_over_pitch=diameter_over_pitch)
    return ({"uniform": 1.25, "surface": 1.5}[current] + np.log(ratio / 2))[()]


def rosa_turns_term(turns: int) -> float:
    """Rosa's B(N) exactly, from the geometric mean distances of collinear strips: 0 for one turn, 0.3379 for many.

    B = (2/N) Σ (N-n) [ln n - ln D_n], ln D_n = ½[(n+1)² ln(n+1) - 2 n² ln n + (n-1)² ln(n-1)] - 3/2.
    Source: Rosa, Bull. Bur. Standards 2 (1906) p. 161; table VIII of Rosa & Grover 1912. B(10) = 0.2664.
    """
    n = np.arange(1, turns, dtype=float)
    if n.size == 0:
        return 0.0
    below = np.where(n > 1, (n - 1) ** 2 * np.log(np.maximum(n - 1, 1)), 0.0)
    log_d = 0.5 * ((n + 1) ** 2 * np.log(n + 1) - 2 * n**2 * np.log(n) + below) - 1.5
    return float(2 / turns * np.sum((turns - n) * (np.log(n) - log_d)))


def helix_inductance(radius: float, pitch: float, turns: int, wire_diameter: float, current: str = "surface") -> float:
    """Inductance in H of a single-layer helix of round wire or tube: current sheet of length N·pitch less Rosa's terms.

    `radius` to the centre line. Source: Rosa & Grover 1912, eq. for a single-layer coil, L = L_s - µ0 R N (A + B).
    Within 0.5 % of a stack of rings at work-coil pitches (pitch/radius 0.2 to 0.4); proximity of the turns, which
    lowers L of tightly wound tube by some per cent more at high frequency, is left out.
    5 turns of 6 mm on 50 mm mean diameter, pitch 8 mm, uniform current: 0.907 µH.
    """
    positive("helix_inductance", radius=radius, pitch=pitch, turns=turns, wire_diameter=wire_diameter)
    sheet = float(current_sheet_inductance(radius, turns * pitch, turns))
    terms = float(rosa_wire_term(wire_diameter / pitch, current)) + rosa_turns_term(turns)
    return sheet - MU_0 * radius * turns * terms


def ring_stack_inductance(
    radii: ArrayLike, heights: ArrayLike, wire_radius: ArrayLike, current: str = "surface"
) -> float:
    """Inductance in H of loops in series, any radii (n,) and heights (n,): sum of self and mutual inductances.

    Serves helices, flat spirals (all heights equal) and listed turns. Source: `loop_mutual`, `loop_self_inductance`.
    The turns must not overlap. 8 turns of 4 mm wire on 30 mm mean diameter, pitch 6 mm, uniform: 0.8621 µH.
    """
    R, z = np.broadcast_arrays(np.atleast_1d(np.asarray(radii, float)), np.atleast_1d(np.asarray(heights, float)))
    M = np.zeros((R.size, R.size))
    i, j = np.triu_indices(R.size, 1)
    M[i, j] = loop_mutual(R[i], R[j], z[i] - z[j])
    return float(np.sum(loop_self_inductance(R, wire_radius, current)) + 2 * np.sum(M))


def spiral_inductance(
    inner_radius: float, outer_radius: float, turns: int, wire_diameter: float, current: str = "surface"
) -> float:
    """Inductance in H of a flat spiral as rings equally spaced between the centre lines of its first and last turn.

    Source: `ring_stack_inductance`. One turn sits at the mean radius.
    """
    if turns < 2:
        radii = np.array([(inner_radius + outer_radius) / 2])
    else:
        radii = np.linspace(inner_radius, outer_radius, turns)
    return ring_stack_inductance(radii, 0.0, wire_diameter / 2, current)


def rectangle_mean_distance(side_1: ArrayLike, side_2: ArrayLike) -> Values:
    """Geometric mean distance of a rectangle from itself in m: the radius that stands for a bar of that section.

    Source: Maxwell, Treatise, art. 692; Rosa & Grover 1912, eq. 124; tabulated by Lyle, Phil. Trans. A 213 (1914)
    p. 429. About 0.2235 (side_1 + side_2) for every shape. side_2 must be above zero, side_1 may be zero (a strip).
    """
    (c,) = positive("rectangle_mean_distance", side_2=side_2)
    q = np.asarray(side_1, dtype=float) / c
    s = np.where(q == 0, 1.0, q)
    log = (
        0.5 * np.log1p(s**2)
        - s**2 / 12 * np.log1p(1 / s**2)
        - np.log1p(s**2) / (12 * s**2)
        + 2 / 3 * (s * np.arctan(1 / s) + np.arctan(s) / s)
        - 25 / 12
    )
    return (c * np.where(q == 0, np.exp(-1.5), np.exp(log)))[()]


def tilted_loop_mutual(
    radius_1: float, radius_2: float, centre: ArrayLike, normal: ArrayLike, points: int = 256
) -> float:
    """Mutual inductance in H of a loop at the origin (axis z) and a second one anywhere.

    `centre` (3,) in m and `normal` (3,) of any length place the second. The vector potential of the first is
    integrated round the second by the periodic trapezoidal rule, which converges geometrically unless the wires
    nearly touch. Sign: positive when both normals agree and the loops are near. Source: Neumann's integral, as
    treated by Grover, Inductance Calculations, ch. 21; values in `tests/published`.
    """
    positive("tilted_loop_mutual", radius_1=radius_1, radius_2=radius_2)
    c, n = np.asarray(centre, dtype=float), np.asarray(normal, dtype=float)
    n = n / np.linalg.norm(n)
    helper = np.eye(3)[int(np.argmin(np.abs(n)))]
    u = np.cross(n, helper)
    u /= np.linalg.norm(u)
    v = np.cross(n, u)
    t = 2 * np.pi * np.arange(points) / points
    p = c + radius_2 * (np.outer(np.cos(t), u) + np.outer(np.sin(t), v))
    dp = radius_2 * (np.outer(-np.sin(t), u) + np.outer(np.cos(t), v))
    over = _mutual_over_b2(np.asarray(radius_1, dtype=float), np.hypot(p[:, 0], p[:, 1]), p[:, 2])
    return float(np.mean(over * (p[:, 0] * dp[:, 1] - p[:, 1] * dp[:, 0])))
