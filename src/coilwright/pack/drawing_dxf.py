"""A drawing as DXF: true size in millimetres, a layer per kind of line, dimensions as dimension entities."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from coilwright.pack import drawing as shapes
from coilwright.pack.dimension_layout import arrow_head, layout

_MILLIMETRES: Final = 4  # $INSUNITS
NAMES: Final = "COILWRIGHT"  # extended data under this name hold what each dimension is called
_STYLE: Final = "WORKSHOP"
_PROJECTION: Final = {"left": "LEFT", "centre": "CENTER", "right": "RIGHT"}


def write_dxf(drawing: shapes.Drawing, path: Path) -> Path:
    with _fixed_stamps():
        document = _document(drawing)
        space = document.modelspace()
        for item in drawing.items:
            _put(space, item, drawing.scale)
        for kind in sorted(document.entitydb.dxf_types_in_use()):  # left to itself the order is that of a set
            document.classes.add_class(kind)
        stream = io.StringIO()
        document.write(stream)
    path.write_bytes(stream.getvalue().encode("utf-8"))
    return path


@contextmanager
def _fixed_stamps() -> Iterator[None]:
    """No dates, user names or random numbers in the file: the same job gives the same bytes."""
    import ezdxf

    options: Any = ezdxf.options  # type: ignore[attr-defined]
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _document(drawing: shapes.Drawing) -> Any:
    from ezdxf.filemanagement import new

    document = new("R2010", units=_MILLIMETRES)
    document.appids.new(NAMES)
    document.header["$INSUNITS"] = _MILLIMETRES
    document.header["$MEASUREMENT"] = 1
    document.header["$LTSCALE"] = 1.0
    paper = 1.0 / drawing.scale
    document.styles.new(_STYLE, dxfattribs={"font": "DejaVuSans.ttf"})
    for layer in shapes.LAYERS.values():
        kind = "CONTINUOUS"
        if layer.dash:
            kind = f"{layer.name}_LINE"
            strokes = [(-d if k % 2 else d) * paper for k, d in enumerate(layer.dash)]
            document.linetypes.add(kind, pattern=[sum(map(abs, strokes)), *strokes], description=layer.meaning)
        made = document.layers.add(layer.name, color=layer.number, linetype=kind, lineweight=round(100 * layer.weight))
        made.description = layer.meaning
        made.rgb = _rgb(layer.colour)
    _dimension_style(document, paper)
    return document


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _dimension_style(document: Any, paper: float) -> None:
    style = document.dimstyles.new(_STYLE)
    style.dxf.dimtxsty = _STYLE
    style.dxf.dimtxt = shapes.LETTERS * paper
    style.dxf.dimasz = shapes.ARROW * paper
    style.dxf.dimexo = 0.8 * paper
    style.dxf.dimexe = 1.5 * paper
    style.dxf.dimgap = 0.8 * paper
    style.dxf.dimtad = 1
    style.dxf.dimtih = 0
    style.dxf.dimtoh = 0
    style.dxf.dimdec = 2
    style.dxf.dimzin = 8  # no idle zeros
    style.dxf.dimdsep = ord(".")
    style.dxf.dimlfac = 1.0
    style.dxf.dimscale = 1.0
    for part in ("dimclrd", "dimclre", "dimclrt"):
        setattr(style.dxf, part, 256)  # as the layer


def _put(space: Any, item: Any, scale: float) -> None:
    on = {"layer": getattr(item, "layer", "DIMENSION")}
    if isinstance(item, shapes.Line):
        space.add_line(item.start, item.end, dxfattribs=on)
    elif isinstance(item, shapes.Polyline):
        space.add_lwpolyline(item.points, close=item.closed, dxfattribs=on)
    elif isinstance(item, shapes.Circle):
        space.add_circle(item.centre, item.radius, dxfattribs=on)
    elif isinstance(item, shapes.Arc):
        space.add_arc(item.centre, item.radius, item.start, item.end, dxfattribs=on)
    elif isinstance(item, shapes.Hatch):
        hatch = space.add_hatch(color=256, dxfattribs=on)
        hatch.set_pattern_fill("ANSI31", color=256, scale=item.spacing / 3.175 / scale, angle=item.angle - 45.0)
        for loop in item.loops:
            hatch.paths.add_polyline_path(loop, is_closed=True, flags=16 if loop is not item.loops[0] else 1)
    elif isinstance(item, shapes.Text):
        _words(space, item, scale, on)
    elif isinstance(item, shapes.Linear):
        _linear(space, item, scale)
    elif isinstance(item, shapes.Round):
        _round(space, item, scale)


def _words(space: Any, item: shapes.Text, scale: float, on: dict[str, str]) -> None:
    from ezdxf.enums import TextEntityAlignment

    across = _PROJECTION[item.across]
    name = across if item.up == "bottom" else f"{item.up.upper()}_{across}"
    text = space.add_text(
        _plain(item.text), height=item.height / scale, rotation=item.angle, dxfattribs={**on, "style": _STYLE}
    )
    text.set_placement(item.at, align=TextEntityAlignment[name])


def _how(item: shapes.Linear | shapes.Round) -> dict[str, Any]:
    return {
        "text": _pattern(item),
        "dimstyle": _STYLE,
        "override": {"dimdec": item.digits},
        "dxfattribs": {"layer": "DIMENSION"},
    }


def _linear(space: Any, item: shapes.Linear, scale: float) -> None:
    made = space.add_linear_dim(base=item.through, p1=item.start, p2=item.end, angle=item.angle, **_how(item))
    made.render()
    _draw_alike(made.dimension, item, scale)


def _round(space: Any, item: shapes.Round, scale: float) -> None:
    add = space.add_diameter_dim if item.diameter else space.add_radius_dim
    made = add(center=item.centre, radius=item.radius, angle=item.angle, **_how(item))
    made.render()
    _draw_alike(made.dimension, item, scale)


def _draw_alike(dimension: Any, item: shapes.Linear | shapes.Round, scale: float) -> None:
    """What the dimension shows until a reader's program redraws it: the same lines, arrows and words as on the SVG."""
    from ezdxf.enums import TextEntityAlignment

    plan, on = layout(item, scale), {"layer": "DIMENSION"}
    dimension.set_xdata(NAMES, [(1000, item.name)])
    dimension.dxf.text_midpoint = _real(plan.middle, scale)
    block = dimension.get_geometry_block()
    block.delete_all_entities()
    for a, b in plan.lines:
        block.add_line(_real(a, scale), _real(b, scale), dxfattribs=on)
    for tip, towards in plan.arrows:
        block.add_solid([_real(p, scale) for p in arrow_head(tip, towards)], dxfattribs=on)
    words = {**on, "style": _STYLE}
    text = block.add_text(_plain(item.text), height=shapes.LETTERS / scale, rotation=plan.angle, dxfattribs=words)
    text.set_placement(_real(plan.middle, scale), align=TextEntityAlignment.MIDDLE_CENTER)


def _pattern(item: shapes.Linear | shapes.Round) -> str:
    """The measured figure stands as <>, so that a reader's program measures the geometry itself; for diameters and radii
    it adds their sign of its own accord."""
    return _plain(f"{item.prefix}<>{item.suffix}")


def _plain(text: str) -> str:
    """The diameter sign by its code, which every reader's font knows."""
    return text.replace("⌀", "%%c")


def _real(p: shapes.Point, scale: float) -> shapes.Point:
    return p[0] / scale, p[1] / scale
