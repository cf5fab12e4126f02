"""The records: keep a job, find like ones, what is known of coils, capacitors and machines, copies of it all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.job import Job, loads
from coilwright.line.machine import amount, read_machine, uncertainty_of
from coilwright.section.scene import scene
from coilwright.steps.field import leads_of, start_temperatures
from coilwright.steps.line import line_record
from coilwright.steps.quick import quick
from coilwright.store.alike import Like, alike
from coilwright.store.opening import Store
from coilwright.store.records import (
    CanRecord,
    CoilReading,
    CoilRecord,
    HandOverReading,
    HandOverRecord,
    JobVersion,
)
from coilwright.tank.inputs import RatingCurve
from coilwright.tank.stock import read_stock

_PROBE: Final = 0.1  # A rms: what an LCR meter sends through a coil, far from saturating anything


@dataclass(frozen=True)
class Kept:
    """A version that was kept; `new` is False when the store had the same text as its newest.

    `lacks` says why it cannot be found by its figures: the job cannot be computed yet.
    """

    version: JobVersion
    new: bool
    lacks: str = ""

    def to_dict(self) -> dict[str, Any]:
        v = self.version
        return {
            "job": v.job, "version": v.number, "new": self.new, "note": v.note, "sha256": v.digest,
            "lacks": self.lacks, "figures": dict(v.figures),
        }  # fmt: skip


def keep(job: Job, store: Store, *, name: str | None = None, note: str = "", same: bool = False) -> Kept:
    """Keep a job file under `name` (its title when none is given) with the figures it is found by. Raises BadInput."""
    name = (name or job.title).strip()
    before = {j.name: j.versions for j in store.jobs()}.get(name, 0)
    origin = "" if job.path is None else str(job.path.resolve())
    found, lacks = figures(job)
    kept = store.keep_job(name, job.text, note=note, origin=origin, same=same, figures=found)
    return Kept(kept, kept.number > before, lacks)


def figures(job: Job) -> tuple[dict[str, Any], str]:
    """What a job is found by (keys in `store.alike`), of the hand calculation, and why that cannot be done (else empty)."""
    found: dict[str, Any] = {"title": job.title, "winding": None if job.coil is None else job.coil.winding}
    found["materials"] = sorted({b.material for b in job.bodies if b.role == "work"})
    if job.drive.frequency is not None:
        found["frequency_Hz"] = job.drive.frequency
    try:
        sheet = quick(job)
    except (BadInput, NotConverged) as error:  # a job that cannot be computed yet is kept all the same
        return found, str(error).splitlines()[0]
    masses = [b.value("mass_kg") for b in sheet.bodies]
    found["mass_kg"] = math.fsum(masses)
    heaviest = sheet.bodies[masses.index(max(masses))]
    lines = {x.key: x.value for x in heaviest.lines}
    found["depths"] = lines.get("thickness_over_depth_hot")
    needed = [x.value for b in sheet.bodies for x in b.lines if x.key == "power_needed_W"]
    found["power_W"] = math.fsum(needed) if needed else None
    told = {k: v for k, v in found.items() if v is not None and (not isinstance(v, float) or math.isfinite(v))}
    return told, ""


def find(store: Store, job: Job | None = None, wanted: Mapping[str, Any] | None = None, words: str = "") -> list[Like]:
    """Kept jobs like a job, like figures, like words of a title, or all of these; the likest first. Raises BadInput."""
    asked = {} if job is None else {k: v for k, v in figures(job)[0].items() if k != "title"}
    found = alike(store.newest_versions(), {**asked, **(wanted or {})}, words)
    return found if job is None else [f for f in found if f.version.text != job.text]


def designed(job: Job, frequency: float, state: str) -> tuple[float, float]:
    """Inductance (H) and resistance (ohm) of a job's coil with its leads at `frequency` Hz, empty or with cold parts."""
    drawn = scene(job)
    if job.coil is None:
        raise BadInput(Fault(f"{job.name}: coil", "is missing; a coil as built needs the job it was designed in"))
    solver = Field.of(field_model(mesh_scene(drawn, frequency, "normal")))
    result = solver.solve(_PROBE, start_temperatures(drawn, solver.model))
    coil = result.unloaded if state == "empty" else result.loaded
    leads = leads_of(drawn, frequency)
    if coil is None:
        raise BadInput(Fault(f"{job.name}: coil", "carries no current in this job; there is nothing to compare with"))
    return coil.inductance + leads.inductance, coil.resistance + leads.resistance


def measured_coil(store: Store, name: str, reading: CoilReading, job: Job | None = None,
                  kept: JobVersion | None = None) -> CoilRecord:  # fmt: skip
    """Add a reading to a coil as built, beside what its design says at that frequency; a new coil is made first.

    `job` is the design (and `kept` its version in the store); without it that of the coil's record is taken when it has
    one. Raises BadInput, NotConverged.
    """
    there = {c.name: c for c in store.coils()}.get(name.strip())
    if job is None and there is not None and there.job is not None:
        job = loads(store.job(there.job, there.version).text, there.job)
    if job is not None:
        inductance, resistance = designed(job, reading.frequency, reading.state)
        reading = replace(reading, designed_inductance=inductance, designed_resistance=resistance)
    if there is not None:
        return store.measure_coil(name, reading)
    winding = {} if job is None else job.to_dict().get("coil", {})
    of, version = (None, None) if kept is None else (kept.job, kept.number)
    return store.add_coil(CoilRecord(name, of, version, winding, readings=(reading,)))


def shelve(store: Store, stock: Path) -> tuple[CanRecord, ...]:
    """Put the capacitors of a stock file on the shelf; those there already are brought up to date. Raises BadInput."""
    out = []
    for item in read_stock(stock):
        can = item.can
        ratings = _ratings({"voltage": can.voltage, "current": can.current, "reactive_power": can.reactive_power})
        record = CanRecord(
            can.name, item.count, can.capacitance, can.tolerance, can.loss_tangent, item.price, ratings,
            can.temperature_coefficient,
        )  # fmt: skip
        out.append(store.put_can(record))
    return tuple(out)


def _ratings(curves: Mapping[str, RatingCurve | None]) -> dict[str, tuple[float, ...]]:
    points = next((c.frequency for c in curves.values() if c is not None and len(c.value) > 1), ())
    return {
        **({"frequency": points} if points else {}),
        **{k: c.value for k, c in curves.items() if c is not None},
    }


def hand_over(store: Store, machine: str, job: Job, *, model: bool = False) -> HandOverRecord:
    """Keep the section [machine] of a job as a hand-over of `machine`; with `model` beside what the model says (seconds).

    It refers to the version of the job in the store that has this text, if there is one. Raises BadInput.
    """
    record = read_machine(job)
    if not record.reading:
        what = "must hold at least one [[machine.reading]]: what the machine read when it was right"
        raise BadInput(Fault(f"{job.name}: machine", what))
    told, readings = _told(job) if model else {}, []
    for n, r in enumerate(record.reading, 1):
        where = f"{job.name}: machine.reading {n}"
        value = amount(r.value, r.what, where)
        sigma = uncertainty_of(r, value, where)
        cold = (r.condition, r.state) == ("cold", "loaded")
        predicted = told.get((r.what, r.station or 0)) if cold else None
        readings.append(HandOverReading(r.what, r.station or 0, value, sigma, r.condition, r.state, predicted))
    version = next((v for v in store.newest_versions() if v.text == job.text), None)
    of, number = (None, None) if version is None else (version.job, version.number)
    return store.add_hand_over(HandOverRecord(machine, job.to_dict()["machine"], tuple(readings), of, number))


def _told(job: Job) -> dict[tuple[str, int], float]:
    """What the model says of readings of a hand-over; nothing when the job does not describe the machine."""
    try:
        rows = line_record(job).rows
    except (BadInput, NotConverged):
        return {}
    return {(r.what, r.station): r.predicted for r in rows if r.predicted is not None and r.against == "model"}
