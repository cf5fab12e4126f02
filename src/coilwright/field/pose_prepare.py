"""Harmonic by harmonic: how the part answers a field on its skin, condensed once for all poses."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.linalg as sl

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.field.exterior import MU0, blocks
from coilwright.field.interior import Interior
from coilwright.field.pose_interior import ModeInterior
from coilwright.field.pose_thin_skin import THIN_ENOUGH, surface_impedance
from coilwright.field.reduced import Drive, Reduced
from coilwright.field.skin import ComplexArray, Skin
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array, BoolArray, line_slope


@dataclass(frozen=True, eq=False)
class Mode:
    """Harmonic |m|: `response` (2b, 2b) gives h (m = 0) or q (m >= 1) on the skin from the incident potential,
    `skin_values` (k, 2b) the unknown at the skin's nodes from that, `form` is Q = response^H middle response, and the
    `middle` has a block of its own for every body."""

    response: ComplexArray
    skin_values: ComplexArray
    middle: ComplexArray
    form: ComplexArray
    factor: Any

    def form_of(self, points: BoolArray) -> ComplexArray:
        """Q of the power in some of the bodies, those of these collocation points (2b,)."""
        part = self.response[points]
        return np.asarray(part.conj().T @ self.middle[np.ix_(points, points)] @ part, dtype=np.complex128)


def directions(points: Array) -> tuple[Array, Array]:
    """Unit tangents and outward normals (2b, 2) at the collocation points."""
    t = np.array([-1.0, 1.0])[None, :, None] / math.sqrt(3.0)
    first, second = 0.5 * (points[:, 2] - points[:, 0]), points[:, 2] + points[:, 0] - 2.0 * points[:, 1]
    tangent = (first[:, None] + t * second[:, None]).reshape(-1, 2)
    tangent = tangent / np.linalg.norm(tangent, axis=1)[:, None]
    return tangent, np.column_stack([tangent[:, 1], -tangent[:, 0]])


def slopes(skin: Skin) -> Array:
    """(2b, k): d psi / ds at the collocation points from psi at the boundary nodes."""
    x = np.array([-1.0, 1.0]) / math.sqrt(3.0)
    slope = line_slope(x)
    length = np.hypot(skin.points[:, :, 0] @ slope, skin.points[:, :, 1] @ slope)
    out = np.zeros((skin.n_field, skin.n_potential + 1))
    for e in range(len(skin.points)):
        for k in range(2):
            out[2 * e + k, skin.number[e]] = slope[:, k] / length[e, k]
    return out[:, :-1]


def axial_mode(bare: Reduced, state: FieldState) -> Mode:
    """m = 0: the finite elements of the solved state, the exterior without the coil."""
    live, skin, omega = bare.live, bare.skin, bare.omega
    factor = live.pattern.factor(_without_exterior(bare).material_data(state.sigma, state.reluctivity))
    mass = skin.mass.toarray()
    load = np.zeros((live.size, skin.n_field), dtype=complex)
    load[live.boundary] = mass
    Z = np.asarray(live.pattern.solve(factor, load))[live.boundary]
    V, K = blocks(skin.collocation, skin, itself=True)
    response = sl.inv((0.5 * skin.interpolation() - K) @ Z + MU0 * V)
    S = Z.conj().T @ mass
    middle = 2.0 * np.pi * omega * (S - S.conj().T) / 2j
    return Mode(response, Z, middle, response.conj().T @ middle @ response, factor)


def _without_exterior(bare: Reduced) -> Reduced:
    return replace(bare, base=np.zeros_like(bare.base))


def axial_state(bare: Reduced, state: FieldState, factor: Any, h: ComplexArray) -> FieldState:
    live = bare.live
    load = np.zeros(live.size, dtype=complex)
    load[live.boundary] = bare.skin.mass @ h
    unknown = np.asarray(live.pattern.solve(factor, load))
    inside = replace(bare, h_drive=np.zeros_like(bare.h_drive))
    return inside.state(unknown, state.sigma, state.reluctivity, Drive(0.0))


def inside_mode(inside: ModeInterior, m: int, omega: float, V: Array, W: Array) -> Mode:
    factor = inside.factor(m, omega)
    Z = factor.solve(inside.load())[inside.inside.position[inside.inside.skin.nodes]]
    return closed_mode(Z, factor, inside.inside, omega, V, W)


def closed_mode(Z: ComplexArray, factor: Any, inside: Interior, omega: float, V: Array, W: Array) -> Mode:
    """Harmonic m >= 1 from psi = Z q on the skin and the integrals outside."""
    response = sl.inv(W @ Z + V)
    S = 1j * omega * MU0 * (Z.conj().T @ inside.skin.mass.toarray())
    middle = 2.0 * np.pi * 0.5 * (S + S.conj().T)
    # For real potentials only the real part of the form counts; what is left of the rest is noise of the discretisation.
    form = (response.conj().T @ middle @ response).real.astype(complex)
    return Mode(response, Z, middle, form, factor)


def thick_skins(state: FieldState) -> tuple[Finding, ...]:
    """Bodies that are not thick enough for the surface impedance, and bad input for those it cannot describe."""
    live = state.reduced.live
    conducts = np.all(state.sigma[live.interior.mesh.boundary.element] > 0.0, axis=1)
    if not conducts.all():
        raise BadInput(Fault("thin_skin", "needs bodies that conduct all over their surface; leave it out"))
    _, depth = surface_impedance(live.interior, state.sigma, state.reluctivity, state.reduced.omega)
    out = []
    for b, body in enumerate(live.bodies):
        r, z = live.skins[b].points.reshape(-1, 2).T
        width = np.ptp(r) if r.min() > 1e-9 * r.max() else r.max()
        ratio = float(min(width, 0.5 * np.ptp(z)) / depth[live.start[b] : live.start[b + 1]].max())
        if ratio < THIN_ENOUGH:
            text = (
                f"is only {ratio:.1f} skin depths thick; below {THIN_ENOUGH:g} the harmonics are off by more than 3 %."
            )
            out.append(Finding("pose-thick-skin", "warning", body.name, text, "Leave thin_skin out."))
    return tuple(out)
