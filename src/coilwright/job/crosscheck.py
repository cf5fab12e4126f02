"""What must fit between the sections of a job file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import nearest, suggestion
from coilwright.job.library import job_library
from coilwright.job.schema_body import Body
from coilwright.job.schema_process import Drive
from coilwright.job.schema_shape import Drawing, Film
from coilwright.job.values import as_written
from coilwright.materials import charge_law, library

MOST_LOOKED_AT = 100
PLACES = ("coldest", "hottest", "mean")
SECTIONS = (
    "format", "job", "surroundings", "body", "material", "coil", "drive", "accept", "point", "joint", "contact",
    "tank", "capacitor", "source", "cooling", "fixture", "varies", "seek", "machine", "workshop",
    "documents",
)  # fmt: skip


@dataclass(frozen=True)
class _Known:
    """Names that may be referred to; not `complete` when a table has no readable name."""

    bodies: list[str]
    points: list[str]
    complete: bool


def cross_faults(document: Mapping[str, Any], read: Mapping[str, Any], file: str, folder: Path) -> list[Fault]:
    """Faults between sections.

    `document` is the raw file (names count even when the rest of a table is faulty), `read` what could be read of it.
    """
    bodies = _tables(document, "body")
    complete = all(isinstance(t.get("name"), str) for t in bodies) and (bool(bodies) or "body" not in document)
    known = _Known(_names(document, "body"), _names(document, "point"), complete)
    found = [*_duplicates(document)]
    if not document.get("body") and not _misspelt(document, "body"):
        found.append(("body", "is missing; describe at least one part under a heading [[body]]"))
    found += _accept_faults(document, read, known)
    found += _pair_faults(document, known)
    found += _film_faults(document, read)
    found += _drive_faults(document, read, known)
    found += _drawing_faults(read, folder)
    return [*(Fault(f"{file}: {where}", what) for where, what in found), *_material_faults(document, read, file)]


def _tables(document: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    tables = document.get(key)
    return [t for t in tables if isinstance(t, Mapping)] if isinstance(tables, list) else []


def _names(document: Mapping[str, Any], key: str) -> list[str]:
    return list(dict.fromkeys(t["name"] for t in _tables(document, key) if isinstance(t.get("name"), str)))


def _misspelt(document: Mapping[str, Any], section: str) -> bool:
    """Whether another heading of the file looks like this one; then its own sentence says so."""
    unknown = [key for key in document if key not in SECTIONS]
    return section not in document and any(nearest(key, SECTIONS) == section for key in unknown[:MOST_LOOKED_AT])


def _duplicates(document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key in ("body", "point"):
        names = Counter(t["name"] for t in _tables(document, key) if isinstance(t.get("name"), str))
        for name, count in names.items():
            if count > 1:
                yield (
                    f"{key} {as_written(name)}",
                    f"stands {count} times in the file; give each {key} a name of its own",
                )


def _unknown_body(name: object, known: _Known) -> str | None:
    """A sentence when `name` is a text that names no body."""
    if not isinstance(name, str) or name in known.bodies or not known.complete:
        return None
    listed = ", ".join(as_written(b) for b in known.bodies[:20]) or "none"
    match = nearest(name, known.bodies) if len(known.bodies) > 1 else None
    hint = f'; did you mean "{match}"?' if match else ""
    return f"{as_written(name)} is not a body of this file; known are {listed}{hint}"


def _accept_faults(document: Mapping[str, Any], read: Mapping[str, Any], known: _Known) -> Iterator[tuple[str, str]]:
    by_name: dict[str, Body] = {b.name: b for b in read["body"]}
    accepts = _tables(document, "accept")
    for k, accept in enumerate(accepts, 1):
        sentence = _unknown_body(accept.get("body"), known)
        if sentence:
            yield f"accept {k}: body", sentence
        at = accept.get("at")
        if isinstance(at, str) and at not in (*PLACES, *known.points):
            yield (
                f"accept {k}: at",
                f"{as_written(at)} is not a place to read; {suggestion(at, [*PLACES, *known.points])}",
            )
        body = by_name.get(str(accept.get("body")))
        if "charge_fired" in accept and body is not None and body.charge is None:
            yield (
                f"accept {k}: charge_fired",
                f'body "{body.name}" has no charge; write e.g. charge = {{ mass = "12 mg" }} there, or leave this condition out',
            )
    drive: Drive | None = read["drive"]
    if accepts and "drive" in document and drive is not None and drive.shot_time is None:
        yield (
            "drive.on_time",
            'is missing, and [[accept]] needs to know how long the shot lasts; write e.g. on_time = "8 s"',
        )


def _pair_faults(document: Mapping[str, Any], known: _Known) -> Iterator[tuple[str, str]]:
    for key in ("joint", "contact"):
        for k, pair in enumerate(_tables(document, key), 1):
            names = pair.get("bodies")
            for name in names if isinstance(names, list) else ():
                sentence = _unknown_body(name, known)
                if sentence:
                    yield f"{key} {k}: bodies", sentence


def _film_faults(document: Mapping[str, Any], read: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """A film is too thin for a temperature of its own: nothing thermal may be asked of it or tied to it."""
    films = {b.name for b in read["body"] if isinstance(b.shape, Film)}
    for k, accept in enumerate(_tables(document, "accept"), 1):
        if str(accept.get("body")) in films:
            yield (
                f"accept {k}: body",
                f'"{accept["body"]}" is a film, which is as warm as what it lies on; name the body it lies on',
            )
    for key in ("joint", "contact"):
        for k, pair in enumerate(_tables(document, key), 1):
            names = pair.get("bodies")
            for name in names if isinstance(names, list) else ():
                if str(name) in films:
                    told = "is a film and needs none: it passes its heat to what it lies on; leave it out here"
                    yield f"{key} {k}: bodies", f'"{name}" {told}'


def _drive_faults(document: Mapping[str, Any], read: Mapping[str, Any], known: _Known) -> Iterator[tuple[str, str]]:
    drive: Drive | None = read["drive"]
    sourced = "source" in document
    through = drive is not None and drive.through is not None
    if "coil" not in document and not through and not _misspelt(document, "coil"):
        yield "coil", 'is missing; describe the work coil under the heading [coil], beginning with winding = "helix"'
    if "drive" not in document:
        if not sourced and not _misspelt(document, "drive"):
            yield "drive", 'is missing; write [drive] with e.g. frequency = "100 kHz" and coil_current = "200 A"'
        return
    if drive is None:
        return
    if not sourced and all(
        v is None for v in (drive.coil_current, drive.coil_voltage, drive.coil_power, drive.through)
    ):
        yield (
            "drive",
            'sets no level; write one of coil_current = "200 A", coil_voltage = "30 V" or coil_power = "1.5 kW"',
        )
    if drive.frequency is None and not sourced and "tank" not in document:
        yield "drive.frequency", 'is missing; write e.g. frequency = "100 kHz"'
    if drive.through is not None:
        sentence = _unknown_body(drive.through.body, known)
        if sentence:
            yield "drive.through.body", sentence


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
                    f"{as_written(body.shape.file)} is not there; put the DXF file beside the job file or correct the name",
                )


def _material_faults(document: Mapping[str, Any], read: Mapping[str, Any], file: str) -> list[Fault]:
    """Every material and charge named in the file must be in the library or in this file."""
    tables = _tables(document, "material")
    own = {" ".join(name.lower().split()) for name in _names(document, "material")}
    faults: list[Fault] = []
    try:
        known = job_library(tables, file)
    except BadInput as error:
        faults.extend(error.faults)
        known = library()
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
