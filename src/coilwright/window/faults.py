"""Faults of a fixture that the tool can compute: what is wrong, as a change of stations, source or capacitors."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from coilwright.errors import BadInput
from coilwright.job import Job
from coilwright.job.schema_coil import RoundTube, RoundWire
from coilwright.window.stations import FixtureModel, Station

Kind = Literal["coil", "part", "common"]


@dataclass(frozen=True)
class StationFault:
    """`stations` counts from 1; `kind`: at one coil, at one part, or of everything. `gap` (m): what a setting block or a
    rule would find changed. `setting` of the source and `capacitance` of the bank are ratios to healthy."""

    name: str
    kind: Kind
    station: int
    stations: Mapping[int, Station] = field(default_factory=dict)
    setting: float = 1.0
    capacitance: float = 1.0
    gap: float = 0.0


def usual_faults(model: FixtureModel, station: int) -> Iterator[StationFault]:
    """The faults a fixture usually has, one coil's at `station` (from 1). Those that cannot be built are left out."""
    for make in (_moved, _part, _shorted, _electrical):
        for fault in make(model, station):
            try:
                model.network_of(model.states(fault.stations))
            except BadInput:  # e.g. a coil pushed forward into the glass: nobody can have that fault
                continue
            yield fault


def away(model: FixtureModel) -> float:
    """Direction (+1 up, -1 down) in which a coil moves away from its part."""
    cell = model.cells.at()
    return 1.0 if float(np.mean(cell.turns[:, 1])) >= cell.ring[1] else -1.0


def _moved(model: FixtureModel, k: int) -> Iterator[StationFault]:
    back = away(model)
    for mm in (0.5, 1.0, 2.0):
        yield StationFault(f"coil back {mm:g} mm", "coil", k, {k: Station(up=back * mm * 1e-3)}, gap=mm * 1e-3)
    yield StationFault("coil forward 0.5 mm", "coil", k, {k: Station(up=-back * 0.5e-3)}, gap=-0.5e-3)
    yield StationFault("coil sideways 1 mm", "coil", k, {k: Station(sideways=1e-3)}, gap=1e-3)
    yield StationFault("coil tilted 5 deg", "coil", k, {k: Station(tilt=math.radians(5.0))})
    every = range(1, model.fixture.stations + 1)
    if model.fixture.stations > 1:
        yield StationFault(
            "all coils back 1 mm (the plate)", "common", k, {j: Station(up=back * 1e-3) for j in every}, gap=1e-3
        )


def _part(model: FixtureModel, k: int) -> Iterator[StationFault]:
    yield StationFault("part missing", "part", k, {k: Station(part=False)})
    work = next(b for b in model.job.bodies if b.role == "work")
    for name, key, value in (
        ("part's ring cracked open", "slit", True),
        ("charge 10 % heavier", "charge.mass", None if work.charge is None else f"{1.1 * work.charge.mass!r} kg"),
    ):
        if value is None:
            continue
        try:
            job = model.job.with_value(f'body."{work.name}".{key}', value)
        except BadInput:  # a bar cannot crack open
            continue
        yield StationFault(name, "part", k, {k: Station(variant=job)})


def _shorted(model: FixtureModel, k: int) -> Iterator[StationFault]:
    job = shorted_turn(model.job)
    if job is not None:
        yield StationFault("shorted turn in one coil", "coil", k, {k: Station(variant=job)})


def shorted_turn(job: Job) -> Job | None:
    """The job with the middle turn of its coil closed upon itself, or None where that cannot be drawn.

    The turn no longer carries the coil's current; it is a copper ring of the conductor's outside (at these frequencies
    the current keeps to the outside, so that a solid ring and a tube are the same).
    """
    coil = job.coil
    if coil is None or not isinstance(coil.conductor, RoundTube | RoundWire):
        return None
    from coilwright.section.scene import scene

    turns = scene(job, checked=False).section.turns
    if len(turns) < 3 or any(t.weight != 1.0 for t in turns):
        return None
    middle = len(turns) // 2
    outside = coil.conductor.outside if isinstance(coil.conductor, RoundTube) else coil.conductor.diameter
    table: dict[str, Any] = {
        k: v for k, v in dict(job.document["coil"]).items() if k in ("conductor", "leads", "water_temperature")
    }
    listed = [{"mean_diameter": f"{2 * t.r!r} m", "z": f"{t.z!r} m"} for n, t in enumerate(turns) if n != middle]
    ring = {
        "name": "shorted turn",
        "role": "bystander",
        "material": coil.conductor.material,
        "shape": {
            "kind": "wire-ring", "mean_diameter": f"{2 * turns[middle].r!r} m", "wire_diameter": f"{outside!r} m",
        },
        "centre": f"{turns[middle].z!r} m",
    }  # fmt: skip
    bodies = [*job.document["body"], ring]
    try:
        return job.with_values({"coil": {"winding": "turns", "turn": listed, **table}, "body": bodies})
    except BadInput:
        return None


def _electrical(model: FixtureModel, k: int) -> Iterator[StationFault]:
    yield StationFault("one of six capacitors lost", "common", k, capacitance=5.0 / 6.0)
    yield StationFault("loose joint, 2 mohm", "common", k, {k: Station(extra_resistance=2e-3)})
    regulated = model.fixture.control in ("current", "power") and "fixture" in model.job.later
    yield StationFault("mains 5 % low", "common", k, setting=1.0 if regulated else 0.95)
    coil = model.job.coil
    if coil is not None and isinstance(coil.conductor, RoundTube):
        warm = (model.cells.scene.coil_temperature) + 20.0
        job = model.job.with_value("coil.water_temperature", f"{warm!r} K")
        every = range(1, model.fixture.stations + 1)
        yield StationFault("water 20 K warmer", "common", k, {j: Station(variant=job) for j in every})
