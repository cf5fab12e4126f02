"""The pictures of a build pack as SVG text, by what they show."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from coilwright.pack.card_pictures import limits_picture, position_picture
from coilwright.pack.contents import PackContents
from coilwright.pack.field_pictures import field_picture, temperature_map
from coilwright.pack.section_picture import section_picture
from coilwright.pack.shot_pictures import temperature_picture
from coilwright.pack.tank_diagram import tank_diagram
from coilwright.pack.window_pictures import ladder_picture

Draw = Callable[[Path], Any]


def pack_pictures(contents: PackContents) -> dict[str, Draw]:
    """name -> what draws the picture into a file. Letters of the pictures are outlines, so they need no font."""
    wanted: dict[str, Draw] = {
        "section": lambda path: section_picture(contents.check, path),
        "field": lambda path: field_picture(contents.field, path),
        "shot": lambda path: temperature_picture(contents.shot, path),
        "map": lambda path: temperature_map(contents.shot, path),
        "position": lambda path: position_picture(contents, path),
        "limits": lambda path: limits_picture(contents, path),
    }
    tank, window = contents.tank, contents.window
    if tank is not None:
        wanted["tank"] = lambda path: tank_diagram(tank, path)
    if window is not None:
        wanted["ladder"] = lambda path: ladder_picture(window, path)
    return wanted


def drawn(contents: PackContents, names: Collection[str]) -> dict[str, str]:
    """name -> SVG text of these pictures."""
    wanted = pack_pictures(contents)
    with TemporaryDirectory() as folder:
        return {name: _drawn(wanted[name], Path(folder) / f"{name}.svg") for name in names}


def _drawn(draw: Draw, path: Path) -> str:
    draw(path)
    return path.read_text(encoding="utf-8")


def identity_picture(words: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG."""
    import segno

    out = io.BytesIO()
    segno.make(words, error="m", micro=False).save(
        out, kind="svg", scale=4, border=2, xmldecl=False, dark="#2b2a27", light=None
    )
    return out.getvalue().decode("utf-8")
