"""From the job file to the plant: the fields of one station in its states, its circuit, its shots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.field.laws import is_saturating, reluctivity_at, resistivity_at, temperatures_at_gauss
from coilwright.field.pose import PosePart
from coilwright.field.saturation import solve_saturating
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.heating.drive import FixedCurrent
from coilwright.heating.model import coil_leads
from coilwright.heating.setup import drive_of
from coilwright.heating.tank_source import has_source, tank_of
from coilwright.job import Job
from coilwright.line.askew import askew_curves
from coilwright.line.loops import Loops, ring_of
from coilwright.line.plant import Array, Line, Plant, read_line
from coilwright.line.shots import Rough, shot_curve
from coilwright.line.sourced import running_frequency, sourced_readings
from coilwright.section.scene import Scene, scene
from coilwright.tank.operating import tank_q

_CLOSE = 1e-4  # of A, a tenth of which is left in what saturates: 2e-5 of every reading at most (own runs on the hardened pin)
_MOST, _STILL = 12, 1e-3  # fields until the source has settled on what saturates, and the share by which it may still move


def build_plant(
    job: Job, spread: float = 0.04, measured_q: float | None = None, rough: Rough | None = None
) -> Plant:
    """Solve what the causes need: about a second of fields and a few seconds of shots.

    `spread`: standard deviation of ln power from piece to piece. `measured_q`: loaded Q of the whole machine at hand-over;
    with it, or with a [tank], the resistance that is not in the coils is known, else it is taken as none. `rough`: the rough
    shot of this job, where there is one already.
    Raises BadInput when the job has no coil, no on-time or no part that takes up power.
    """
    if job.coil is None:
        raise BadInput(
            Fault(f"{job.name}: coil", "is missing; causes are looked for at a work coil: add a [coil] section")
        )
    line = read_line(job)
    drawn = scene(job)
    on_time = job.drive.shot_time
    if on_time is None:
        raise BadInput(Fault(f"{job.name}: drive.on_time", 'is missing; write e.g. on_time = "8 s"'))
    frequency, amperes = _running(job, drawn)
    solver, empty_solver, backs = _fields(job, drawn, frequency)
    leads = coil_leads(drawn, frequency)
    away = _away(job)
    loaded = _set_back(solver, away * backs, amperes)
    bare = [_at(empty_solver.at(coil=away * b), amperes).impedance + leads for b in backs]
    z = np.array([s.impedance for s in loaded]) + leads - np.array(bare)
    power = np.array([_work_power(job, s) for s in loaded])
    k0 = int(np.argmin(np.abs(backs)))
    if power[k0] <= 0.0:
        raise BadInput(Fault(f"{job.name}: body", "no work body takes up power, so there is nothing to diagnose"))
    ln_rho, rho_z, rho_power = _resistivities(job, frequency, amperes, is_saturating(solver.live))
    cut_z, cut_power = _cut(job, frequency, amperes)
    part = PosePart.of(solver, current=amperes, start=loaded[k0])
    ring = ring_of(part.state, _works(job))
    loops = Loops(drawn, ring, bare[k0], z[k0], frequency, away)
    askew = askew_curves(part, _works(job), drawn.section, ring, lambda x, t: loops.flux(0.0, x, t))
    curve, current = shot_curve(job, drawn, complex(bare[k0] + z[k0]), complex(z[k0]), frequency, rough)
    reflected0 = complex(z[k0])
    hot = complex(bare[k0] + curve.warmed(np.zeros(1))[0] * z[k0])
    sourced = sourced_readings(job, line.stations, complex(bare[k0] + z[k0]), complex(bare[k0]), hot, frequency)
    return Plant(
        line, frequency, current, on_time, spread, backs, z, power, complex(bare[k0]), np.array(bare),
        _rest(job, line, complex(bare[k0] + z[k0]), frequency, measured_q), ln_rho, rho_z * reflected0, rho_power,
        cut_power, cut_z, loops.shorted(), loops.pick_up(backs), *askew,
        _slopes(solver, empty_solver, loaded[k0], amperes), curve, _cans(job), any(b.charge for b in job.bodies),
        any("glass" in b.material for b in job.bodies if b.role != "work"), sourced=sourced,
    )  # fmt: skip


def _running(job: Job, drawn: Scene) -> tuple[float, float]:
    """Frequency (Hz) and coil current (A) on the cold part: as [drive] says, or where the source settles.

    What saturates decides both and hangs on them, so it is asked again until both stand still.
    """
    drive = drive_of(job)
    frequency, amperes = drive.frequency, 1.0
    if isinstance(drive, FixedCurrent):
        return frequency, drive.respond(1.0, 1.0 + 0j, frequency).current
    solver = Field.of(field_model(mesh_scene(drawn, frequency, "coarse")))
    state: FieldState | None = None
    for _ in range(_MOST):
        state = _at(solver, amperes, state)
        impedance, asked = complex(state.impedance) + coil_leads(drawn, frequency), frequency
        if has_source(job):
            settled = running_frequency(job, impedance, frequency)
            solver = solver if settled == frequency else solver.with_frequency(settled)
            frequency = settled
        current = drive.respond(1.0, impedance, frequency).current
        if current <= 0.0:
            return frequency, amperes  # the shots say why the source stands still
        before, amperes = amperes, current
        still = abs(before / current - 1.0) < _STILL and abs(asked / frequency - 1.0) < _STILL
        if still or not is_saturating(solver.live):
            return frequency, amperes
    raise NotConverged(
        f"the source does not settle on the cold part within {_MOST} fields: {before:.6g} and {current:.6g} A"
    )


def _at(solver: Field, amperes: float, start: FieldState | None = None) -> FieldState:
    """The cold field at a coil current: what saturates shows another part at another current, and begins at `start`."""
    return solver.state(drive=solver.drive(amperes), start=start, tolerance=_CLOSE)


def _set_back(solver: Field, moves: Array, amperes: float) -> list[FieldState]:
    """The cold fields with the coil moved (m), each begun at the one before."""
    out: list[FieldState] = []
    for move in moves:
        out.append(_at(solver.at(coil=float(move)), amperes, out[-1] if out else None))
    return out


def _work_power(job: Job, state: FieldState) -> float:
    """Per A^2 of coil current."""
    return sum(state.region_powers.get(name, 0.0) for name in _works(job)) / abs(state.drive.coil_current) ** 2


def _works(job: Job) -> list[str]:
    return [b.name for b in job.bodies if b.role == "work"]


def _away(job: Job) -> float:
    """+1 when the coil goes away from the work by going up, -1 by going down."""
    section = scene(job, checked=False).section
    coil = float(np.mean([t.z for t in section.turns]))
    work = [b.centre for b in job.bodies if b.role == "work"] or [0.0]
    return 1.0 if coil >= float(np.mean(work)) else -1.0


def _fields(job: Job, drawn: Scene, frequency: float) -> tuple[Field, Field, Array]:
    """Solver with and without the work, and the setbacks (m) that fit: forward only as far as nothing is touched."""
    mean = 2.0 * float(np.mean([t.r for t in drawn.section.turns]))
    reach = max(4e-3, 0.15 * mean)
    away = _away(job)
    for forward in (0.2 * reach, 0.1 * reach, 0.0):
        backs = np.unique(np.concatenate([np.linspace(-forward, 0.0, 3), np.linspace(0.0, reach, 9)]))
        try:
            _check_room(drawn, [away * b for b in (backs[0], backs[-1])])
            meshed = mesh_scene(drawn, frequency, "coarse", tuple(float(away * b) for b in backs))
        except BadInput:
            if forward == 0.0:
                raise
            continue
        solver = Field.of(field_model(meshed))
        return solver, solver.without_work(), backs
    raise NotConverged("no setback of the coil fits the section")


def _check_room(drawn: Scene, moves: Sequence[float]) -> None:
    from coilwright.section.overlap import check_geometry

    for move in moves:
        if move:
            check_geometry(drawn.section.with_coil_moved(move))


def _resistivities(
    job: Job, frequency: float, amperes: float, saturating: bool
) -> tuple[Array, NDArray[np.complex128], Array]:
    """Part of other resistivity: ln ratios, what it adds to the coil and its power, relative to the healthy part.

    A mesh must be fine enough for the least resistivity on it. Two serve, so that coil and exterior are condensed twice instead
    of six times; a part that saturates is dear on a fine mesh, so each has its own.
    """
    ln = np.array([-3.0, -1.5, -0.7, 0.0, 0.7, 1.5])
    got = [
        _on_one_mesh(job, frequency, amperes, x) for x in (np.split(ln, len(ln)) if saturating else (ln[:2], ln[2:]))
    ]
    z, p = (np.concatenate([g[k] for g in got]) for k in (0, 1))
    return ln, z / z[3], p / p[3]


def _on_one_mesh(job: Job, frequency: float, amperes: float, ln: Array) -> tuple[NDArray[np.complex128], Array]:
    """What the work adds to the coil (ohm) and its power per A^2, for ln of its resistivity over the healthy one, rising."""
    least = scene(_with_resistivity(job, math.exp(ln[0])), checked=False)
    solver = Field.of(field_model(mesh_scene(least, frequency, "coarse")))
    states = [_state_of(solver, amperes, math.exp(x - ln[0])) for x in ln]
    z = np.array([s.impedance for s in states]) - _at(solver.without_work(), amperes).impedance
    return z, np.array([_work_power(job, s) for s in states])


def _state_of(solver: Field, amperes: float, factor: float) -> FieldState:
    """The cold field with the resistivity of the work multiplied by `factor`."""
    live = solver.live
    cold = temperatures_at_gauss(live, None)
    rho = resistivity_at(live, cold)
    for k, body in enumerate(live.bodies):
        if body.work:
            rho[live.elements_of(k)] *= factor
    if is_saturating(live):
        return solve_saturating(solver.reduced, rho, cold, solver.drive(amperes), tolerance=_CLOSE)
    return solver.reduced.solve(rho, reluctivity_at(live, cold)[0], solver.drive(amperes))


def _with_resistivity(job: Job, factor: float) -> Job:
    drawn = scene(job, checked=False)
    changes = {}
    for b in job.bodies:
        rho = drawn.materials[b.name].resistivity
        if b.role == "work" and drawn.materials[b.name].conducting and rho is not None:
            cold = float(rho(np.array([drawn.start_temperature(b.name)]))[0])
            changes[f"body.{b.name}.overrides.resistivity"] = f"{cold * factor:.6e} ohm m"
    return job.with_values(changes)


def _cut(job: Job, frequency: float, amperes: float) -> tuple[complex, float]:
    """What a ring cut open adds to the coil (ohm) and its power per A^2; what cannot be cut loses all of both."""
    try:
        cut = job.with_values({f"body.{b.name}.slit": True for b in job.bodies if b.role == "work"})
        solver = Field.of(field_model(mesh_scene(scene(cut, checked=False), frequency, "coarse")))
    except BadInput:
        return 0j, 0.0
    got = _at(solver, amperes)
    return complex(got.impedance - _at(solver.without_work(), amperes).impedance), _work_power(job, got)


def _slopes(solver: Field, bare: Field, loaded: FieldState, amperes: float) -> tuple[float, float]:
    """Exponents of frequency of the coil's own resistance and of the part's power per A^2; `loaded` is the healthy state."""
    f, up = solver.model.frequency, 1.05
    r = [_at(b, amperes).impedance.real for b in (bare, bare.with_frequency(f * up))]
    whole = loaded.impedance.real, _at(solver.with_frequency(f * up), amperes, loaded).impedance.real
    p = whole[0] - r[0], whole[1] - r[1]
    return math.log(r[1] / r[0]) / math.log(up), math.log(p[1] / p[0]) / math.log(up)


def _rest(job: Job, line: Line, coil: complex, frequency: float, measured_q: float | None) -> float:
    """Resistance (ohm) of the ringing circuit that is not in the coils: from the measured Q, else from the tank."""
    whole = coil * line.stations if line.feed != "parallel" else coil / line.stations
    q = measured_q
    if q is None and "tank" in job.later:
        q = tank_q(tank_of(job), coil, frequency)
    if q is None:
        return 0.0
    return max(whole.imag / q - whole.real, 0.0)


def _cans(job: Job) -> int:
    raw: Any = job.later.get("capacitor", ())
    cans = sum(int(c.get("parallel", 1)) for c in raw if isinstance(c, dict)) if isinstance(raw, list | tuple) else 0
    return cans or 6  # six cans when the job does not say
