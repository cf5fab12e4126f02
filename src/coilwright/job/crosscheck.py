"""What must fit between the sections of a job file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import nearest, suggestion
from coilwright.job.library import job_library
from coilwright.job.schema_body import Body
from coilwright.job.schema_process import Accept, Drive
from coilwright.job.schema_shape import Drawing
from coilwright.job.values import as_written
from coilwright.materials import charge_law, library

PLACES = ("coldest", "hottest", "mean")


def cross_faults(document: Mapping[str, Any], read: Mapping[str, Any], file: str, folder: Path) -> list[Fault]:
    """Faults between sections.

    `document` is the raw file (names count even when the rest of a table is faulty), `read` what could be read of it.
    """
    bodies, points = _names(document, "body"), _names(document, "point")
    faults = [Fault(f"{file}: {where}", what) for where, what in _duplicates(document)]
    if not document.get("body"):
        faults.append(Fault(f"{file}: body", "is missing; describe at least one part under a heading [[body]]"))
    faults += [Fault(f"{file}: {where}", what) for where, what in _accept_faults(read, bodies, points)]
    faults += [Fault(f"{file}: {where}", what) for where, what in _pair_faults(read, bodies)]
    faults += [Fault(f"{file}: {where}", what) for where, what in _drive_faults(document, read, bodies)]
    faults += [Fault(f"{file}: {where}", what) for where, what in _drawing_faults(read, folder)]
    faults += _material_faults(document, read, file)
    return faults


def _names(document: Mapping[str, Any], key: str) -> list[str]:
    tables = document.get(key)
    if not isinstance(tables, list):
        return []
    found = [t["name"] for t in tables if isinstance(t, Mapping) and isinstance(t.get("name"), str)]
    return list(dict.fromkeys(found))


def _duplicates(document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key in ("body", "point"):
        tables = document.get(key)
        if isinstance(tables, list):
            names = Counter(t["name"] for t in tables if isinstance(t, Mapping) and isinstance(t.get("name"), str))
            for name, count in names.items():
                if count > 1:
                    yield (
                        f"{key} {as_written(name)}",
                        f"stands {count} times in the file; give each {key} a name of its own",
                    )


def _unknown_body(name: str, bodies: list[str]) -> str:
    match = nearest(name, bodies)
    known = ", ".join(f'"{b}"' for b in bodies[:20]) or "none"
    hint = f'; did you mean "{match}"?' if match else ""
    return f"{as_written(name)} is not a body of this file; known are {known}{hint}"


def _accept_faults(read: Mapping[str, Any], bodies: list[str], points: list[str]) -> Iterator[tuple[str, str]]:
    accepts: tuple[Accept, ...] = read["accept"]
    by_name: dict[str, Body] = {b.name: b for b in read["body"]}
    for k, accept in enumerate(accepts, 1):
        if accept.body not in bodies:
            yield f"accept {k}: body", _unknown_body(accept.body, bodies)
        if accept.at is not None and accept.at not in (*PLACES, *points):
            yield (
                f"accept {k}: at",
                f"{as_written(accept.at)} is not a place to read; {suggestion(accept.at, [*PLACES, *points])}",
            )
        body = by_name.get(accept.body)
        if accept.charge_fired is not None and body is not None and body.charge is None:
            yield (
                f"accept {k}: charge_fired",
                (
                    f'body "{body.name}" has no charge; write e.g. charge = {{ mass = "12 '
                    'mg" }} there, or leave this condition out'
                ),
            )
    drive: Drive | None = read["drive"]
    if accepts and drive is not None and drive.shot_time is None:
        yield (
            "drive.on_time",
            'is missing, and [[accept]] needs to know how long the shot lasts; write e.g. on_time = "8 s"',
        )


def _pair_faults(read: Mapping[str, Any], bodies: list[str]) -> Iterator[tuple[str, str]]:
    for key in ("joint", "contact"):
        for k, pair in enumerate(read[key], 1):
            for name in pair.bodies:
                if name not in bodies:
                    yield f"{key} {k}: bodies", _unknown_body(name, bodies)


def _drive_faults(document: Mapping[str, Any], read: Mapping[str, Any], bodies: list[str]) -> Iterator[tuple[str, str]]:
    raw = document.get("drive")
    if raw is None and "source" not in document:
        yield "drive", 'is missing; write [drive] with e.g. frequency = "100 kHz" and coil_current = "200 A"'
        return
    drive: Drive | None = read["drive"]
    if drive is None:
        return
    levels = (drive.coil_current, drive.coil_voltage, drive.coil_power, drive.through)
    if all(v is None for v in levels) and "source" not in document:
        yield (
            "drive",
            'sets no level; write one of coil_current = "200 A", coil_voltage = "30 V" or coil_power = "1.5 kW"',
        )
    if drive.frequency is None and "source" not in document and "tank" not in document:
        yield "drive.frequency", 'is missing; write e.g. frequency = "100 kHz"'
    if drive.through is not None and drive.through.body not in bodies:
        yield "drive.through.body", _unknown_body(drive.through.body, bodies)
    if drive.through is None and "coil" not in document:
        yield "coil", 'is missing; describe the work coil under the heading [coil], beginning with winding = "helix"'


def _drawing_faults(read: Mapping[str, Any], folder: Path) -> Iterator[tuple[str, str]]:
    for body in read["body"]:
        if isinstance(body.shape, Drawing):
            try:
                there = (folder / body.shape.file).is_file()
            except (OSError, ValueError):
                there = False
            if not there:
                yield (
                    f'body "{body.name}": shape.file',
                    (
                        f"{as_written(body.shape.file)} is not there; put the DXF file beside "
                        "the job file or correct the name"
                    ),
                )


def _material_faults(document: Mapping[str, Any], read: Mapping[str, Any], file: str) -> list[Fault]:
    """Every material and charge named in the file must be in the library or in this file."""
    tables = document.get("material", [])
    tables = tables if isinstance(tables, list) and all(isinstance(t, Mapping) for t in tables) else []
    own = {" ".join(name.lower().split()) for name in _names(document, "material")}
    faults: list[Fault] = []
    try:
        known = job_library(tables, file)
    except BadInput as error:
        faults.extend(error.faults)
        known = library()
    except FileNotFoundError:
        return []
    wanted = [(f'body "{b.name}": material', b.material) for b in read["body"]]
    if read["coil"] is not None:
        wanted.append(("coil.conductor.material", read["coil"].conductor.material))
    for where, name in wanted:
        if name not in known and " ".join(name.lower().split()) not in own:
            faults.append(Fault(f"{file}: {where}", _reason(lambda name=name: known.get(name))))  # type: ignore[misc]
    for body in read["body"]:
        if body.charge is not None:
            reason = _reason(lambda kind=body.charge.kind: charge_law(kind))  # type: ignore[misc]
            if reason:
                faults.append(Fault(f'{file}: body "{body.name}": charge.kind', reason))
    return faults


def _reason(ask: Callable[[], object]) -> str:
    """Why the library refuses, or nothing when it answers."""
    try:
        ask()
    except BadInput as error:
        return error.faults[0].what
    return ""
