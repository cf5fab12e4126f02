"""One station by itself: its coil with and without its part, and the ring that stands for the part to its neighbours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_inductance import tilted_loop_mutual
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose
from coilwright.field.reduced import Drive
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.heating.model import FieldOfShot
from coilwright.job import Job
from coilwright.section.overlap import check_geometry
from coilwright.section.quad9 import Array
from coilwright.section.scene import Scene, scene
from coilwright.section.sizes import Level
from coilwright.window.circuit import Complex


@dataclass(frozen=True, eq=False)
class Cell:
    """A coil at one place before its part, cold, per ampere rms.

    `loaded` and `empty` (ohm) are the impedances with and without the work, the coil's own leads included; `power`
    (W/A^2) goes into the work. `turns` (n, 3): radius m, height m and share of every turn. `ring` (radius m, height m) is
    the loss-weighted middle of the work: the loop through which its flux is counted when the coil stands askew or when a
    neighbour adds to it. That is exact for a thin ring, in which a net current flows; for a solid part it is a first
    order (a net current still carries most of the loss of a part off the axis of its own field).
    """

    job: Job
    frequency: float
    loaded: complex
    empty: complex
    power: float
    turns: Array
    ring: tuple[float, float]
    solver: Field
    temperatures: Mapping[str, float]
    amperes: float

    @property
    def reflected(self) -> complex:
        """What the work adds to the coil (ohm)."""
        return self.loaded - self.empty

    def flux(self, sideways: float = 0.0, tilt: float = 0.0) -> float:
        """Flux (Wb/A) through the part's ring with the coil moved sideways (m) and tilted (rad) about the ring's centre.

        As a person who moves the coil by hand: the tilt first, then the offset, both in one plane and with their signs
        (they act together, so they must be drawn together).
        """
        radius, height = self.ring
        out = 0.0
        for r, z, share in self.turns:
            up = z - height
            centre = (sideways + up * np.sin(tilt), 0.0, up * np.cos(tilt))
            normal = (np.sin(tilt), 0.0, np.cos(tilt))
            out += share * tilted_loop_mutual(radius, float(r), centre, normal)
        return out

    @cached_property
    def part(self) -> PosePart:
        """The part prepared for any pose of this coil."""
        return PosePart.of(self.solver, self.temperatures, current=self.amperes)

    @property
    def work(self) -> list[str]:
        """Names of the live bodies whose power counts."""
        return [b.name for b in self.solver.model.bodies if b.work]

    @cached_property
    def _in_line(self) -> tuple[Array, Complex]:
        return self.part.answers(Pose(), self.work)

    def askew(self, pose: Pose) -> tuple[float, complex]:
        """Root of the part's power over that in line, and what it adds to the coil (ohm), with the coil in a pose."""
        if pose == Pose(pivot=pose.pivot):
            return 1.0, self.reflected
        (power,), (added,) = self.part.answers(pose, self.work)
        (line,), (as_drawn,) = self._in_line
        z = self.reflected
        return float(np.sqrt(power / line)), complex(
            z.real * added.real / as_drawn.real, z.imag * added.imag / as_drawn.imag
        )


def moved_scene(job: Job, up: float) -> Scene:
    """The job's scene with its coil moved up by `up` (m). Raises BadInput, naming the move, when that makes it collide."""
    drawn = scene(job, checked=False)
    try:
        section = drawn.section.with_coil_moved(up) if up else drawn.section
        check_geometry(section)
    except BadInput as error:
        faults = error.faults if not up else [Fault(f"coil moved by {up * 1e3:g} mm", str(f)) for f in error.faults]
        raise BadInput(faults) from None
    return replace(drawn, section=section)


class Cells:
    """Cells of one job for any number of coil positions on the same meshes; made once, asked often. A saturating part is
    taken at the state it has with `amperes` (rms) in its coil."""

    def __init__(
        self, job: Job, frequency: float, level: Level = "normal", moves: Sequence[float] = (0.0,), amperes: float = 1.0
    ) -> None:
        if job.coil is None:
            raise BadInput(Fault(f"{job.name}: coil", "is missing; stations need a work coil: add a [coil] section"))
        self.job, self.frequency, self.amperes = job, frequency, amperes
        for move in moves:
            moved_scene(job, move)
        self.scene = scene(job, checked=False)
        meshed = mesh_scene(self.scene, frequency, level, tuple(moves))
        model = field_model(meshed)
        self.field = Field.of(model)
        self.saturating = any(
            x.magnetic is not None and x.magnetic.saturating for b in model.bodies for x in b.laws.values()
        )
        self._bare = Field.of(replace(model, bodies=tuple(b for b in model.bodies if not b.work)))
        self._leads = FieldOfShot(meshed).leads
        self._known: dict[tuple[int, float], Cell] = {}
        self._served = (min(moves), max(moves))

    def at(self, up: float = 0.0, frequency: float | None = None) -> Cell:
        """The cell with the coil moved up by `up` (m), at a frequency (Hz) other than the job's if given."""
        f = self.frequency if frequency is None else frequency
        key = (round(up * 1e12), f)
        if key not in self._known:
            if not self._served[0] - 1e-12 <= up <= self._served[1] + 1e-12:
                moved_scene(self.job, up)
            self._known[key] = self._solve(up, f)
        return self._known[key]

    def _solve(self, up: float, f: float) -> Cell:
        loaded = self.field.at(coil=up).with_frequency(f)
        temperatures = self._temperatures(loaded)
        state = loaded.state(temperatures, Drive(self.amperes))
        bare = self._bare.at(coil=up).with_frequency(f)
        empty = bare.state(self._temperatures(bare)).impedance
        work = [r for b in loaded.model.bodies if b.work for r in b.mesh.regions]
        square = self.amperes**2
        power = sum(state.region_powers[r] for r in work) / square
        turns = np.array([(t.r, t.z + up, t.weight) for t in self.scene.section.turns])
        leads = self._leads(f)
        mesh = loaded.live.interior.mesh
        chosen = np.isin(mesh.region, [mesh.regions.index(r) for r in work])
        gauss = mesh.gauss
        loss = (state.loss_density * gauss.r * gauss.weight)[chosen]
        if power <= 0.0:
            raise BadInput(Fault(f"{self.job.name}: body", "no work body takes up power, so there is nothing to vary"))
        ring = tuple(float(np.sum(loss * x[chosen]) / np.sum(loss)) for x in (gauss.r, gauss.z))
        return Cell(
            self.job, f, state.impedance + leads, empty + leads, float(power), turns, (ring[0], ring[1]),
            loaded, temperatures, self.amperes,
        )  # fmt: skip

    def _temperatures(self, solver: Field) -> dict[str, float]:
        return {b.name: self.scene.start_temperature(b.mesh.regions[0]) for b in solver.model.bodies}
