"""Meshes of thin films: a film is a body of its own, as thin as it is, that lies on others without joining them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from coilwright.section.geometry import Section, SectionFilm
from coilwright.section.mesh import Mesh
from coilwright.section.nearest import distances
from coilwright.section.outline import Outline
from coilwright.section.overlap import TOUCHING
from coilwright.section.quad9 import Array, IntArray
from coilwright.section.rectilinear import mesh_rectilinear
from coilwright.section.sizes import BodySize, MeshRule, Surroundings

_PLACES = 41  # along a film, where its distance to a body is looked at
_ALONG = 12  # elements at least; its current crowds at the edges


def film_outline(film: SectionFilm) -> Outline:
    """The film's rectangle, half its thickness to either side of its line."""
    (r0, z0), (r1, z1) = sorted((film.start, film.end))
    half = 0.5 * film.thickness
    if r0 == r1:
        return Outline.rectangle((max(r0 - half, 0.0), r0 + half), (min(z0, z1), max(z0, z1)))
    return Outline.rectangle((r0, r1), (z0 - half, z0 + half))


def mesh_film(
    film: SectionFilm,
    section: Section,
    sizes: Mapping[str, BodySize],
    size: BodySize,
    rule: MeshRule,
    shifts: Sequence[float],
) -> Mesh:
    """Mesh of one film; what it lies on does not limit its elements, everything else that sees the field does."""
    near = [o for b in section.bodies if sizes.get(b.name, BodySize()).conducting for o in b.outlines]
    near = [o for o in near if gap_to(film, o) > reach(film)]
    near += [turn.outer.moved(up=up) for turn in section.turns for up in shifts]
    segments = np.concatenate([np.zeros((0, 9)), *(o.segments for o in near)])
    outline = film_outline(film)
    length = max(outline.box[1] - outline.box[0], outline.box[3] - outline.box[2])
    wanted = BodySize(size.skin_depth_smallest, size.skin_depth_largest, conducting=True, longest=length / _ALONG)
    return mesh_rectilinear([film.name], [[outline]], [wanted], rule, Surroundings(segments, np.zeros((0, 2))))


def reach(film: SectionFilm) -> float:
    """How near (m) a surface must be for the film to lie on it."""
    return max(2.0 * film.thickness, 10.0 * TOUCHING)


def gap_to(film: SectionFilm, outline: Outline) -> float:
    """Smallest distance (m) of the film's line to an outline."""
    return float(distances(_line(film), outline.segments).min())


def carrier(film: SectionFilm, section: Section) -> str | None:
    """Name of the body the film lies on, or None for a film that hangs free."""
    gaps = {b.name: min(gap_to(film, o) for o in b.outlines) for b in section.bodies}
    name = min(gaps, key=lambda n: gaps[n], default=None)
    return name if name is not None and gaps[name] <= reach(film) else None


def elements_below(film: Mesh, body: Mesh) -> IntArray:
    """(film elements,): the element of the carrying body whose middle is nearest."""
    at, of = _middles(film), _middles(body)
    square = np.sum((at[:, None, :] - of[None, :, :]) ** 2, axis=2)
    return np.asarray(np.argmin(square, axis=1))


def _middles(mesh: Mesh) -> Array:
    return np.asarray(mesh.points[mesh.quads].mean(axis=1))


def _line(film: SectionFilm) -> Array:
    return np.ascontiguousarray(np.linspace(film.start, film.end, _PLACES))
