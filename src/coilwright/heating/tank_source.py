"""A source behind a tank as the drive of a shot: at every field solve it answers with its own current and frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coilwright.errors import BadInput, Fault
from coilwright.heating.drive import Answer
from coilwright.job import Job
from coilwright.tank.drive import DriveResponse, TankDrive, drive_for_heating, limit_text, unit_flows
from coilwright.tank.inputs import TankInput
from coilwright.tank.schema import from_job_tables


@dataclass(frozen=True)
class TankSource:
    """The drive of a job with [tank], [[capacitor]] and [source]. `frequency` (Hz) is where the first field is solved."""

    tank: TankDrive
    frequency: float

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        """What the source does with a coil of this impedance (ohm, its own leads included)."""
        if level <= 0.0:
            return Answer(0.0, frequency)
        answer = self.response(level, impedance, frequency)
        limited = " and ".join(limit_text(code, self.tank.source) for code in answer.limits)
        if not answer.running:
            return Answer(0.0, frequency, limited)
        return Answer(answer.coil_current, answer.frequency, limited)

    def response(self, level: float, impedance: complex, frequency: float) -> DriveResponse:
        """The full electrical answer."""
        inductance = impedance.imag / (2.0 * math.pi * frequency)
        return self.tank.respond(impedance.real, inductance, frequency, level)

    def flows(
        self, impedance: complex, frequency: float, coil_current: float
    ) -> tuple[float, float, float, float, float, float, tuple[float, ...]]:
        """Source voltage, current, power, phase, bank voltage and current, losses: all that belongs to a coil current."""
        drive = self.tank
        omega = 2.0 * math.pi * frequency
        voltage, current, flows = unit_flows(drive.chain, drive.source, impedance, omega)
        a = coil_current / abs(flows[-1].current)
        bank = flows[drive.bank_index]
        power = voltage * current.conjugate()
        losses = tuple(a * a * f.power.real for f in flows[:-1])
        return (
            a * abs(voltage), a * abs(current), a * a * power.real, math.atan2(power.imag, power.real),
            a * abs(bank.voltage), a * abs(bank.current), losses,
        )  # fmt: skip


def has_source(job: Job) -> bool:
    """Whether the job lets a source decide."""
    return "source" in job.later


def tank_of(job: Job) -> TankInput:
    """The tank of the job with its source, if any. Raises BadInput with one sentence per fault."""
    if "tank" not in job.later:
        what = "is missing; a source or a capacitor needs a [tank] to stand in (see the guide page on the job file)"
        raise BadInput(Fault(f"{job.name}: tank", what))
    return from_job_tables(job.later, job.name)


def tank_source(job: Job) -> TankSource:
    """The source of the job ready to drive a shot."""
    tank = tank_of(job)
    drive = drive_for_heating(tank)
    source = drive.source
    start = source.frequency or job.drive.frequency
    if start is None:
        low, high = source.limits.window
        start = math.sqrt(low * high)
    return TankSource(drive, start)
