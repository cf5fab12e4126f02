"""The sheet round a drawing: border, title block, and the room that is left to draw in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import Drawing, Item, Point, View, scale_text, text_width

SIZE: Final = (297.0, 210.0)  # A4 landscape, mm
LOW: Final = (10.0, 37.0)  # lower left and upper right corner of the room to draw in
HIGH: Final = (287.0, 200.0)
COLUMN: Final = 78.0  # mm: width of the words beside the views
_BLOCK: Final = (10.0, 10.0, 277.0, 24.0)  # title block: x, y, width, height
# Cells: x and width in the block, row from the top, what stands small above.
_CELLS: Final = {
    "job": (0.0, 92.0, 0),
    "drawing": (0.0, 92.0, 1),
    "customer": (92.0, 52.0, 0),
    "made by": (92.0, 52.0, 1),
    "number": (144.0, 40.0, 0),
    "job text": (144.0, 40.0, 1),
    "scale": (184.0, 20.0, 0),
    "sizes in": (204.0, 20.0, 0),
    "projection": (184.0, 40.0, 1),
    "tolerances": (224.0, 53.0, 0),
    "date": (224.0, 31.0, 1),
    "sheet": (255.0, 22.0, 1),
}
_INDENT: Final = 3.0  # mm: what continues a line is set in
GENERAL_TOLERANCE: Final = "general tolerance as ordered"


class Sheet:
    """A drawing in the making: views draw on it, `finished` puts the frame round."""

    def __init__(self, contents: PackContents, name: str, title: str, scale: float) -> None:
        self.contents, self.name, self.title, self.scale = contents, name, title, scale
        self.items: list[Item] = []

    def view(self, at: Point) -> View:
        """A view whose origin stands `at` (paper mm from the lower left corner of the sheet)."""
        return View(self.items, self.scale, at)

    def words(self, at: Point, lines: Sequence[str], width: float = COLUMN, height: float = 2.2) -> float:
        """Words under one another from `at` (paper mm) down, broken at `width` mm; a line in capitals and colon leads a
        group. Returns y below the last one."""
        page = self.view((0.0, 0.0))
        y = at[1]
        for line in lines:
            head = line.endswith(":") and line.isupper()
            if head and y < at[1]:
                y -= 1.2
            for part in wrapped(line.rstrip(":").lower().capitalize() if head else line, width, height):
                x = at[0] + (_INDENT if part.startswith(" ") else 0.0)
                page.text((page.paper(x), page.paper(y)), part.strip(), height=height, up="top", bold=head)
                y -= 1.75 * height
        return y

    def finished(self, number: int, of: int) -> Drawing:
        """The drawing with border and title block."""
        self._frame(number, of)
        return Drawing(self.name, self.title, self.scale, SIZE, tuple(self.items))

    def _frame(self, number: int, of: int) -> None:
        page = self.view((0.0, 0.0))
        mm = page.paper

        def at(x: float, y: float) -> Point:
            return mm(x), mm(y)

        x0, y0, wide, high = _BLOCK
        page.box(at(10.0, 10.0), at(287.0, 200.0), "FRAME")
        page.line(at(x0, y0 + high), at(x0 + wide, y0 + high), "FRAME")
        values = self._values(number, of)
        for name, (x, w, row) in _CELLS.items():
            left, bottom = x0 + x, y0 + (0.5 * high if row == 0 else 0.0)
            if x > 0.0:
                page.line(at(left, bottom), at(left, bottom + 0.5 * high), "THIN")
            if row == 0:
                page.line(at(left, bottom), at(left + w, bottom), "THIN")
            page.text(at(left + 1.2, bottom + 0.5 * high - 1.2), name, height=1.5, up="top", layer="DIMENSION")
            text, size = fitted(values[name], w - 2.4, 3.2 if name in ("job", "drawing") else 2.5)
            page.text(at(left + 1.2, bottom + 2.2), text, height=size, bold=name in ("job", "drawing"))
        self._cone(page, x0 + 184.0 + 27.0, y0 + 5.6)
        foot = f"made by coilwright {self.contents.title.version} from {self.contents.title.file}"
        page.text(at(287.0, 6.0), foot, height=1.6, across="right", layer="DIMENSION")
        if not self.contents.passed:
            said = "This job does not meet its own acceptance as computed; do not build before that is settled."
            page.text(at(10.0, 6.0), said, height=2.0, bold=True, layer="PART")

    def _values(self, number: int, of: int) -> dict[str, str]:
        title = self.contents.title
        revision = f" rev. {title.revision}" if title.revision else ""
        return {
            "job": title.title,
            "drawing": self.title,
            "customer": title.customer or "–",
            "made by": title.shop or "–",
            "number": (title.number or "–") + revision,
            "job text": title.digest[:16],
            "scale": scale_text(self.scale),
            "sizes in": "mm",
            "projection": "first angle",
            "tolerances": GENERAL_TOLERANCE,
            "date": title.date or "–",
            "sheet": f"{number} of {of}",
        }

    def _cone(self, page: View, x: float, y: float) -> None:
        """The sign of first-angle projection (ISO 5456-2, memory): the cone's side, its small end seen on the right."""
        mm = page.paper
        corners = [(x - 5.0, y - 1.4), (x - 5.0, y + 1.4), (x + 1.0, y + 2.8), (x + 1.0, y - 2.8)]
        page.polyline([(mm(a), mm(b)) for a, b in corners], "THIN", closed=True)
        for radius in (1.4, 2.8):
            page.circle((mm(x + 6.5), mm(y)), mm(radius), "THIN")
        page.line((mm(x - 6.0), mm(y)), (mm(x + 2.0), mm(y)), "CENTRE")
        page.line((mm(x + 3.0), mm(y)), (mm(x + 10.0), mm(y)), "CENTRE")


def wrapped(text: str, width: float, height: float) -> list[str]:
    """Words broken into lines of at most `width` mm; following lines are set in."""
    lines: list[str] = []
    line = " " if text.startswith(" ") else ""
    for word in text.split():
        trial = f"{line} {word}" if line.strip() else f"{line}{word}"
        if line.strip() and text_width(trial, height) > width - _INDENT:
            lines.append(line)
            line = f" {word}"
        else:
            line = trial
    return [*lines, line]


def fitted(text: str, width: float, height: float) -> tuple[str, float]:
    """(text, height): smaller letters down to 1.8 mm where the words are too long, then cut with an ellipsis."""
    wide = text_width(text, height, True)
    if wide > width:
        height = max(1.8, height * width / wide)
    while text_width(text, height, True) > width and len(text) > 2:
        text = text[:-2].rstrip() + "…"
    return text, height
