"""One shot of a job from its start to its verdict, and the next one on the same part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coilwright.evidence import Finding
from coilwright.heat.stepper import ThermalState
from coilwright.heating.criteria import STARTED, judge
from coilwright.heating.drive import Drive, FixedCurrent
from coilwright.heating.march import March, Steps, march
from coilwright.heating.model import ShotModel
from coilwright.heating.programme import Programme
from coilwright.heating.record import fired_at, readers_of, trace_of
from coilwright.heating.result import EnergyAccount, ShotError, ShotResult, Trace, Verdict
from coilwright.heating.setup import criteria_of, programme_of
from coilwright.heating.tank_source import TankSource
from coilwright.units import ZERO_CELSIUS

METHOD = "finite elements and ring boundary elements for the field, enthalpy SDIRK2 for the heat, coupled at every step"
_WORRYING_BALANCE = 5e-3
# Passing these ends the part; others (scaling, transformation, sensitising) may be the very purpose of the shot.
_GRAVE_LIMITS = ("melting", "softening", "strain", "decomposition", "ignition", "boiling")


def shoot(
    model: ShotModel,
    drive: Drive,
    *,
    state: ThermalState | None = None,
    every: float | None = None,
    watch_after: float = 0.0,
    steps: Steps | None = None,
    report: Callable[[float], None] | None = None,
    enough: Callable[[ThermalState], bool] | None = None,
) -> ShotResult:
    """Run the job's programme from `state` (default: the start temperatures of the job), or until `enough`, and judge it.

    `every` (s) reports the trace at that interval, `watch_after` (s) goes on after switch-off. The result carries no error
    estimate; `steps.heat` adds one from a second, coarser run. Raises NotConverged.
    """
    job, stepper = model.scene.job, model.stepper
    begin = stepper.start(dict(model.start_temperatures)) if state is None else state
    course = march(model.field, stepper, begin, drive, programme_of(job, watch_after), steps, report, enough=enough)
    readers = readers_of(stepper, {p.name: (p.r, p.z) for p in model.scene.section.points})
    tank = drive if isinstance(drive, TankSource) else None
    full = trace_of(course, stepper, readers, tank=tank)
    verdicts = tuple(_with_start(v, course, model) for v in judge(criteria_of(job), full))
    shown = full if every is None else trace_of(course, stepper, readers, every, tank)
    account = course.account
    return ShotResult(
        job.title,
        verdicts,
        shown,
        _energy(course),
        ShotError(None, None, account.balance, _trapezoid(course)),
        METHOD,
        len(course.moments) - 1,
        account.solves,
        stepper.operators.nodes,
        _findings(model, full, course),
        course.state,
        model,
        course,
    )


def rest(model: ShotModel, state: ThermalState, duration: float) -> ThermalState:
    """The part left alone for `duration` (s): what a second shot starts from. The charge keeps what has burnt."""
    stepper = model.stepper
    begin = replace(state.restarted(), time=0.0)
    course = march(model.field, stepper, begin, FixedCurrent(0.0, model.meshed.frequency), Programme((), duration))
    return stepper.next_shot(course.state)


def _with_start(verdict: Verdict, course: March, model: ShotModel) -> Verdict:
    """Start and end of the reaction read with the law's own exponential instead of linearly."""
    if "charge_fired" not in verdict.details:
        return verdict
    wanted = verdict.details["wanted"]
    start = fired_at(course, model.stepper, verdict.body, STARTED)
    done = fired_at(course, model.stepper, verdict.body, float(wanted or 0.0))
    if verdict.details["start_at_s"] is None:
        start = None
    return replace(verdict, details={**verdict.details, "start_at_s": start, "fired_at_s": done})


def _energy(course: March) -> EnergyAccount:
    a = course.account
    lost = a.lost
    return EnergyAccount(
        a.induced,
        a.charge,
        a.stored,
        lost.get("radiation", 0.0),
        lost.get("convection", 0.0),
        lost.get("support", 0.0),
    )


def _trapezoid(course: March) -> float:
    a = course.account
    return a.trapezoid / a.induced - 1.0 if a.induced > 0.0 else 0.0


def _findings(model: ShotModel, trace: Trace, course: March) -> tuple[Finding, ...]:
    out: list[Finding] = []
    for name, body in trace.bodies.items():
        low, high = float(body.minimum.min()), float(body.maximum.max())
        material = model.scene.materials[name]
        out += [replace(f, where=f'body "{name}", {f.where}') for f in material.findings(low, high)]
        for limit in material.limits:
            if high > limit.temperature:
                text = (
                    f"reaches {high - ZERO_CELSIUS:.0f} degC, above its {limit.kind} limit of "
                    f"{limit.temperature - ZERO_CELSIUS:.0f} degC ({limit.text})."
                )
                meant = limit.kind == "melting" and any(
                    a.body == name and (a.reaches or 0.0) > limit.temperature for a in model.scene.job.accept
                )
                grave = limit.kind in _GRAVE_LIMITS and not meant  # a brazing alloy is there to melt
                out.append(Finding("material-limit-passed", "warning" if grave else "note", f'body "{name}"', text))
    if course.account.balance > _WORRYING_BALANCE:
        text = f"the powers miss the supplied power by up to {100 * course.account.balance:.2g} % during the shot."
        out.append(Finding("field-power-balance", "warning", "field", text, "Refine the meshes."))
    out += _limit_findings(course)
    return tuple(out)


def _limit_findings(course: March) -> list[Finding]:
    """One finding per limit of the source that decided, with when it began and the current it left."""
    out = []
    for reason in dict.fromkeys(m.answer.limited_by for m in course.moments if m.answer.limited_by):
        bitten = [m for m in course.moments if m.answer.limited_by == reason]
        least = min(m.answer.current for m in bitten)
        text = f"coil current limited to {least:.4g} A by {reason} from {bitten[0].time:.2f} s"
        text += "." if bitten[-1] is course.moments[-1] else f" to {bitten[-1].time:.2f} s."
        advice = "Take a stronger source, another transformer ratio, or a longer shot."
        out.append(Finding("source-limit", "warning", "source", text, advice))
    return out
