"""From a job file to its section: every body, film, coil turn and named point as outlines."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from coilwright.job import Job
from coilwright.job.schema_body import Body
from coilwright.section import shapes
from coilwright.section.dxf import read_outline
from coilwright.section.geometry import (
    Section,
    SectionBody,
    SectionFilm,
    SectionPoint,
    TurnOutline,
    turn_outline,
)
from coilwright.section.outline import Outline

_SIZES = {
    "round tube": ("outside", "bore"),
    "rectangular tube": ("width", "height", "wall"),
    "round wire": ("diameter",),
    "strip": ("width", "height"),
    "litz": ("diameter",),
}


def build_section(job: Job) -> Section:
    """The half-section of a job. Raises BadInput for an outline or drawing that cannot be used."""
    groups = _groups([b.name for b in job.bodies], [j.bodies for j in job.joints])
    bodies, films = [], []
    for body in job.bodies:
        if body.shape.kind == "film":
            films.append(_film(body))
        else:
            outlines = _outlines(body, job.folder, job.name)
            bodies.append(SectionBody(body.name, body.role, body.material, outlines, groups[body.name]))
    turns, notes = coil_turns(job.coil)
    points = tuple(SectionPoint(p.name, p.r, p.z) for p in job.points)
    return Section(tuple(bodies), turns, points, tuple(films), notes)


def coil_turns(coil: Any) -> tuple[tuple[TurnOutline, ...], tuple[str, ...]]:
    """(turns, notes) of a coil table of the job file, or of None."""
    if coil is None:
        return (), ()
    notes = []
    if coil.winding == "helix":
        rings = shapes.helix_rings(coil.turns, coil.mean_diameter, coil.pitch or 0.0, coil.centre)
        notes.append("The helix is drawn and computed as one closed ring per turn, a pitch apart.")
    elif coil.winding == "spiral":
        rings = shapes.spiral_rings(coil.turns, coil.inner_diameter, coil.outer_diameter, coil.centre)
        notes.append("The spiral is drawn and computed as one closed ring per turn.")
    else:
        rings = [(0.5 * t.mean_diameter, t.z, 1.0) for t in coil.turn]
    if rings[-1][2] < 1.0:
        place = "upper end" if coil.winding == "helix" else "outside"
        notes.append(f"The part turn at the {place} is a whole ring counted {rings[-1][2]:.3g} times.")
    conductor = coil.conductor
    size = {key: float(getattr(conductor, key)) for key in _SIZES[conductor.section]}
    turns = (turn_outline(i, *ring, conductor.section, **size) for i, ring in enumerate(rings, 1))
    return tuple(turns), tuple(notes)


def _outlines(body: Body, folder: Path, file: str) -> tuple[Outline, ...]:
    shape: Any = body.shape
    where = f'{file}: body "{body.name}": shape'
    makers: dict[str, Callable[[], Outline]] = {
        "ring": lambda: shapes.ring(shape.outer_diameter, shape.inner_diameter, shape.height, body.centre),
        "bar": lambda: shapes.bar(shape.diameter, shape.length, body.centre),
        "tube": lambda: shapes.ring(shape.outer_diameter, shape.inner_diameter, shape.length, body.centre),
        "disc": lambda: shapes.bar(shape.diameter, shape.height, body.centre),
        "ball": lambda: shapes.ball(shape.diameter, body.centre),
        "wire-ring": lambda: shapes.wire_ring(shape.mean_diameter, shape.wire_diameter, body.centre),
        "channel-ring": lambda: shapes.channel_ring(
            shape.outer_diameter, shape.inner_diameter, shape.height, shape.wall, shape.opens, body.centre
        ),
        "profile": lambda: shapes.profile(shape.outline, f"{where}.points", up=body.centre),
    }
    if shape.kind == "drawing":
        loops = read_outline(folder / shape.file, shape.layer, where=f"{where}.file")
        return tuple(loop.moved(up=body.centre) for loop in loops)
    return (makers[shape.kind](),)


def _film(body: Body) -> SectionFilm:
    shape: Any = body.shape
    if shape.is_flat:
        start, end = (0.5 * (shape.inner_diameter or 0.0), body.centre), (0.5 * shape.outer_diameter, body.centre)
    else:
        r, half = 0.5 * shape.diameter, 0.5 * shape.length
        start, end = (r, body.centre - half), (r, body.centre + half)
    return SectionFilm(body.name, body.role, body.material, start, end, shape.thickness)


def _groups(names: Iterable[str], joints: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Group of every body: bodies joined, also over several joints, carry the name of their first."""
    group = {name: name for name in names}
    for a, b in joints:
        old, new = group[b], group[a]
        group = {name: new if g == old else g for name, g in group.items()}
    return group
