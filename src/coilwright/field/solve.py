"""Solve for the field of a model, and keep what can be kept for the next position, frequency or material state."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.field.coil_system import CoilSystem, coil_system
from coilwright.field.inputs import FieldModel
from coilwright.field.laws import Temperatures, is_saturating, reluctivity_at, resistivity_at, temperatures_at_gauss
from coilwright.field.live import Live, live_of
from coilwright.field.readings import flux_density_at
from coilwright.field.reduced import Drive, PairBlocks, Reduced, reduce_exterior
from coilwright.field.result import CoilReading, Error, FieldResult
from coilwright.field.saturation import solve_saturating
from coilwright.field.state import FieldState

# A power or field smaller than this share of the largest is judged against that share.
_NEGLIGIBLE = 1e-3
# A free check worse than this is worth a word in the result.
_WORRYING_MISMATCH = 5e-3


@dataclass(eq=False)
class _Kept:
    """Parts of a solution that outlive a change of position or frequency."""

    live: Live
    body_pairs: PairBlocks = field(default_factory=dict)
    turn_pairs: PairBlocks = field(default_factory=dict)
    coils: dict[float, CoilSystem] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Field:
    """A model made ready for many questions.

    `shifts` (m, by body name) and `coil_shift` (m) move bodies and coil up from where the model draws them. Overlap is
    not looked for here: the section is checked when it is drawn.
    """

    model: FieldModel
    kept: _Kept
    shifts: Mapping[str, float] = field(default_factory=dict)
    coil_shift: float = 0.0

    @staticmethod
    def of(model: FieldModel) -> Field:
        return Field(model, _Kept(live_of(model.bodies)))

    def at(self, shifts: Mapping[str, float] | None = None, coil: float | None = None) -> Field:
        """The same bodies shifted up along the axis by `shifts` (m, by name; others stay) and the coil by `coil` (m).

        Only integrals between things that moved against each other are computed anew.
        """
        known = {b.name for b in self.model.bodies}
        faults = [Fault("shifts", f"must name live bodies; {n!r} is not one") for n in shifts or {} if n not in known]
        if faults:
            raise BadInput(faults)
        moved = {**self.shifts, **(shifts or {})}
        return replace(self, shifts=moved, coil_shift=self.coil_shift if coil is None else coil)

    def with_frequency(self, frequency: float) -> Field:
        """The same things at another frequency (Hz); geometry is kept, condensations of the coil are made anew."""
        return replace(self, model=replace(self.model, frequency=frequency))

    def without_work(self) -> Field:
        """The same without the bodies to be heated, as drawn; what is known of the coil is kept."""
        rest = tuple(b for b in self.model.bodies if not b.work)
        kept = _Kept(live_of(rest), turn_pairs=self.kept.turn_pairs, coils=self.kept.coils)
        return Field(replace(self.model, bodies=rest), kept)

    @property
    def live(self) -> Live:
        return self.kept.live

    @cached_property
    def coil(self) -> CoilSystem | None:
        """The coil by itself at this frequency."""
        model = self.model
        if model.coil is None:
            return None
        if model.frequency not in self.kept.coils:
            self.kept.coils[model.frequency] = coil_system(model.coil, model.angular_frequency, self.kept.turn_pairs)
        return self.kept.coils[model.frequency]

    @cached_property
    def reduced(self) -> Reduced:
        """Coil and exterior on the skins of the live bodies, at this position and frequency."""
        ups = np.array([self.shifts.get(b.name, 0.0) for b in self.model.bodies])
        omega = self.model.angular_frequency
        return reduce_exterior(self.live, self.coil, omega, ups, self.coil_shift, self.kept.body_pairs)

    def drive(self, coil_current: complex = 1.0) -> Drive:
        """The model's own drive at a coil current (A rms)."""
        through = {b.name: b.net_current for b in self.model.bodies if b.net_current is not None}
        return Drive(coil_current if self.model.coil is not None else 0.0, self.model.background, through)

    def state(
        self,
        temperatures: Temperatures = None,
        drive: Drive | None = None,
        *,
        start: FieldState | None = None,
        tolerance: float = 1e-6,
    ) -> FieldState:
        """Field of one material state. `temperatures` in K: one number, (e, q) over the live mesh, or either by body.

        `drive` defaults to 1 A of coil current and the model's pin currents and background. With a saturating law the
        result holds for that drive only; `start` is then the last state of this mesh (warm start) and `tolerance` the
        share of A of which its steps leave a tenth. Raises NotConverged.
        """
        temperature = temperatures_at_gauss(self.live, temperatures)
        drive = drive or self.drive()
        rho = resistivity_at(self.live, temperature)
        if is_saturating(self.live):
            return solve_saturating(self.reduced, rho, temperature, drive, start=start, tolerance=tolerance)
        return self.reduced.solve(rho, reluctivity_at(self.live, temperature)[0], drive)

    def solve(
        self,
        coil_current: complex = 1.0,
        temperatures: Temperatures = None,
        *,
        coarse: Field | None = None,
        start: FieldState | None = None,
        tolerance: float = 1e-6,
    ) -> FieldResult:
        """Full result at a coil current (A rms); `coarse`: the same model on coarser meshes, for the error estimate.

        `start` and `tolerance` are for saturating bodies, see `state`.
        """
        state = self.state(temperatures, self.drive(coil_current), start=start, tolerance=tolerance)
        result = _result_of(self, state)
        if coarse is None:
            return result
        rough = coarse.at(self.shifts, self.coil_shift).solve(coil_current, _by_body(temperatures))
        return replace(result, error=_difference(result, rough))


def solve_field(
    model: FieldModel,
    coil_current: complex = 1.0,
    temperatures: Temperatures = None,
    *,
    coarse: FieldModel | None = None,
) -> FieldResult:
    """Field of a model at a coil current (A rms) and temperatures (K, default 20 degC; see `Field.state`).

    With `coarse`, the same model on meshes about half as fine, the result carries an error estimate: the difference
    between the two. Raises NotConverged when a saturating body does not settle.
    """
    return Field.of(model).solve(coil_current, temperatures, coarse=None if coarse is None else Field.of(coarse))


def _by_body(temperatures: Temperatures) -> Temperatures:
    """Temperatures that fit any mesh: a single number stays, fields at Gauss points become their means."""
    if isinstance(temperatures, Mapping):
        return {name: float(np.mean(t)) for name, t in temperatures.items()}
    return None if temperatures is None else float(np.mean(temperatures))


def _result_of(solver: Field, state: FieldState) -> FieldResult:
    model, omega = solver.model, solver.model.angular_frequency
    current = state.drive.coil_current
    loaded = unloaded = None
    coupling = None
    if solver.coil is not None and current and not state.drive.background and not state.drive.net_currents:
        empty = solver.coil.voltage(solver.coil.alone[:, 0], 1.0)
        loaded = CoilReading(state.impedance.imag / omega, state.impedance.real, model.frequency)
        unloaded = CoilReading(empty.imag / omega, empty.real, model.frequency)
        coupling = _coupling(state.impedance - empty, empty)
    powers = state.region_powers
    useful = sum(powers[r] for b in model.bodies if b.work for r in b.mesh.regions)
    total = sum(powers.values()) + float(np.sum(state.turn_powers))
    names = list(model.points)
    at = np.array([model.points[n] for n in names]).reshape(-1, 2)
    fields = flux_density_at(state, at) if names else at.astype(complex)
    supplied = state.supplied_power
    balanced = supplied > 0.0 and not state.drive.background
    result = FieldResult(
        model.frequency,
        current,
        state.coil_voltage,
        loaded,
        unloaded,
        coupling,
        powers,
        state.turn_powers,
        useful / total if total > 0.0 else math.nan,
        dict(zip(names, fields, strict=True)),
        abs(total - supplied) / supplied if balanced else math.nan,
        _current_mismatch(state),
        _mesh_size(solver),
        state,
    )
    return replace(result, findings=_findings(result))


def _coupling(change: complex, empty: complex) -> float | None:
    if change.imag >= 0.0:
        return None
    return math.sqrt(abs(change) ** 2 / (-change.imag * empty.imag))


def _current_mismatch(state: FieldState) -> float:
    """Boundary against volume current of every turn and of every body off the axis (on it, the path is not closed)."""
    reduced = state.reduced
    live, coil = reduced.live, reduced.coil
    pairs: list[tuple[complex, complex]] = []
    if coil is not None:
        for turn, (h, u) in zip(coil.turns, coil.split(state.coil_unknowns), strict=True):
            pairs.append((complex(-turn.interior.skin.circulation @ h), turn.volume_current(h, u)))
    density = state.current_density * live.interior.area
    around = -reduced.skin.circulation * state.h
    for b, body in enumerate(live.bodies):
        if not body.mesh.on_axis.any():
            boundary = np.sum(around[2 * live.start[b] : 2 * live.start[b + 1]])
            pairs.append((complex(boundary), complex(np.sum(density[live.elements_of(b)]))))
    scale = abs(state.drive.coil_current)
    return max((abs(a - v) / max(abs(v), scale, 1e-300) for a, v in pairs), default=0.0)


def _mesh_size(solver: Field) -> dict[str, int]:
    live, coil = solver.live, solver.coil
    turns = [] if coil is None else list({id(t): t for t in coil.turns}.values())
    return {
        "body_elements": len(live.interior.mesh.quads),
        "body_nodes": len(live.interior.mesh.points),
        "body_boundary_unknowns": live.interior.skin.n_field,
        "coil_elements": sum(len(t.mesh.quads) for t in turns),
        "coil_boundary_unknowns": 0 if coil is None else coil.n_field,
    }


def _findings(result: FieldResult) -> tuple[Finding, ...]:
    out = []
    if result.power_mismatch > _WORRYING_MISMATCH:
        text = f"the powers of bodies and turns miss the supplied power by {100.0 * result.power_mismatch:.2g} %."
        out.append(Finding("field-power-balance", "warning", "field", text, "Refine the meshes."))
    if result.current_mismatch > 4.0 * _WORRYING_MISMATCH:
        text = f"boundary and volume current differ by {100.0 * result.current_mismatch:.2g} %."
        out.append(Finding("field-current-balance", "warning", "field", text, "Refine the meshes at the skins."))
    return tuple(out)


def _difference(fine: FieldResult, rough: FieldResult) -> Error:
    # Two levels may agree by chance, or share an error; the power balance of the finer one is a floor they cannot hide.
    floor = fine.power_mismatch if math.isfinite(fine.power_mismatch) else 0.0

    def relative(a: float, b: float, least: float = 0.0, scale: float = 0.0) -> float:
        size = max(abs(a), scale)
        return max(abs(a - b) / size, least) if size else math.nan

    resistance = inductance = math.nan
    if fine.loaded is not None and rough.loaded is not None:
        resistance = relative(fine.loaded.resistance, rough.loaded.resistance, floor)
        inductance = relative(fine.loaded.inductance, rough.loaded.inductance)
    # What is next to nothing (glass beside the part, the core behind its skin) is judged against what matters.
    power_scale = _NEGLIGIBLE * sum(fine.body_powers.values())
    flux_scale = _NEGLIGIBLE * max((float(np.linalg.norm(b)) for b in fine.points.values()), default=0.0)
    power = {n: relative(p, rough.body_powers[n], floor, power_scale) for n, p in fine.body_powers.items()}
    flux = {
        n: float(np.linalg.norm(b - rough.points[n]) / max(float(np.linalg.norm(b)), flux_scale, 1e-300))
        for n, b in fine.points.items()
    }
    return Error(resistance, inductance, power, flux)
