"""The coil as rings of current, and their field round the axis of the part in any pose.

The rings are the coil's own surface currents, frozen as they flow with coil and part in line, or thin filaments.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.compiled import compiled
from coilwright.field.exterior import MU0, blocks
from coilwright.field.skin import ComplexArray
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array, BoolArray

_TINY = 1e-30  # m^2, keeps the axis of the coil out of 0 / 0


@dataclass(frozen=True)
class Pose:
    """How the coil stands against the part, lengths in m, angles in rad.

    The coil is tilted by the angle |(tilt_x, tilt_y)| round that horizontal direction through the point `pivot` on the
    axis (right-handed: tilt_y > 0 lowers the +x side), then shifted by (offset_x, offset_y, axial).
    """

    offset_x: float = 0.0
    offset_y: float = 0.0
    axial: float = 0.0
    tilt_x: float = 0.0
    tilt_y: float = 0.0
    pivot: float = 0.0

    def __post_init__(self) -> None:
        bad = [n for n, v in vars(self).items() if not math.isfinite(v)]
        if bad:
            raise BadInput(Fault("pose", f"{', '.join(bad)} must be finite; received {self}"))

    @property
    def rotation(self) -> Array:
        """(3, 3): coil directions to part directions."""
        return np.asarray(rotations(pose_rows(self))[0])

    def turned(self, azimuth: float) -> Pose:
        """The same pose seen from a frame turned by -`azimuth` (rad): everything moved on round the axis."""
        c, s = math.cos(azimuth), math.sin(azimuth)
        x, y, tx, ty = self.offset_x, self.offset_y, self.tilt_x, self.tilt_y
        return Pose(c * x - s * y, s * x + c * y, self.axial, c * tx - s * ty, s * tx + c * ty, self.pivot)


Poses = Pose | Sequence[Pose] | Array


def pose_rows(poses: Poses) -> Array:
    """(n, 6) rows of `Pose` fields from one pose, several, or rows already. Raises BadInput for wrong or not finite."""
    if isinstance(poses, Pose):
        poses = [poses]
    if not isinstance(poses, np.ndarray):
        fields = [(p.offset_x, p.offset_y, p.axial, p.tilt_x, p.tilt_y, p.pivot) for p in poses]
        return np.array(fields, dtype=float).reshape(-1, 6)
    rows = np.atleast_2d(np.asarray(poses, dtype=float))
    if rows.ndim != 2 or rows.shape[1] != 6:
        raise BadInput(Fault("poses", f"must be rows of six numbers as in Pose; received an array {rows.shape}"))
    wrong = np.flatnonzero(~np.isfinite(rows).all(axis=1))
    if len(wrong):
        raise BadInput(Fault(f"poses: draw {wrong[0] + 1}", f"must be finite; received {rows[wrong[0]].tolist()}"))
    return rows


def rotations(rows: Array) -> Array:
    """(n, 3, 3) rotation of every pose, coil directions to part directions (Rodrigues' formula)."""
    return frames(rows)[0]


def frames(rows: Array) -> tuple[Array, Array, BoolArray]:
    """Rotations (n, 3, 3); azimuth (n,) rad of the plane that holds offset and axis; and whether tilt too leaves the pose
    its own mirror image in that plane."""
    out = np.empty((len(rows), 3, 3)), np.empty(len(rows)), np.empty(len(rows), dtype=np.bool_)
    _frames(rows, *out)
    return out


@compiled
def _frames(rows: Array, turns: Array, start: Array, mirrored: BoolArray) -> None:
    for p in range(rows.shape[0]):
        ox, oy, tx, ty = rows[p, 0], rows[p, 1], rows[p, 3], rows[p, 4]
        offset, angle = math.sqrt(ox * ox + oy * oy), math.sqrt(tx * tx + ty * ty)
        ux, uy = (tx / angle, ty / angle) if angle > 0.0 else (0.0, 0.0)
        s, half = math.sin(angle), math.sin(0.5 * angle)
        c = 2.0 * half * half
        R = turns[p]
        R[0, 0], R[0, 1], R[0, 2] = 1.0 - c * uy * uy, c * ux * uy, s * uy
        R[1, 0], R[1, 1], R[1, 2] = c * ux * uy, 1.0 - c * ux * ux, -s * ux
        R[2, 0], R[2, 1], R[2, 2] = -s * uy, s * ux, 1.0 - c * (ux * ux + uy * uy)
        start[p] = math.atan2(oy, ox) if offset > 0.0 else math.atan2(tx, -ty) if angle > 0.0 else 0.0
        mirrored[p] = abs(ox * tx + oy * ty) <= 1e-12 * offset * angle


@dataclass(frozen=True, eq=False)
class Rings:
    """Circular filaments: `radius`, `z` (n,) in m where the coil is drawn, `current` (n,) complex per A of coil."""

    radius: Array
    z: Array
    current: ComplexArray

    @cached_property
    def parts(self) -> Array:
        """(2, n) real and imaginary part of the currents."""
        return np.ascontiguousarray([self.current.real, self.current.imag])


def filament_rings(
    radius: Sequence[float] | Array, z: Sequence[float] | Array, current: complex | Array = 1.0
) -> Rings:
    """Thin turns at radii and heights (m), carrying `current` A per A. Raises BadInput for radii not positive."""
    r, height = np.asarray(radius, dtype=float), np.asarray(z, dtype=float)
    if r.shape != height.shape or r.ndim != 1 or not (np.isfinite(height).all() and (r > 0.0).all()):
        raise BadInput(Fault("rings", "need as many positive radii as heights, in m"))
    flowing = np.array([complex(c) for c in np.broadcast_to(current, r.shape)], dtype=np.complex128)
    return Rings(r, height, flowing)


def turn_filaments(state: FieldState) -> Rings:
    """One filament per turn, in the middle of its outline."""
    coil = state.reduced.coil
    if coil is None:
        raise BadInput(Fault("coil", "needs turns; the model has none"))
    edges = np.cumsum([0, *(len(t.interior.skin.points) for t in coil.turns)])
    r, z = np.empty(len(coil.turns)), np.empty(len(coil.turns))
    for i in range(len(coil.turns)):
        outline = coil.skin.points[edges[i] : edges[i + 1]].reshape(-1, 2)
        r[i], z[i] = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    return filament_rings(r, z + state.reduced.coil_up, coil.weights)


def surface_rings(state: FieldState) -> Rings:
    """Rings on the skin of every turn whose field outside the conductor is the coil's own, as solved for `state`.

    The sheet current on the skin is the one that gives the coil's psi there; outside, the potential of given values on
    the skin is unique. `state` must be driven by the coil alone.
    """
    reduced = state.reduced
    coil = reduced.coil
    current = state.drive.coil_current
    if coil is None or not current:
        raise BadInput(Fault("coil", "needs turns with a current; the state has none"))
    x = state.coil_unknowns
    psi = coil.skin.interpolation() @ coil.boundary_potential(x)
    if len(state.h):
        skin_potential = state.potential[reduced.live.interior.skin.nodes]
        psi = psi + reduced.coil_rows @ np.concatenate([skin_potential, state.h])
    V, _ = blocks(coil.skin.collocation, coil.skin, itself=True)
    sheet = np.linalg.solve(V, psi / MU0)
    at = coil.skin.collocation
    flowing = np.asarray(sheet * coil.skin.circulation / current, dtype=np.complex128)
    return Rings(at[:, 0].copy(), at[:, 1] + reduced.coil_up, flowing)


@compiled
def add_ring(rho: Array, up: Array, a: float, height: float, real: float, imaginary: float, sums: Array) -> None:
    """Add (r A_phi / mu0, r B_r / mu0, B_z / mu0), real and imaginary, of one ring at many points: as
    `ring.ring_potential`, with a fixed number of AGM steps (1e-13 for d/D > 0.02) and no branch, so that the compiler
    works on several points together."""
    s0, s1, s2, s3, s4, s5 = sums[0], sums[1], sums[2], sums[3], sums[4], sums[5]
    for i in range(rho.shape[0]):
        r, dz = rho[i], up[i] - height
        dr, total = r - a, r + a
        far2 = total * total + dz * dz
        near2 = dr * dr + dz * dz
        per = 1.0 / far2
        kp2 = near2 * per
        kp = math.sqrt(kp2)
        kk = 4.0 * a * r * per
        mean, geometric = 0.5 * (1.0 + kp), math.sqrt(kp)
        c = 0.25 * kk / mean
        S = c * c
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 2.0 * c * c
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 4.0 * c * c
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 8.0 * c * c
        c = 0.25 * c * c / f
        S += 16.0 * c * c
        K = 0.25 / (f - c)
        far = math.sqrt(far2)
        E = K * (1.0 - 0.5 * kk - S)
        potential = far * K * S
        radial = dz * K * (kk * kk - 2.0 * (1.0 + kp2) * S) * far / (4.0 * near2)
        axial = (K - (dr * (dr + 2.0 * a) + dz * dz) / near2 * E) * far * per
        s0[i] += real * potential
        s1[i] += imaginary * potential
        s2[i] += real * radial
        s3[i] += imaginary * radial
        s4[i] += real * axial
        s5[i] += imaginary * axial


@compiled
def place_points(
    at: Array, R: Array, shift: Array, pivot: float, cosine: Array, sine: Array, x: Array, y: Array, up: Array, rho: Array
) -> None:  # fmt: skip
    """Points (n, 2) r, z of the part at some azimuths as the coil sees them, azimuth by azimuth of every point: x, y, height
    and distance from the coil's axis."""
    few = cosine.shape[0]
    for i in range(at.shape[0]):
        for k in range(few):
            j = i * few + k
            wx, wy = at[i, 0] * cosine[k] - shift[0], at[i, 0] * sine[k] - shift[1]
            wz = at[i, 1] - shift[2] - pivot
            x[j] = R[0, 0] * wx + R[1, 0] * wy + R[2, 0] * wz
            y[j] = R[0, 1] * wx + R[1, 1] * wy + R[2, 1] * wz
            up[j] = R[0, 2] * wx + R[1, 2] * wy + R[2, 2] * wz + pivot
            rho[j] = math.sqrt(x[j] * x[j] + y[j] * y[j] + _TINY)


@compiled
def look_round(start: float, cosine: Array, sine: Array) -> None:
    """Cosine and sine of as many azimuths as there is room for, evenly round from `start`."""
    count = cosine.shape[0]
    for k in range(count):
        angle = start + 2.0 * math.pi * k / count
        cosine[k], sine[k] = math.cos(angle), math.sin(angle)


@compiled
def _fields(
    at: Array, start: Array, mirrored: BoolArray, turns: Array, shift: Array, pivot: Array,
    radius: Array, height: Array, real: Array, imaginary: Array, out: Array,
) -> None:  # fmt: skip
    """A_phi / mu0, H_r, H_phi, H_z (real, imaginary) of all rings, (8, poses, points, azimuths), in part directions.

    Azimuths start at `start`; of a pose `mirrored` about the plane through it only half is computed.
    """
    n, count = at.shape[0], out.shape[3]
    cosine, sine = np.empty(count), np.empty(count)
    x, y, up = np.empty(n * count), np.empty(n * count), np.empty(n * count)
    rho, sums = np.empty(n * count), np.empty((6, n * count))
    for p in range(turns.shape[0]):
        R = turns[p]
        few = count // 2 + 1 if mirrored[p] else count
        look_round(start[p], cosine, sine)
        place_points(at, R, shift[p], pivot[p], cosine[:few], sine[:few], x, y, up, rho)
        used = n * few
        sums[:] = 0.0
        for k in range(radius.shape[0]):
            add_ring(rho[:used], up[:used], radius[k], height[k], real[k], imaginary[k], sums)
        for i in range(n):
            for k in range(few):
                j = i * few + k
                c, s = cosine[k], sine[k]
                # local directions: e_rho = (x, y, 0)/rho, e_phi = (-y, x, 0)/rho; the sums carry another 1/rho
                per = 1.0 / (rho[j] * rho[j])
                fx, fy = R[0, 1] * x[j] - R[0, 0] * y[j], R[1, 1] * x[j] - R[1, 0] * y[j]
                hx, hy = R[0, 0] * x[j] + R[0, 1] * y[j], R[1, 0] * x[j] + R[1, 1] * y[j]
                hz = R[2, 0] * x[j] + R[2, 1] * y[j]
                along, outward, onward = (c * fy - s * fx) * per, (c * hx + s * hy) * per, (c * hy - s * hx) * per
                nr, nf = c * R[0, 2] + s * R[1, 2], c * R[1, 2] - s * R[0, 2]
                for part in range(2):
                    a, b, z = sums[part, j], sums[2 + part, j], sums[4 + part, j]
                    out[part, p, i, k] = a * along
                    out[2 + part, p, i, k] = b * outward + z * nr
                    out[4 + part, p, i, k] = b * onward + z * nf
                    out[6 + part, p, i, k] = b * hz * per + z * R[2, 2]
            for k in range(few, count):
                for part in range(8):
                    sign = -1.0 if part == 4 or part == 5 else 1.0
                    out[part, p, i, k] = sign * out[part, p, i, count - k]


@dataclass(frozen=True, eq=False)
class Incident:
    """Harmonics of the coil's own field on circles through points (n, 2), for p poses; index m counts 0, 1..M, -1..-M.

    `potential` (p, n): mean of r A_phi (Wb/rad per A). `field` (3, 2M+1, p, n): H_r, H_phi, H_z (A/m per A).
    """

    potential: ComplexArray
    field: ComplexArray


def azimuth_count(modes: int) -> int:
    """Azimuths that leave what aliases into harmonic `modes` = 3 below 1e-6 of the power at an offset of 0.7 of the gap (own
    comparison with 64 azimuths; four more make it 3e-8 and a quarter slower)."""
    return 2 * (max(4 * min(modes, 1) + 4, 3 * modes + 4) // 2)


def incident(rings: Rings, at: Array, rows: Array, modes: int, azimuths: int | None = None) -> Incident:
    """Field harmonics 0..+-modes at points (n, 2) r, z > 0 in m for pose rows (p, 6), from `azimuths` round the axis."""
    count = azimuth_count(modes) if azimuths is None else 2 * (azimuths // 2)
    turns, start, mirrored = frames(rows)
    out = np.empty((8, len(rows), len(at), count))
    _fields(
        np.ascontiguousarray(at), start, mirrored, turns, np.ascontiguousarray(rows[:, :3]),
        np.ascontiguousarray(rows[:, 5]), rings.radius, rings.z,
        np.ascontiguousarray(rings.current.real), np.ascontiguousarray(rings.current.imag), out,
    )  # fmt: skip
    order = np.concatenate([np.arange(modes + 1), -np.arange(1, modes + 1)])
    transform = np.exp(-2j * np.pi * np.outer(np.arange(count), order) / count) / count
    spectrum = np.asarray((out[2::2] + 1j * out[3::2]) @ transform, dtype=np.complex128)
    spectrum *= np.exp(-1j * np.outer(start, order))[None, :, None, :]
    mean = (out[0] + 1j * out[1]).mean(axis=-1)
    return Incident(MU0 * at[:, 0] * mean, np.moveaxis(spectrum, -1, 1))
