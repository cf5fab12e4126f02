"""From the job file to what the coupled shot needs: drive, programme, criteria."""

from __future__ import annotations

from coilwright.errors import BadInput, Fault
from coilwright.heating.criteria import Criterion
from coilwright.heating.drive import Drive, FixedCurrent, FixedPower, FixedVoltage
from coilwright.heating.programme import Programme, Stage
from coilwright.heating.tank_source import has_source, tank_source
from coilwright.job import Job


def drive_of(job: Job) -> Drive:
    """The job's drive: its source behind its tank when it has one, else what [drive] sets."""
    if has_source(job):
        return tank_source(job)
    return fixed_drive(job)


def fixed_drive(job: Job) -> Drive:
    """The drive that [drive] itself sets. Raises BadInput when it sets none or no frequency."""
    d = job.drive
    if d.frequency is None:
        raise BadInput(Fault(f"{job.name}: drive.frequency", 'is missing; write e.g. frequency = "100 kHz"'))
    if d.coil_current is not None:
        return FixedCurrent(d.coil_current, d.frequency)
    if d.coil_voltage is not None:
        return FixedVoltage(d.coil_voltage, d.frequency)
    if d.coil_power is not None:
        return FixedPower(d.coil_power, d.frequency)
    if d.through is not None:
        return FixedCurrent(d.through.current, d.frequency)
    where = f"{job.name}: drive"
    raise BadInput(
        Fault(
            where, 'sets no strength; write one of coil_current = "200 A", coil_voltage = "30 V", coil_power = "1.5 kW"'
        )
    )


def programme_of(job: Job, watch_after: float = 0.0) -> Programme:
    """Stages of [drive]: its steps, or full level for on_time; watched `watch_after` (s) longer."""
    d = job.drive
    end = d.shot_time
    if end is None:
        raise BadInput(Fault(f"{job.name}: drive.on_time", 'is missing; write e.g. on_time = "8 s"'))
    if d.step:
        stages = tuple(Stage(s.start, s.end, s.level) for s in d.step)
    else:
        stages = (Stage(0.0, end, 1.0),)
    return Programme(stages, end + watch_after)


def criteria_of(job: Job) -> tuple[Criterion, ...]:
    """The acceptance of the job, each with the safe reading place when none is given."""
    out = []
    for a in job.accept:
        limit = {"reaches": a.reaches, "stays_below": a.stays_below, "charge_fired": a.charge_fired, "holds": a.above}
        value = limit[a.kind]
        if value is not None:
            out.append(Criterion(a.body, a.kind, value, a.where, a.within, a.for_at_least))
    return tuple(out)
