"""Coil and part out of line: power, hot side and the coil's readings for any pose, from forms prepared once.

The coil's field on the skin is taken apart into azimuthal harmonics phi_m. The part's power is a quadratic form in each,
P = phi_0^H Q_0 phi_0 + sum over m of phi_m^H Q_|m| phi_m, and the Q depend on the part, frequency and material state
only. The coil's current stays distributed as it is in line; helix pitch and leads are not seen; bodies stand on one
axis and are bodies of revolution.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.field.exterior import MU0
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
from coilwright.field.pose_power import Forms, pose_powers
from coilwright.field.pose_prepare import (
    Mode,
    axial_mode,
    axial_state,
    closed_mode,
    directions,
    inside_mode,
    slopes,
    thick_skins,
)
from coilwright.field.pose_reading import PoseReading
from coilwright.field.pose_thin_skin import skin_response, surface_impedance
from coilwright.field.reduced import Drive, Reduced, reduce_exterior
from coilwright.field.skin import ComplexArray
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array, BoolArray

_CHUNK = 16  # poses whose fields stay in memory together
_ENOUGH_MODES = 1e-4  # share of the power in the last harmonic above which more are needed
_WORRYING_MISMATCH = 1e-3


@dataclass(frozen=True, eq=False)
class PosePart:
    """The live bodies of a model at one frequency and material state, prepared for every pose of the coil."""

    state: FieldState
    rings: Rings
    inside: ModeInterior | None
    bare: Reduced
    modes: tuple[Mode, ...]
    findings: tuple[Finding, ...] = field(default=())

    @staticmethod
    def of(
        solver: Field,
        temperatures: Temperatures = None,
        modes: int = 3,
        *,
        current: float = 1.0,
        rings: Rings | None = None,
        thin_skin: bool = False,
        start: FieldState | None = None,
    ) -> PosePart:
        """Prepare. `temperatures` as in `Field.state`; `modes` >= 1 is the highest harmonic.

        `rings`: what stands for the coil, by default its surface currents as solved in line (`surface_rings`). A
        saturating body is taken at the state it has in line with `current` (A rms), found from `start`, an earlier state of
        the same mesh. `thin_skin`: harmonics m >= 1 by the surface impedance; cheaper on fine meshes and good to 3 % of
        them when the skin is 15 times thinner than the part, but without losses inside. Raises BadInput without live
        bodies or turns.
        """
        if modes < 1:
            raise BadInput(Fault("modes", f"must be at least 1; received {modes}"))
        if not solver.model.bodies:
            raise BadInput(Fault("body", "a pose needs a body that sees the field; the model has none"))
        only_coil = Drive(current if solver.model.coil is not None else 0.0)
        state = solver.state(temperatures, only_coil, start=start)
        rings = surface_rings(state) if rings is None else rings
        live, omega = solver.live, solver.model.angular_frequency
        bare = reduce_exterior(live, None, omega, state.reduced.ups, 0.0, {})
        # The skins stand where the bodies are now; the interior does not care for where.
        inside = None if thin_skin else mode_interior(live.interior, state.sigma, state.reluctivity)
        every = [axial_mode(bare, state)]
        V, W = harmonic_blocks(bare.skin, modes)
        for m in range(1, modes + 1):
            if inside is None:
                Zs, _ = surface_impedance(live.interior, state.sigma, state.reluctivity, omega)
                every.append(
                    closed_mode(
                        skin_response(live.interior, Zs, m, omega), None, live.interior, omega, V[m - 1], W[m - 1]
                    )
                )
            else:
                every.append(inside_mode(inside, m, omega, V[m - 1], W[m - 1]))
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
        if thin_skin:
            notes += thick_skins(state)
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

    def power(self, poses: Poses, *, within: Collection[str] | None = None) -> tuple[Array, Array]:
        """Power (W per A^2) for n poses, total (n,) and by harmonic (n, M + 1): in all live bodies, or `within` some."""
        names = None if within is None else tuple(within)
        if names not in self._known_forms:
            points = None if names is None else self._points_of(names)
            self._known_forms[names] = Forms.of([m.form if points is None else m.form_of(points) for m in self.modes])
        by_mode = pose_powers(self.rings, self.bare.skin.collocation, pose_rows(poses), self._known_forms[names])
        return by_mode.sum(axis=1), by_mode

    @cached_property
    def _known_forms(self) -> dict[tuple[str, ...] | None, Forms]:
        return {}

    def _powers(self, potentials: list[ComplexArray], forms: list[ComplexArray]) -> Array:
        out = np.zeros((len(potentials[0]), self.order + 1))
        for k, phi in enumerate(potentials):
            m = k if k <= self.order else k - self.order
            out[:, m] += np.einsum("pi,pi->p", phi.conj(), phi @ forms[m].T).real
        return out

    def _points_of(self, within: Collection[str]) -> BoolArray:
        """Which collocation points lie on bodies of these names. Raises BadInput for a name that is no live body."""
        live = self.state.reduced.live
        names = [b.name for b in live.bodies]
        unknown = [n for n in within if n not in names]
        if unknown:
            raise BadInput(Fault("within", f"must name live bodies ({', '.join(names)}); received {unknown[0]!r}"))
        return np.repeat([n in within for n in names], 2 * np.diff(live.start))

    def answers(self, poses: Poses, within: Collection[str]) -> tuple[Array, ComplexArray]:
        """For n poses the power (n,) W per A^2 in some of the bodies, and what all of them add to the coil (n,) ohm."""
        forms = [mode.form_of(self._points_of(within)) for mode in self.modes]
        rows = pose_rows(poses)
        power, impedance = np.zeros(len(rows)), np.zeros(len(rows), dtype=np.complex128)
        for start in range(0, len(rows), _CHUNK):
            pick = slice(start, start + _CHUNK)
            given = self._incident(rows[pick])
            power[pick] = self._powers(self._potentials(given), forms).sum(axis=1)
            impedance[pick] = self._reaction(given, given)
        return power, impedance

    def _inside(self) -> ModeInterior:
        if self.inside is None:
            raise BadInput(Fault("thin_skin", "knows no losses inside; prepare the part without it for a loss map"))
        return self.inside

    def current_modes(self, pose: Pose) -> list[tuple[ComplexArray, ComplexArray, ComplexArray]]:
        """J_r, J_phi, J_z (A/m^2 per A, (e, q)) of harmonics 0, 1..M, -1..-M."""
        inside = self._inside()
        out = []
        for k, phi in enumerate(self._potentials(self._incident(pose_rows(pose)))):
            m = k if k <= self.order else self.order - k
            mode = self.modes[abs(m)]
            on_skin = mode.response @ phi[0]
            if m == 0:
                j = axial_state(self.bare, self.state, mode.factor, on_skin).current_density
                out.append((np.zeros_like(j), j, np.zeros_like(j)))
            else:
                out.append(inside.current_density(mode.factor.solve(inside.load(on_skin)), m))
        return out

    def loss_map(self, pose: Pose, azimuths: Array) -> Array:
        """Mean loss (W/m^3 per A^2) at azimuths (k,) in rad from +x and the Gauss points: (k, e, q)."""
        return self._loss(self.current_modes(pose), np.atleast_1d(np.asarray(azimuths, dtype=float)))

    def side_harmonics(self, pose: Pose, weights: Array, highest: int = 3) -> ComplexArray:
        """How unevenly the loss lies round the axis: (k, highest) complex q_n for k sets of weights (k, e, q) over the
        section, so that the weighted loss at azimuth phi goes as 1 + sum over n of Re(q_n e^{in phi})."""
        count = 2 * self.order + highest + 1
        angle = 2.0 * np.pi * np.arange(count) / count
        loss = self._loss(self.current_modes(pose), angle).reshape(count, -1) @ weights.reshape(len(weights), -1).T
        spectrum = np.exp(-1j * np.outer(np.arange(1, highest + 1), angle)) @ loss
        return np.asarray((2.0 * spectrum / loss.sum(axis=0)).T)

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
        """Hot azimuth, section ratio, hottest ratio; with `thin_skin` from the loss in the surface."""
        count = 8 * self.order
        angle = 2.0 * np.pi * np.arange(count) / count
        look = self._surface_losses(pose) if self.inside is None else self._volume_losses(pose)
        mean = [np.sum(p * w) for p, w in map(look, angle)]
        # The m = 1 part of the section mean points to the hot side.
        first = np.sum(mean * np.exp(1j * angle)) / np.sum(mean)
        azimuth = float(np.angle(first)) if abs(first) > 1e-9 else 0.0
        azimuth = math.pi if azimuth < 1e-6 - math.pi else azimuth
        (hot, weight), (cold, _) = look(azimuth), look(azimuth + math.pi)
        point = np.unravel_index(np.argmax(hot + cold), hot.shape)
        return azimuth, float(np.sum(hot * weight) / np.sum(cold * weight)), float(hot[point] / cold[point])

    def _volume_losses(self, pose: Pose) -> Callable[[float], tuple[Array, Array]]:
        """Loss (W/m^3) at the Gauss points at an azimuth, with their weights r dr dz."""
        harmonics, ring = self.current_modes(pose), self.state.reduced.live.interior.ring
        return lambda angle: (self._loss(harmonics, np.array([angle]))[0], ring)

    def _surface_losses(self, pose: Pose) -> Callable[[float], tuple[Array, Array]]:
        """Loss (W/m^2) at the collocation points at an azimuth, with their weights r ds."""
        skin, live = self.bare.skin, self.state.reduced.live
        Zs, _ = surface_impedance(live.interior, self.state.sigma, self.state.reluctivity, self.bare.omega)
        r = skin.collocation[:, 0]
        value, slope = skin.interpolation() / r[:, None], slopes(skin)
        fields = []
        for k, phi in enumerate(self._potentials(self._incident(pose_rows(pose)))):
            m = k if k <= self.order else self.order - k
            mode = self.modes[abs(m)]
            on_skin = mode.response @ phi[0]
            psi = mode.skin_values @ on_skin
            fields.append((m, on_skin, 0.0 * r) if m == 0 else (m, slope @ psi, 1j * m * (value @ psi) / r))

        def look(angle: float) -> tuple[Array, Array]:
            along, around = (sum(f[d] * np.exp(1j * f[0] * angle) for f in fields) for d in (1, 2))
            loss = np.repeat(Zs.real, 2) * (np.abs(along) ** 2 + np.abs(around) ** 2)
            return np.asarray(loss), r * skin.circulation

        return look

    def _impedance_change(self, pose: Pose) -> complex:
        """dZ (ohm) of the coil with its current frozen; of the complex current's conjugate, so that Re dZ is the power."""
        given = self._incident(pose_rows(pose))
        return complex(self._reaction(given, given)[0])

    def mutual_change(self, pose: Pose, loops: Rings, at: Pose = Pose()) -> complex:  # noqa: B008 - frozen
        """Voltage (V) per A of coil current that the part adds in other thin loops in series, standing at pose `at`."""
        rows = pose_rows(at)
        seen = incident(loops, self.bare.skin.collocation, rows, self.order)
        return complex(self._reaction(self._incident(pose_rows(pose)), seen)[0])

    def _reaction(self, given: Incident, seen: Incident) -> ComplexArray:
        """Voltages (p,) that the part's answers to some fields drive in the sources of others (reciprocity, on the skin)."""
        skin, omega = self.bare.skin, self.bare.omega
        tangent, normal = directions(skin.points)
        r, weight = skin.collocation[:, 0], skin.circulation
        value = skin.interpolation() / r[:, None]
        total = np.zeros(len(given.potential), dtype=np.complex128)
        for k, (phi, back) in enumerate(zip(self._potentials(given), self._potentials(seen), strict=True)):
            m = k if k <= self.order else k - self.order
            H, other = np.conj(seen.field[:, k]), np.conj(back)
            on_skin = phi @ self.modes[m].response.T
            inner = on_skin @ (value @ self.modes[m].skin_values).T
            if m == 0:
                along = H[0] * tangent[:, 0] + H[2] * tangent[:, 1]
                total += np.sum((other / r * on_skin - inner * along) * r * weight, axis=1)
            else:
                across = H[0] * normal[:, 0] + H[2] * normal[:, 1]
                total += MU0 * np.sum((inner * across - other * on_skin) * r * weight, axis=1)
        return np.asarray(-2j * np.pi * omega * total)
