"""Coil and part out of line: power, hot side and the coil's readings for any pose, from forms prepared once.

The coil's field on the skin is taken apart into azimuthal harmonics phi_m. The part's power is a quadratic form in each,
P = phi_0^H Q_0 phi_0 + sum over m of phi_m^H Q_|m| phi_m, and the Q depend on the part, frequency and material state
only. The coil's current stays distributed as it is in line; helix pitch and leads are not seen; bodies stand on one
axis and are bodies of revolution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import scipy.linalg as sl

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.field.exterior import MU0, blocks
from coilwright.field.laws import Temperatures
from coilwright.field.pose_exterior import harmonic_blocks
from coilwright.field.pose_incident import (
    Incident,
    Pose,
    Poses,
    Rings,
    incident,
    pose_rows,
    surface_rings,
    turn_filaments,
)
from coilwright.field.pose_interior import ModeInterior, mode_interior
from coilwright.field.reduced import Drive, Reduced, reduce_exterior
from coilwright.field.skin import ComplexArray
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array

_CHUNK = 16  # poses whose fields stay in memory together
_ENOUGH_MODES = 1e-4  # share of the power in the last harmonic above which more are needed
_WORRYING_MISMATCH = 1e-3


@dataclass(frozen=True)
class PoseReading:
    """One pose, per A^2 of coil current. `by_mode`[m] holds +m and -m together.

    `section_ratio`: loss averaged over the section, nearest side over farthest, 180 degrees apart, along `hot_azimuth`
    (rad, where the section mean is largest; 0 in line). `hottest_ratio`: the same at the single point with the largest
    mean of both sides. `resistance_change` (ohm), `inductance_change` (H): what the part adds to the coil by itself,
    its current frozen. `truncation`: share of the last harmonic; `mismatch`: |Re dZ - P| / P.
    """

    pose: Pose
    power: float
    by_mode: tuple[float, ...]
    hot_azimuth: float
    section_ratio: float
    hottest_ratio: float
    resistance_change: float
    inductance_change: float
    truncation: float
    mismatch: float
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain data; keys end in their unit."""
        return {
            "power_W_per_A2": self.power,
            "power_by_mode_W_per_A2": list(self.by_mode),
            "hot_azimuth_rad": self.hot_azimuth,
            "section_ratio": self.section_ratio,
            "hottest_ratio": self.hottest_ratio,
            "resistance_change_ohm": self.resistance_change,
            "inductance_change_H": self.inductance_change,
            "truncation": self.truncation,
            "mismatch": self.mismatch,
            "findings": [f.to_dict() for f in self.findings],
        }


@dataclass(frozen=True, eq=False)
class _Mode:
    """Harmonic |m|: `response` (2b, 2b) gives h (m = 0) or q (m >= 1) on the skin from the incident potential,
    `skin_values` (k, 2b) the unknown at the skin's nodes from that, `form` is Q."""

    response: ComplexArray
    skin_values: ComplexArray
    form: ComplexArray
    factor: Any


@dataclass(frozen=True, eq=False)
class PosePart:
    """The live bodies of a model at one frequency and material state, prepared for every pose of the coil."""

    state: FieldState
    rings: Rings
    inside: ModeInterior
    bare: Reduced
    modes: tuple[_Mode, ...]
    findings: tuple[Finding, ...] = field(default=())

    @staticmethod
    def of(solver: Field, temperatures: Temperatures = None, modes: int = 3, *, rings: Rings | None = None) -> PosePart:
        """Prepare. `temperatures` as in `Field.state`; `modes` >= 1 is the highest harmonic.

        `rings`: what stands for the coil, by default its surface currents as solved in line (`surface_rings`). A
        saturating body is taken at the state it has in line with 1 A. Raises BadInput without live bodies or turns.
        """
        if modes < 1:
            raise BadInput(Fault("modes", f"must be at least 1; received {modes}"))
        if not solver.model.bodies:
            raise BadInput(Fault("body", "a pose needs a body that sees the field; the model has none"))
        only_coil = Drive(1.0 if solver.model.coil is not None else 0.0)
        state = solver.state(temperatures, only_coil)
        rings = surface_rings(state) if rings is None else rings
        live, omega = solver.live, solver.model.angular_frequency
        bare = reduce_exterior(live, None, omega, state.reduced.ups, 0.0, {})
        inside = mode_interior(live.interior, state.sigma, state.reluctivity)
        # The skins stand where the bodies are now; the interior does not care for where.
        every = [_axial_mode(bare, state)]
        V, W = harmonic_blocks(bare.skin, modes)
        for m in range(1, modes + 1):
            every.append(_mode(inside, m, omega, V[m - 1], W[m - 1]))
        notes = tuple(
            Finding(
                "pose-of-slit-body",
                "warning",
                b.name,
                "is slit, so it is no body of revolution: harmonics m >= 1 are computed as if it were whole.",
                "Read the side ratios as upper estimates.",
            )
            for b in live.bodies
            if b.slit
        )
        return PosePart(state, rings, inside, bare, tuple(every), notes)

    def with_rings(self, rings: Rings) -> PosePart:
        """The same part under other currents, e.g. `turn_filaments`."""
        return replace(self, rings=rings)

    def with_filaments(self) -> PosePart:
        """The same part under one thin filament per turn: fast, rough for narrow gaps."""
        return self.with_rings(turn_filaments(self.state))

    @property
    def order(self) -> int:
        """Highest harmonic."""
        return len(self.modes) - 1

    def _incident(self, rows: Array) -> Incident:
        return incident(self.rings, self.bare.skin.collocation, rows, self.order)

    def _potentials(self, given: Incident) -> list[ComplexArray]:
        """phi_m (poses, 2b) for m = 0, 1..M, -1..-M."""
        r = self.bare.skin.collocation[:, 0]
        out = [given.potential]
        for k in range(1, 2 * self.order + 1):
            m = k if k <= self.order else self.order - k
            out.append(r * given.field[1, k] / (1j * m))
        return out

    def power(self, poses: Poses) -> tuple[Array, Array]:
        """Power (W per A^2) in all live bodies for n poses: total (n,) and by harmonic (n, M + 1)."""
        rows = pose_rows(poses)
        by_mode = np.zeros((len(rows), self.order + 1))
        for start in range(0, len(rows), _CHUNK):
            pick = slice(start, start + _CHUNK)
            for k, phi in enumerate(self._potentials(self._incident(rows[pick]))):
                m = k if k <= self.order else k - self.order
                form = self.modes[m].form
                by_mode[pick, m] += np.einsum("pi,pi->p", phi.conj(), phi @ form.T).real
        return by_mode.sum(axis=1), by_mode

    def current_modes(self, pose: Pose) -> list[tuple[ComplexArray, ComplexArray, ComplexArray]]:
        """J_r, J_phi, J_z (A/m^2 per A, (e, q)) of harmonics 0, 1..M, -1..-M."""
        out = []
        for k, phi in enumerate(self._potentials(self._incident(pose_rows(pose)))):
            m = k if k <= self.order else self.order - k
            mode = self.modes[abs(m)]
            on_skin = mode.response @ phi[0]
            if m == 0:
                j = _axial_state(self.bare, self.state, mode.factor, on_skin).current_density
                out.append((np.zeros_like(j), j, np.zeros_like(j)))
            else:
                out.append(self.inside.current_density(mode.factor.solve(self.inside.load(on_skin)), m))
        return out

    def loss_map(self, pose: Pose, azimuths: Array) -> Array:
        """Mean loss (W/m^3 per A^2) at azimuths (k,) in rad from +x and the Gauss points: (k, e, q)."""
        return self._loss(self.current_modes(pose), np.atleast_1d(np.asarray(azimuths, dtype=float)))

    def _loss(self, harmonics: list[tuple[ComplexArray, ComplexArray, ComplexArray]], azimuths: Array) -> Array:
        sigma = self.state.sigma
        out = np.zeros((len(azimuths), *sigma.shape))
        numbers = [k if k <= self.order else self.order - k for k in range(2 * self.order + 1)]
        for n, angle in enumerate(azimuths):
            for direction in range(3):
                j = sum(h[direction] * np.exp(1j * m * angle) for m, h in zip(numbers, harmonics, strict=True))
                out[n] += np.abs(j) ** 2
        conducts = sigma > 0.0
        return np.where(conducts, out / np.where(conducts, sigma, 1.0), 0.0)

    def reading(self, pose: Pose) -> PoseReading:
        """Everything about one pose."""
        _, by_mode = self.power(pose)
        powers = by_mode[0]
        power = float(powers.sum())
        dz = self._impedance_change(pose)
        azimuth, section, hottest = self._sides(pose)
        truncation, mismatch = float(powers[-1] / power), float(abs(dz.real - power) / power)
        findings = list(self.findings)
        if truncation > _ENOUGH_MODES:
            text = f"the last harmonic (m = {self.order}) carries {truncation:.1e} of the power."
            findings.append(Finding("pose-truncated", "warning", "pose", text, "Prepare the part with more harmonics."))
        if mismatch > _WORRYING_MISMATCH:
            text = f"power and change of coil resistance differ by {mismatch:.1e}."
            findings.append(Finding("pose-mismatch", "warning", "pose", text, "Use finer meshes."))
        return PoseReading(
            pose, power, tuple(float(p) for p in powers), azimuth, section, hottest, dz.real,
            dz.imag / self.bare.omega, truncation, mismatch, tuple(findings),
        )  # fmt: skip

    def _sides(self, pose: Pose) -> tuple[float, float, float]:
        harmonics = self.current_modes(pose)
        count = 8 * self.order
        angle = 2.0 * np.pi * np.arange(count) / count
        loss = self._loss(harmonics, angle)
        ring = self.inside.inside.ring
        mean = np.sum(loss * ring, axis=(1, 2))
        # The m = 1 part of the section mean points to the hot side.
        first = np.sum(mean * np.exp(1j * angle)) / np.sum(mean)
        azimuth = float(np.angle(first)) if abs(first) > 1e-9 else 0.0
        azimuth = math.pi if azimuth < 1e-6 - math.pi else azimuth
        both = self._loss(harmonics, np.array([azimuth, azimuth + np.pi]))
        section = np.sum(both * ring, axis=(1, 2))
        point = np.unravel_index(np.argmax(both[0] + both[1]), both[0].shape)
        return azimuth, float(section[0] / section[1]), float(both[0][point] / both[1][point])

    def _impedance_change(self, pose: Pose) -> complex:
        """dZ (ohm) of the coil with its current frozen; of the complex current's conjugate, so that Re dZ is the power."""
        given = self._incident(pose_rows(pose))
        return self._reaction(given, given)

    def mutual_change(self, pose: Pose, loops: Rings, at: Pose = Pose()) -> complex:  # noqa: B008 - frozen
        """Voltage (V) per A of coil current that the part adds in other thin loops in series, standing at pose `at`."""
        rows = pose_rows(at)
        seen = incident(loops, self.bare.skin.collocation, rows, self.order)
        return self._reaction(self._incident(pose_rows(pose)), seen)

    def _reaction(self, given: Incident, seen: Incident) -> complex:
        """Voltage that the part's answer to one field drives in the sources of another (reciprocity, on the skin)."""
        skin, omega = self.bare.skin, self.bare.omega
        tangent, normal = _directions(skin.points)
        r, weight = skin.collocation[:, 0], skin.circulation
        value = skin.interpolation() / r[:, None]
        total = 0j
        for k, (phi, back) in enumerate(zip(self._potentials(given), self._potentials(seen), strict=True)):
            m = k if k <= self.order else k - self.order
            H, other = np.conj(seen.field[:, k, 0]), np.conj(back[0])
            on_skin = self.modes[m].response @ phi[0]
            inner = value @ (self.modes[m].skin_values @ on_skin)
            if m == 0:
                along = H[0] * tangent[:, 0] + H[2] * tangent[:, 1]
                total += np.sum((other / r * on_skin - inner * along) * r * weight)
            else:
                across = H[0] * normal[:, 0] + H[2] * normal[:, 1]
                total += MU0 * np.sum((inner * across - other * on_skin) * r * weight)
        return complex(-2j * np.pi * omega * total)


def _directions(points: Array) -> tuple[Array, Array]:
    """Unit tangents and outward normals (2b, 2) at the collocation points."""
    t = np.array([-1.0, 1.0])[None, :, None] / math.sqrt(3.0)
    first, second = 0.5 * (points[:, 2] - points[:, 0]), points[:, 2] + points[:, 0] - 2.0 * points[:, 1]
    tangent = (first[:, None] + t * second[:, None]).reshape(-1, 2)
    tangent = tangent / np.linalg.norm(tangent, axis=1)[:, None]
    return tangent, np.column_stack([tangent[:, 1], -tangent[:, 0]])


def _axial_mode(bare: Reduced, state: FieldState) -> _Mode:
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
    form = response.conj().T @ (2.0 * np.pi * omega * (S - S.conj().T) / 2j) @ response
    return _Mode(response, Z, form, factor)


def _without_exterior(bare: Reduced) -> Reduced:
    return replace(bare, base=np.zeros_like(bare.base))


def _axial_state(bare: Reduced, state: FieldState, factor: Any, h: ComplexArray) -> FieldState:
    live = bare.live
    load = np.zeros(live.size, dtype=complex)
    load[live.boundary] = bare.skin.mass @ h
    unknown = np.asarray(live.pattern.solve(factor, load))
    inside = replace(bare, h_drive=np.zeros_like(bare.h_drive))
    return inside.state(unknown, state.sigma, state.reluctivity, Drive(0.0))


def _mode(inside: ModeInterior, m: int, omega: float, V: Array, W: Array) -> _Mode:
    factor = inside.factor(m, omega)
    skin = inside.inside.skin
    Z = factor.solve(inside.load())[inside.inside.position[skin.nodes]]
    mass = skin.mass.toarray()
    response = sl.inv(W @ Z + V)
    S = 1j * omega * MU0 * (Z.conj().T @ mass)
    middle = 2.0 * np.pi * 0.5 * (S + S.conj().T)
    # For real potentials only the real part of the form counts; what is left of the rest is noise of the discretisation.
    form = (response.conj().T @ middle @ response).real.astype(complex)
    return _Mode(response, Z, form, factor)
