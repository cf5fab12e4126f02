"""Outlines from drawing exchange files: lines, arcs, circles and polylines of one layer, joined to closed loops.

In the drawing x is the radius r and y is z; the line x = 0 is the axis of revolution.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.outline import Outline
from coilwright.section.shapes import checked

CLOSING = 1e-5  # m: ends nearer than this are one point
_IGNORED = {"POINT", "TEXT", "MTEXT", "DIMENSION", "HATCH", "LEADER", "MULTILEADER", "ATTDEF", "VIEWPORT", "IMAGE"}
# metres per drawing unit by the number in $INSUNITS (none, inch, foot, mm, cm, m, microinch, mil, micron, dm)
_METRES = {0: 1e-3, 1: 0.0254, 2: 0.3048, 4: 1e-3, 5: 1e-2, 6: 1.0, 8: 25.4e-9, 9: 25.4e-6, 13: 1e-6, 14: 0.1}
_MOST = 2000  # pieces on the layer


@dataclass
class _Piece:
    """A chain of segments from points[0] to points[-1] (metres); bulges as in `Outline`."""

    points: list[tuple[float, float]]
    bulges: list[float]
    kind: str

    def turned(self) -> _Piece:
        return _Piece(self.points[::-1], [-b for b in self.bulges[::-1]], self.kind)


def read_outline(path: Path, layer: str, *, where: str = "") -> tuple[Outline, ...]:
    """Closed outlines (m) on one layer: the outside first, then its hollows.

    A chain whose two ends lie on the axis is closed along it. A file without units is taken in millimetres.
    Raises BadInput for: no file, no DXF, no such layer, nothing or something unusable on it, an open outline (with
    the gap and its place), branches, several separate outlines, crossing sides, r < 0.
    """
    document = _document(path, where)
    scale = _scale(document, where)
    on_layer = [e for e in document.modelspace() if e.dxf.layer.lower() == layer.lower()]
    entities = [e for e in on_layer if e.dxftype() not in _IGNORED]
    if not entities:
        used = sorted({str(e.dxf.layer) for e in document.modelspace()})
        there = ", ".join(f'"{name}"' for name in used) or "none"
        raise BadInput(
            Fault(where, f'layer "{layer}" of {path.name} has no lines; layers with something on them: {there}')
        )
    if len(entities) > _MOST:
        raise BadInput(
            Fault(where, f'layer "{layer}" of {path.name} has {len(entities)} pieces; at most {_MOST} are read')
        )
    at = f'layer "{layer}" of {path.name}'
    pieces = _distinct([p for e in entities for p in _pieces(e, scale, where, at)])
    loops = [checked(_outline(chain), f"{where}: {at}" if where else at) for chain in _chains(pieces, where, at)]
    return _outside_first(loops, where, at)


def _document(path: Path, where: str) -> Any:
    from ezdxf.filemanagement import readfile  # takes a quarter of a second, and few jobs have drawings
    from ezdxf.lldxf.const import DXFError

    try:
        return readfile(path)
    except FileNotFoundError:
        raise BadInput(Fault(where, f"the drawing {path} is not there; check the name")) from None
    except (OSError, DXFError, ValueError, TypeError, KeyError, IndexError, AttributeError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        text = f"{path.name} cannot be read as a DXF drawing ({why}); export it again as DXF, lines and arcs only"
        raise BadInput(Fault(where, text)) from None


def _scale(document: Any, where: str) -> float:
    unit = document.header.get("$INSUNITS", 0)
    if unit not in _METRES:
        raise BadInput(
            Fault(where, f"the drawing's unit ($INSUNITS = {unit}) is not known here; set it to millimetres")
        )
    return _METRES[unit]


def _pieces(entity: Any, scale: float, where: str, at: str) -> Iterator[_Piece]:
    kind = entity.dxftype()
    if kind == "LINE":
        start, end = entity.dxf.start, entity.dxf.end
        yield _Piece([(start.x * scale, start.y * scale), (end.x * scale, end.y * scale)], [0.0], kind)
    elif kind == "ARC":
        yield _arc(entity, scale)
    elif kind == "CIRCLE":
        c, r = entity.ocs().to_wcs(entity.dxf.center), entity.dxf.radius
        right, left = ((c.x + r) * scale, c.y * scale), ((c.x - r) * scale, c.y * scale)
        yield _Piece([right, left, right], [1.0, 1.0], kind)
    elif kind == "LWPOLYLINE":
        flip = -1.0 if entity.dxf.extrusion.z < 0.0 else 1.0
        corners = [(flip * x, y, flip * b) for x, y, b in entity.get_points("xyb")]
        yield _polyline(corners, bool(entity.closed), scale, kind)
    elif kind == "POLYLINE" and entity.is_2d_polyline:
        flip = -1.0 if entity.dxf.extrusion.z < 0.0 else 1.0
        corners = [(flip * v.dxf.location.x, v.dxf.location.y, flip * v.dxf.get("bulge", 0.0)) for v in entity.vertices]
        yield _polyline(corners, bool(entity.is_closed), scale, kind)
    else:
        what = f"{at} holds a {kind}; only lines, arcs, circles and polylines with arcs are read"
        raise BadInput(Fault(where, f"{what}: convert it to these (explode blocks, replace splines by arcs)"))


def _arc(entity: Any, scale: float) -> _Piece:
    flip = -1.0 if entity.dxf.extrusion.z < 0.0 else 1.0
    sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0 or 360.0)
    start = math.radians(entity.dxf.start_angle)
    parts = 2 if sweep > math.pi else 1
    c, r = entity.dxf.center, entity.dxf.radius
    angles = [start + sweep * k / parts for k in range(parts + 1)]
    points = [(flip * (c.x + r * math.cos(a)) * scale, (c.y + r * math.sin(a)) * scale) for a in angles]
    return _Piece(points, [flip * math.tan(0.25 * sweep / parts)] * parts, "ARC")


def _polyline(corners: list[tuple[float, float, float]], closed: bool, scale: float, kind: str) -> _Piece:
    points = [(x * scale, y * scale) for x, y, _ in corners]
    bulges = [b for *_, b in corners]
    if closed:
        return _without_repeats(_Piece([*points, points[0]], bulges, kind))
    return _without_repeats(_Piece(points, bulges[:-1], kind))


def _without_repeats(piece: _Piece) -> _Piece:
    points, bulges = piece.points[:1], []
    for point, bulge in zip(piece.points[1:], piece.bulges, strict=True):
        if math.dist(point, points[-1]) > CLOSING:
            points.append(point)
            bulges.append(bulge)
    return _Piece(points, bulges, piece.kind)


def _distinct(pieces: list[_Piece]) -> list[_Piece]:
    """Without specks and without pieces drawn twice."""
    kept: list[_Piece] = []
    seen: set[Any] = set()
    for piece in pieces:
        if not piece.bulges or (len(piece.points) == 2 and math.dist(*piece.points) <= CLOSING):
            continue
        keys = []
        for p in (piece, piece.turned()):
            places = tuple((round(r / CLOSING), round(z / CLOSING)) for r, z in p.points)
            keys.append((places, tuple(round(b, 4) for b in p.bulges)))
        if not seen.intersection(keys):
            kept.append(piece)
        seen.update(keys)
    return kept


def _chains(pieces: list[_Piece], where: str, at: str) -> Iterator[_Piece]:
    """Pieces joined end to end until they close."""
    rest = list(pieces)
    if not rest:
        raise BadInput(Fault(where, f"{at} holds only specks shorter than {CLOSING * 1e3:g} mm"))
    while rest:
        chain = rest.pop(0)
        turned = False
        while math.dist(chain.points[0], chain.points[-1]) > CLOSING:
            fitting = [i for i, p in enumerate(rest) if _fits(chain, p)]
            if len(fitting) > 1:
                place = _mm(chain.points[-1])
                raise BadInput(Fault(where, f"{at}: {len(fitting) + 1} lines meet at {place}; an outline has two"))
            if fitting:
                following = rest.pop(fitting[0])
                if math.dist(following.points[0], chain.points[-1]) > CLOSING:
                    following = following.turned()
                chain = _Piece(chain.points + following.points[1:], chain.bulges + following.bulges, chain.kind)
            elif not turned:
                chain, turned = chain.turned(), True
            else:
                chain = _closed_on_axis(chain, rest, where, at)
        yield chain


def _fits(chain: _Piece, piece: _Piece) -> bool:
    return min(math.dist(chain.points[-1], piece.points[0]), math.dist(chain.points[-1], piece.points[-1])) <= CLOSING


def _closed_on_axis(chain: _Piece, rest: list[_Piece], where: str, at: str) -> _Piece:
    """The chain closed along r = 0 when both ends lie there; otherwise the outline is open, and where is said."""
    first, last = chain.points[0], chain.points[-1]
    if max(abs(first[0]), abs(last[0])) <= CLOSING:
        return _Piece([*chain.points, first], [*chain.bulges, 0.0], chain.kind)
    gap, other = min(
        (math.dist(last, end), end) for end in [first, *(e for p in rest for e in (p.points[0], p.points[-1]))]
    )
    what = f"{at}: the outline is open: a gap of {gap * 1e3:.4g} mm between {_mm(last)} and {_mm(other)}"
    raise BadInput(Fault(where, f"{what}; draw the missing line (gaps below {CLOSING * 1e3:g} mm are closed)"))


def _outline(chain: _Piece) -> Outline:
    """Loop of a closed chain; straight runs over several pieces become one side."""
    points, bulges = list(chain.points[:-1]), list(chain.bulges)
    i = 0
    while len(points) > 3 and i < len(points):
        a, b, c = points[i - 1], points[i], points[(i + 1) % len(points)]
        straight = bulges[i - 1] == 0.0 and bulges[i] == 0.0
        u, v = np.subtract(b, a), np.subtract(c, b)
        size = np.hypot(*u) * np.hypot(*v)
        if straight and abs(u[0] * v[1] - u[1] * v[0]) <= 1e-9 * size and u @ v > 0.0:
            del points[i], bulges[i]
        else:
            i += 1
    return Outline.closed(points, bulges)


def _outside_first(loops: list[Outline], where: str, at: str) -> tuple[Outline, ...]:
    loops = sorted(loops, key=lambda loop: -loop.area)
    outer, holes = loops[0], loops[1:]
    for k, hole in enumerate(holes):
        inner = outer.contains(hole.vertices).all()
        others = [h for h in holes[:k] if h.contains(hole.vertices).any()]
        apart = min([hole.distance_to(other).distance for other in loops[: k + 1]])
        if not inner or others or apart <= CLOSING:
            place = _mm((float(hole.vertices[0, 0]), float(hole.vertices[0, 1])))
            what = f"{at} holds {len(loops)} outlines that are not one body with hollows (see {place})"
            raise BadInput(Fault(where, f"{what}; put each body on a layer of its own"))
    return outer, *holes


def _mm(point: tuple[float, float]) -> str:
    return f"(r = {point[0] * 1e3:.4g} mm, z = {point[1] * 1e3:.4g} mm)"
