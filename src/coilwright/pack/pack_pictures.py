"""The pictures of a build pack as SVG text, by what they show."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from warnings import catch_warnings, filterwarnings

from coilwright.field.look import CheckResult
from coilwright.field.report import FieldReport
from coilwright.heating.result import ShotResult
from coilwright.pack.card_pictures import limits_picture, position_picture
from coilwright.pack.contents import PackContents
from coilwright.pack.field_pictures import field_picture, temperature_map
from coilwright.pack.section_picture import section_picture
from coilwright.pack.shot_pictures import temperature_picture
from coilwright.pack.tank_diagram import tank_diagram
from coilwright.pack.window_pictures import ladder_picture

Draw = Callable[[Path], Any]


@dataclass(frozen=True, eq=False)
class Early:
    """Pictures that are being drawn already: their names, and what waits for their SVG text by name."""

    names: tuple[str, ...] = ()
    wait: Callable[[], Mapping[str, str]] = dict


def look_pictures(looked: CheckResult) -> dict[str, Draw]:
    """That of the section, which needs nothing solved."""
    return {"section": lambda path: section_picture(looked, path)}


def cold_pictures(cold: FieldReport) -> dict[str, Draw]:
    """That of the cold field, which needs no other result."""
    return {"field": lambda path: field_picture(cold, path)}


def shot_pictures(shot: ShotResult) -> dict[str, Draw]:
    """Those of the shot, which need no other result."""
    return {
        "shot": lambda path: temperature_picture(shot, path),
        "map": lambda path: temperature_map(shot, path),
    }


def pack_pictures(contents: PackContents) -> dict[str, Draw]:
    """name -> what draws the picture into a file. Letters of the pictures are outlines, so they need no font."""
    wanted: dict[str, Draw] = {
        **look_pictures(contents.check),
        **cold_pictures(contents.field),
        **shot_pictures(contents.shot),
        "position": lambda path: position_picture(contents, path),
        "limits": lambda path: limits_picture(contents, path),
    }
    tank, window = contents.tank, contents.window
    if tank is not None:
        wanted["tank"] = lambda path: tank_diagram(tank, path)
    if window is not None:
        wanted["ladder"] = lambda path: ladder_picture(window, path)
    return wanted


def drawn(contents: PackContents, names: Collection[str] | None = None) -> dict[str, str]:
    """name -> SVG text of these pictures, of all when none are named."""
    wanted = pack_pictures(contents)
    return {name: svg_of(wanted[name]) for name in (wanted if names is None else names)}


def svg_of(draw: Draw) -> str:
    """SVG text of one picture. Letters its font lacks are drawn as boxes; nobody is helped by a warning each."""
    with TemporaryDirectory() as folder, catch_warnings():
        filterwarnings("ignore", "Glyph .* missing from", UserWarning)
        path = Path(folder) / "picture.svg"
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
