"""Readings of a solved field: B, J and the flux function at any points, axial forces."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from coilwright.field.exterior import MU0, blocks
from coilwright.field.places import Places, locate
from coilwright.field.radiation import flux_density
from coilwright.field.recovery import recovered_slopes
from coilwright.field.skin import ComplexArray, Skin, edge_shape
from coilwright.field.state import FieldState
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray, gauss, line_shape, line_slope

_CHUNK = 256  # points whose integrals stay in the processor's cache together


@dataclass(frozen=True, eq=False)
class _Inside:
    """One body's or turn's interior solution in its own coordinates; `up` is how far it stands shifted."""

    mesh: Mesh
    up: float
    nodal: ComplexArray
    sigma: Array
    voltage: complex


def _interiors(state: FieldState) -> Iterator[_Inside]:
    reduced = state.reduced
    live = reduced.live
    node = 0
    for b, body in enumerate(live.bodies):
        count = len(body.mesh.points)
        yield _Inside(
            body.mesh,
            reduced.ups[b],
            state.potential[node : node + count],
            state.sigma[live.elements_of(b)],
            state.loop_voltages.get(body.name, 0j),
        )
        node += count
    if reduced.coil is not None:
        coil = reduced.coil
        for turn, shift, (h, u) in zip(coil.turns, coil.shifts, coil.split(state.coil_unknowns), strict=True):
            yield _Inside(turn.mesh, float(shift) + reduced.coil_up, turn.nodal(h, u), turn.sigma, u)


def _sources(state: FieldState) -> Iterator[tuple[Skin, ComplexArray, ComplexArray]]:
    """(skin, h, A on it) of the live bodies together, then of the coil."""
    reduced = state.reduced
    if reduced.live.bodies:
        yield reduced.skin, state.h, state.potential[reduced.live.interior.skin.nodes]
    if reduced.coil is not None:
        coil, x = reduced.coil, state.coil_unknowns
        yield coil.skin.moved(reduced.coil_up), x[: coil.n_field], coil.boundary_potential(x)


def _found(state: FieldState, at: Array) -> Iterator[tuple[_Inside, Places]]:
    for inside in _interiors(state):
        places = locate(inside.mesh, at - np.array([0.0, inside.up]))
        if len(places.point):
            yield inside, places


def flux_density_at(state: FieldState, at: Array) -> ComplexArray:
    """(n, 2) B_r, B_z (T rms, complex) at points (n, 2) of r >= 0, z in m, inside and outside the bodies."""
    at = np.atleast_2d(np.asarray(at, dtype=float))
    out = np.zeros((len(at), 2), dtype=complex)
    outside = np.ones(len(at), dtype=bool)
    for inside, p in _found(state, at):
        local = inside.nodal[inside.mesh.quads[p.element]]
        r = at[p.point, 0]
        own = at[p.point] - np.array([0.0, inside.up])
        slope, slope_z = recovered_slopes(
            inside.mesh, inside.nodal, p.element, own, np.sum(local * p.d_r, axis=1), np.sum(local * p.d_z, axis=1)
        )
        on_axis = r < 1e-9 * inside.mesh.points[:, 0].max()
        over_r = np.where(on_axis, slope, np.sum(local * p.shape, axis=1) / np.where(on_axis, 1.0, r))
        out[p.point, 0] = np.where(on_axis, 0.0, -slope_z)
        out[p.point, 1] = slope + over_r
        outside[p.point] = False
    if outside.any():
        free = at[outside]
        total = np.zeros((len(free), 2), dtype=complex)
        total[:, 1] = state.drive.background
        for skin, h, potential in _sources(state):
            total += flux_density(free, skin, h, potential)
        out[outside] = total
    return out


def current_density_at(state: FieldState, at: Array) -> ComplexArray:
    """(n,) J (A/m^2 rms, complex, azimuthal) at points (n, 2); zero outside the conductors."""
    at = np.atleast_2d(np.asarray(at, dtype=float))
    out = np.zeros(len(at), dtype=complex)
    for inside, p in _found(state, at):
        r = at[p.point, 0]
        potential = np.sum(inside.nodal[inside.mesh.quads[p.element]] * p.shape, axis=1)
        safe = np.where(r > 0.0, r, 1.0)
        field = -1j * state.reduced.omega * potential + np.where(r > 0.0, inside.voltage / (2.0 * np.pi * safe), 0.0)
        out[p.point] = inside.sigma[p.element, _nearest_gauss(p.local)] * field
    return out


def _nearest_gauss(local: Array) -> IntArray:
    x, _ = gauss(4)
    i, j = (np.argmin(np.abs(local[:, k : k + 1] - x), axis=1) for k in (0, 1))
    return np.asarray(4 * i + j)


def flux_function_at(state: FieldState, at: Array) -> ComplexArray:
    """(n,) psi = r A (Wb/rad rms, complex) at points (n, 2); its level lines are the lines of B."""
    at = np.atleast_2d(np.asarray(at, dtype=float))
    out = np.zeros(len(at), dtype=complex)
    outside = np.ones(len(at), dtype=bool)
    for inside, p in _found(state, at):
        out[p.point] = at[p.point, 0] * np.sum(inside.nodal[inside.mesh.quads[p.element]] * p.shape, axis=1)
        outside[p.point] = False
    free = at[outside]
    if len(free):
        psi = 0.5 * state.drive.background * free[:, 0] ** 2 + np.zeros(len(free), dtype=complex)
        for skin, h, potential in _sources(state):
            for first in range(0, len(free), _CHUNK):
                some = slice(first, first + _CHUNK)
                V, K = blocks(free[some], skin)
                psi[some] += K @ potential - MU0 * (V @ h)
        out[outside] = psi
    return out


def axial_forces(state: FieldState) -> dict[str, float]:
    """Mean force (N) along +z on every live body from all the others, rms phasors.

    Outside, a body is its skin's ring currents -h and ring magnetic charges B_n; the field B' of everything else acts
    on them: F_z = 2 pi closed int r Re[h conj(B'_r) + B_n conj(B'_z) / mu0] ds. No square of a field that is singular
    at a corner enters, as it would in Maxwell's stress on the skin. I^2/2 dL/dz is the same only as long as the coil
    current is everywhere in phase; in a coil with skin effect it is 1 to 2 % off (own computation).
    """
    live, skin = state.reduced.live, state.reduced.skin
    x, w = gauss(3)
    line, slope, phi = line_shape(x), line_slope(x), edge_shape(x)
    out = {}
    for b, body in enumerate(live.bodies):
        own = slice(int(live.start[b]), int(live.start[b + 1]))
        points, number = skin.points[own], skin.number[own]
        nodal = np.where(number >= 0, state.potential[live.interior.skin.nodes[np.maximum(number, 0)]], 0.0)
        r, tr, tz = points[:, :, 0] @ line, points[:, :, 0] @ slope, points[:, :, 1] @ slope
        charge = -(tr * (nodal @ line) + r * (nodal @ slope))  # r B_n ds
        current = r * np.hypot(tr, tz) * (state.h.reshape(-1, 2)[own] @ phi)
        at = np.column_stack([r.ravel(), (points[:, :, 1] @ line).ravel()])
        acting = _field_of_others(state, b, at).reshape(*r.shape, 2)
        density = np.real(current * np.conj(acting[..., 0]) + charge * np.conj(acting[..., 1]) / MU0)
        out[body.name] = float(2.0 * np.pi * np.sum(density * w))
    return out


def _field_of_others(state: FieldState, body: int, at: Array) -> ComplexArray:
    """(n, 2) B at points on the skin of one live body from coil, background and all other bodies."""
    total = np.zeros((len(at), 2), dtype=complex)
    total[:, 1] = state.drive.background
    live = state.reduced.live
    for skin, h, potential in _sources(state):
        if skin is state.reduced.skin:
            total += flux_density(at, *_without(live.start[body : body + 2], skin, h, potential))
        else:
            total += flux_density(at, skin, h, potential)
    return total


def _without(
    cut: IntArray, skin: Skin, h: ComplexArray, potential: ComplexArray
) -> tuple[Skin, ComplexArray, ComplexArray]:
    """The same sources less the edges cut[0]:cut[1]."""
    keep = np.r_[0 : cut[0], cut[1] : len(skin.points)]
    rest = replace(skin, points=np.ascontiguousarray(skin.points[keep]), number=skin.number[keep])
    return rest, h.reshape(-1, 2)[keep].ravel(), potential
