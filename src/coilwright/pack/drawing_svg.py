"""A drawing as SVG: vector lines and real letters, one user unit a millimetre on paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from coilwright.pack import drawing as shapes
from coilwright.pack.dimension_layout import arrow_head, layout
from coilwright.pack.looks import PAPER

_ANCHOR: Final = {"left": "start", "centre": "middle", "right": "end"}
_RISE: Final = {"bottom": 0.0, "middle": 0.5, "top": 1.0}  # heights of capitals below `at` where the base line runs


def to_svg(drawing: shapes.Drawing) -> str:
    wide, high = drawing.size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(wide)}mm" height="{_n(high)}mm" '
        f'viewBox="0 0 {_n(wide)} {_n(high)}" font-family="{shapes.FONT}, sans-serif">'
    )
    parts = [head, f"<title>{escape(drawing.title)}</title>"]
    parts.append(f'<rect width="{_n(wide)}" height="{_n(high)}" fill="{PAPER}"/>')
    page = _Page(drawing)
    for layer in shapes.LAYERS.values():
        inside = [line for item in drawing.items if _layer(item) == layer.name for line in page.draw(item)]
        if not inside:
            continue
        dash = f' stroke-dasharray="{" ".join(_n(d) for d in layer.dash)}"' if layer.dash else ""
        parts.append(
            f'<g id="{layer.name}" fill="none" stroke="{layer.colour}" stroke-width="{_n(layer.weight)}"{dash} '
            'stroke-linecap="round" stroke-linejoin="round">'
        )
        parts += [*inside, "</g>"]
    return "\n".join([*parts, "</svg>", ""])


def _layer(item: object) -> str:
    return "DIMENSION" if isinstance(item, shapes.Linear | shapes.Round) else str(getattr(item, "layer", ""))


class _Page:
    """Items to SVG elements, y turned downwards and everything scaled to paper."""

    def __init__(self, drawing: shapes.Drawing) -> None:
        self.scale, self.high = drawing.scale, drawing.size[1]

    def _p(self, p: shapes.Point) -> str:
        return f"{_n(p[0] * self.scale)} {_n(self.high - p[1] * self.scale)}"

    def _on_paper(self, p: shapes.Point) -> str:
        return f"{_n(p[0])} {_n(self.high - p[1])}"

    def draw(self, item: object) -> Iterator[str]:
        if isinstance(item, shapes.Line):
            yield f'<path d="M{self._p(item.start)}L{self._p(item.end)}"/>'
        elif isinstance(item, shapes.Polyline):
            yield f'<path d="{self._loop(item.points, item.closed)}"/>'
        elif isinstance(item, shapes.Circle):
            yield f'<circle {self._centre(item.centre)} r="{_n(item.radius * self.scale)}"/>'
        elif isinstance(item, shapes.Arc):
            yield self._arc(item)
        elif isinstance(item, shapes.Hatch):
            yield from self._hatch(item)
        elif isinstance(item, shapes.Text):
            at = item.at[0] * self.scale, item.at[1] * self.scale
            colour = shapes.LAYERS[item.layer].colour
            yield self._words(at, item.text, item.height, item.across, item.up, item.angle, colour, item.bold)
        elif isinstance(item, shapes.Linear | shapes.Round):
            yield from self._dimension(item)

    def _centre(self, p: shapes.Point) -> str:
        return f'cx="{_n(p[0] * self.scale)}" cy="{_n(self.high - p[1] * self.scale)}"'

    def _loop(self, points: Sequence[shapes.Point], closed: bool) -> str:
        return "M" + "L".join(self._p(p) for p in points) + ("Z" if closed else "")

    def _arc(self, item: shapes.Arc) -> str:
        sweep = (item.end - item.start) % 360.0 or 360.0
        ends = [
            (item.centre[0] + item.radius * math.cos(t), item.centre[1] + item.radius * math.sin(t))
            for t in (math.radians(item.start), math.radians(item.start + sweep))
        ]
        r = _n(item.radius * self.scale)
        return f'<path d="M{self._p(ends[0])}A{r} {r} 0 {int(sweep > 180.0)} 0 {self._p(ends[1])}"/>'

    def _hatch(self, item: shapes.Hatch) -> Iterator[str]:
        loops = [[(x * self.scale, y * self.scale) for x, y in loop] for loop in item.loops]
        cuts = hatch_lines(loops, item.angle, item.spacing)
        path = "".join(f"M{self._on_paper(a)}L{self._on_paper(b)}" for a, b in cuts)
        if path:
            yield f'<path d="{path}"/>'

    def _words(
        self,
        at: shapes.Point,
        text: str,
        height: float,
        across: str,
        up: str,
        angle: float,
        colour: str,
        bold: bool = False,
    ) -> str:
        a, drop = math.radians(angle), _RISE[up] * height
        x, y = at[0] + drop * math.sin(a), self.high - (at[1] - drop * math.cos(a))
        turn = f' transform="rotate({_n(-angle)} {_n(x)} {_n(y)})"' if angle else ""
        weight = ' font-weight="bold"' if bold else ""
        return (
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(shapes.font_size(height))}" text-anchor="{_ANCHOR[across]}" '
            f'fill={quoteattr(colour)} stroke="none"{weight}{turn}>{escape(text)}</text>'
        )

    def _dimension(self, item: shapes.Linear | shapes.Round) -> Iterator[str]:
        plan, colour = layout(item, self.scale), shapes.LAYERS["DIMENSION"].colour
        path = "".join(f"M{self._on_paper(a)}L{self._on_paper(b)}" for a, b in plan.lines)
        yield f'<path d="{path}"/>'
        for tip, towards in plan.arrows:
            corners = "L".join(self._on_paper(p) for p in arrow_head(tip, towards))
            yield f'<path d="M{corners}Z" fill="{colour}" stroke="none"/>'
        yield self._words(plan.middle, item.text, shapes.LETTERS, "centre", "middle", plan.angle, colour)


def hatch_lines(
    loops: Sequence[Sequence[shapes.Point]], angle: float, spacing: float
) -> list[tuple[shapes.Point, shapes.Point]]:
    """Lines at `angle` (degrees), `spacing` apart and all in step with (0, 0), clipped to the area between the loops
    (even-odd); corners and results in the same unit."""
    a = math.radians(angle)
    c, s = math.cos(a), math.sin(a)
    turned = [[(x * c + y * s, y * c - x * s) for x, y in loop] for loop in loops]  # hatch lines lie along x now
    edges = [(p, q) for loop in turned for p, q in zip(loop, [*loop[1:], loop[0]], strict=True)]
    if not edges:
        return []
    low, high = min(p[1] for p, _ in edges), max(p[1] for p, _ in edges)
    out = []
    for k in range(math.ceil(low / spacing), math.floor(high / spacing) + 1):
        y = (k + 1e-7) * spacing  # just off the grid, so that no line runs exactly through a corner
        hits = sorted(p[0] + (y - p[1]) / (q[1] - p[1]) * (q[0] - p[0]) for p, q in edges if (p[1] > y) != (q[1] > y))
        for x0, x1 in zip(hits[::2], hits[1::2], strict=False):
            out.append(((x0 * c - y * s, x0 * s + y * c), (x1 * c - y * s, x1 * s + y * c)))
    return out


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
