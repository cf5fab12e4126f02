"""Heat induced in simple parts by a given alternating field: bar, tube, ball. Flat parts are in `formulas_skin`.

`field_strength` is the rms field H0 (A/m) that the part sees; for a long part in a long coil it is turns x
current / coil length. SI; arguments broadcast unless said otherwise.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ive, kve

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_skin import MU_0, Values, positive, skin_depth, wave_number


def bar_factor(diameter_over_depth: ArrayLike) -> Values:
    """Power of a long round bar in an axial field relative to a flat surface of the same area: Re[(1+j) I1(ka)/I0(ka)].

    Argument: bar diameter/skin depth. 1 for thick bars (less δ/d), (d/δ)³/32 for thin ones: below d/δ = 3 the field
    shines through. Source: Lupi, Fundamentals of Electroheat (Springer 2017), eqs 6.9-6.17; Landau & Lifshitz § 59.
    d/δ = 2.5: 0.383; 4: 0.739; 10: 0.898.
    """
    (x,) = positive("bar_factor", diameter_over_depth=diameter_over_depth)
    ka = (1 + 1j) * x / 2
    # the real part of (1+j)(ka/2)(1 - ka²/8 + ...) starts at x³: below 0.05 the difference would be rounding
    return np.where(x < 0.05, x**3 / 32, ((1 + 1j) * ive(1, ka) / ive(0, ka)).real)[()]


def bar_power(
    radius: ArrayLike,
    field_strength: ArrayLike,
    frequency: ArrayLike,
    resistivity: ArrayLike,
    relative_permeability: ArrayLike = 1.0,
) -> Values:
    """Power per length in W/m of a long solid round bar in a uniform axial field; source as `bar_factor`.

    2π a H0² (ρ/δ) · bar_factor. Ends are left out: a bar shorter than some diameters draws more per length.
    Graphite, 60 mm radius, 42 mm long, 58.8 kS/m, 7143 A/m peak, ω = 84 800/s: 325.85 W.
    """
    a, rho = positive("bar_power", radius=radius, resistivity=resistivity)
    delta = skin_depth(frequency, rho, relative_permeability)
    H = np.asarray(field_strength, dtype=float)
    return (2 * np.pi * a * H**2 * rho / delta * bar_factor(2 * a / delta))[()]


def bar_effective_permeability(radius_over_depth: ArrayLike) -> Values:
    """Complex µ_eff = 2 I1(ka)/(ka I0(ka)): mean flux in the bar over µ0 µr H0. Argument radius/skin depth.

    Source: Foerster's effective permeability, in McMaster (ed.), Nondestructive Testing Handbook (1959) sec. 36,
    tabulated against f/f_g = 2 (a/δ)². f/f_g = 100: 0.1416 - 0.1313j.
    """
    (x,) = positive("bar_effective_permeability", radius_over_depth=radius_over_depth)
    ka = (1 + 1j) * x
    return (2 * ive(1, ka) / (ka * ive(0, ka)))[()]


def tube_power(
    outer_radius: ArrayLike,
    inner_radius: ArrayLike,
    field_strength: ArrayLike,
    frequency: ArrayLike,
    resistivity: ArrayLike,
    relative_permeability: ArrayLike = 1.0,
) -> tuple[Values, Values]:
    """(power per length in W/m, bore field / H0 as a complex number) of a long tube in an axial field, exact.

    H = A I0(kr) + B K0(kr), with H = H0 outside and E = -jω µ0 H r/2 at the bore (air inside).
    Source: Lupi, Fundamentals of Electroheat (2017), ch. 6 (hollow cylinder); derivation as stated. Stainless tube
    20 mm x 1 mm wall (1.37 MS/m), 10 kHz, 10 kA/m peak: 462.85 W/m, bore field 0.896 H0.
    """
    b, a, f, rho, mur = positive(
        "tube_power",
        outer_radius=outer_radius,
        inner_radius=inner_radius,
        frequency=frequency,
        resistivity=resistivity,
        relative_permeability=relative_permeability,
    )
    if np.any(a >= b):
        raise BadInput(Fault("tube_power: inner_radius", "must be less than outer_radius"))
    k = wave_number(f, rho, mur)
    kb, ka = k * b, k * a
    # u = I0(kr) e^{-Re kb}, w = K0(kr) e^{ka}: both are at most of order one anywhere in the wall
    inward, outward = np.exp(ka.real - kb.real), np.exp(ka - kb)
    u_b, w_b, u_a, w_a = ive(0, kb), kve(0, kb) * outward, ive(0, ka) * inward, kve(0, ka)
    du_b, dw_b, du_a, dw_a = ive(1, kb), -kve(1, kb) * outward, ive(1, ka) * inward, -kve(1, ka)
    # bore: rho k (A u' + B w') = jω µ0 (a/2)(A u + B w), and jω µ0 mur / rho = k²
    c = ka / (2 * mur)
    ratio = (c * u_a - du_a) / (dw_a - c * w_a)
    A = 1 / (u_b + ratio * w_b)
    power = 2 * np.pi * b * np.asarray(field_strength, float) ** 2 * (rho * k * A * (du_b + ratio * dw_b)).real
    return power[()], (A * (u_a + ratio * w_a))[()]


def thin_tube_power(
    mean_radius: ArrayLike, wall: ArrayLike, field_strength: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike
) -> Values:
    """Power per length in W/m of a long non-magnetic tube whose wall is thin against δ and radius.

    2π a (ρ/t) |H0 - Hi|², Hi = H0/(1+jτ), τ = ω µ0 a t/(2ρ): greatest per field at τ = 1, where the
    ring's reactance equals its resistance and the power does not depend on ρ or t to first order.
    Source: Landau & Lifshitz, Electrodynamics of Continuous Media, § 59 (problem on a hollow cylinder).
    Stainless, 10 mm radius, 0.2 mm wall, 10 kHz, 10 kA/m peak: 134.4 W/m.
    """
    a, t, f, rho = positive(
        "thin_tube_power", mean_radius=mean_radius, wall=wall, frequency=frequency, resistivity=resistivity
    )
    tau = thin_tube_tau(a, t, f, rho)
    H = np.asarray(field_strength, dtype=float)
    return (2 * np.pi * a * rho / t * H**2 * tau**2 / (1 + tau**2))[()]


def thin_tube_tau(mean_radius: ArrayLike, wall: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike) -> Values:
    """τ = ω µ0 a t/(2ρ) of a long thin tube, its reactance over its resistance; source as `thin_tube_power`."""
    a, t, f, rho = positive(
        "thin_tube_tau", mean_radius=mean_radius, wall=wall, frequency=frequency, resistivity=resistivity
    )
    return (np.pi * f * MU_0 * a * t / rho)[()]


def ball_dipole(
    radius: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike, relative_permeability: ArrayLike = 1.0
) -> Values:
    """Complex χ of a ball in a uniform field, dipole moment m = 4π a³ χ H0.

    χ = (2 µr - q)/(2 (µr + q)), q = x I½(x)/I_{3/2}(x) - 1, x = ka. It is
    -1/2 for a perfect conductor, (µr-1)/(µr+2) at rest.
    Source: Wait, Geophysics 16 (1951) 666; Wait & Spies, Geophysics 34 (1969) 789.
    """
    (a,) = positive("ball_dipole", radius=radius)
    mur = np.asarray(relative_permeability, dtype=float)
    x = wave_number(frequency, resistivity, mur) * a
    q = x * ive(0.5, x) / ive(1.5, x) - 1
    return ((2 * mur - q) / (2 * (mur + q)))[()]


def ball_power(
    radius: ArrayLike,
    field_strength: ArrayLike,
    frequency: ArrayLike,
    resistivity: ArrayLike,
    relative_permeability: ArrayLike = 1.0,
) -> Values:
    """Power in W of a solid ball in a uniform rms field H0 (far from the ball): -ω µ0 Im(4π a³ χ) H0².

    Source: as `ball_dipole`; Landau & Lifshitz § 59 problem 1. Low-frequency limit 2π σ ω² B² a⁵/15 with rms B.
    10 mm radius, 1 MS/m, 10 kHz, 1 kA/m peak: 83.19 mW.
    """
    a, f = positive("ball_power", radius=radius, frequency=frequency)
    chi = ball_dipole(a, f, resistivity, relative_permeability)
    H = np.asarray(field_strength, dtype=float)
    return (-2 * np.pi * f * MU_0 * 4 * np.pi * a**3 * np.imag(chi) * H**2)[()]


def hollow_ball(
    outer_radius: float, inner_radius: float, field_strength: float, frequency: float, resistivity: float
) -> tuple[float, complex]:
    """(power in W, field in the cavity / H0) of a non-magnetic hollow ball in a uniform rms field; scalars.

    A_φ/(B0 sinθ) = G r in the cavity, C I_{3/2}(kr)/√r + D K_{3/2}(kr)/√r in the shell, r/2 + m/r² outside, with A_φ
    and d(r A_φ)/dr continuous. Source: the geometry of TEAM workshop problem 6 (hollow sphere); solution as stated.
    """
    positive("hollow_ball", outer_radius=outer_radius, inner_radius=inner_radius, frequency=frequency)
    k = complex(wave_number(frequency, resistivity))
    a, b = inner_radius, outer_radius

    def basis(r: float) -> tuple[complex, complex, complex, complex]:
        z = np.asarray(k * r)
        grow, fall = np.exp(k.real * (r - b)), np.exp(-k * (r - a))
        root = np.sqrt(r)
        i, p = ive(1.5, z) * grow / root, kve(1.5, z) * fall / root
        di = z * ive(0.5, z) * grow / root - i  # d(r f)/dr
        dp = -z * kve(0.5, z) * fall / root - p
        return i, p, di, dp

    ia, pa, dia, dpa = basis(a)
    ib, pb, dib, dpb = basis(b)
    # unknowns: cavity G, shell C and D, outer dipole m
    matrix = np.array(
        [[a, -ia, -pa, 0], [2 * a, -dia, -dpa, 0], [0, ib, pb, -1 / b**2], [0, dib, dpb, 1 / b**2]], dtype=complex
    )
    cavity, _, _, dipole = np.linalg.solve(matrix, np.array([0, 0, b / 2, b], dtype=complex))
    power = -2 * np.pi * frequency * MU_0 * 4 * np.pi * dipole.imag * field_strength**2
    return float(power), complex(2 * cavity)
