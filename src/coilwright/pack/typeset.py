"""The door to the typesetter: data and pictures in, PDF bytes out.

Words reach the template as strings of a JSON file and are shown as they stand, so that no title or name of a job can be read as
markup. Only fonts that the typesetter and the picture library carry themselves are used (the words of drawings have the one
their room was measured with), every one of them embedded in the PDF; the clock is not read, so equal input gives equal bytes.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from coilwright.errors import CoilwrightError

STANDARD: Final = "a-2b"  # PDF/A-2b, ISO 19005-2: made to be kept
_LATIN: Final = 0x17F  # up to here every letter is in the fonts
UNDATED: Final = (2000, 1, 1)  # PDF/A wants some day in the file; the paper itself then says "undated"


class TypesetFailed(CoilwrightError):
    """The template could not be set: a fault of this package, with what the typesetter said."""


def _showable(text: str) -> str:
    """The text with characters that no font of the typesetter holds replaced by question marks: PDF/A takes no gaps."""
    strange = {ord(c): "?" for c in set(text) if ord(c) > _LATIN and not _has_glyph(c)}
    return text.translate(strange) if strange else text


@cache
def _drawing_fonts() -> tuple[Path, ...]:
    """Files of the font of drawings, plain and bold."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return folder / "DejaVuSans.ttf", folder / "DejaVuSans-Bold.ttf"


@cache
def _in_drawing_font() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    plain, bold = (frozenset(FT2Font(str(path)).get_charmap()) for path in _drawing_fonts())
    return plain & bold


@cache
def _has_glyph(character: str) -> bool:
    if ord(character) in _in_drawing_font():
        return True
    import typst

    # shown from data, as everything: the character is never read as markup
    source = b"#set document(date: datetime(year: 2000, month: 1, day: 1))\n#sys.inputs.c"
    try:
        typst.compile(
            source, sys_inputs={"c": character}, ignore_system_fonts=True, pdf_standards=STANDARD, timestamp=0
        )
    except typst.TypstError:
        return False
    return True


def typeset(data: Mapping[str, Any], pictures: Mapping[str, str], target: Path) -> Path:
    """Set `data` with `pictures` (file name -> SVG text) and write the PDF. Raises TypesetFailed."""
    import typst  # on first use only

    with TemporaryDirectory() as name, as_file(files("coilwright.pack") / "templates" / "pack.typ") as template:
        folder = Path(name)
        shutil.copyfile(template, folder / "pack.typ")
        fonts = folder / "fonts"  # of their own: the library's folder also holds fonts that show every sign as a box
        fonts.mkdir()
        for font in _drawing_fonts():
            shutil.copy(font, fonts)
        words = json.dumps(data, ensure_ascii=False, allow_nan=False)
        (folder / "pack.json").write_text(_showable(words), encoding="utf-8")
        for file, svg in pictures.items():
            (folder / file).write_text(_showable(svg), encoding="utf-8")
        try:
            paper = typst.compile(
                folder / "pack.typ", root=folder, font_paths=[fonts], ignore_system_fonts=True,
                pdf_standards=STANDARD, timestamp=0,
            )  # fmt: skip
        except typst.TypstError as error:
            raise TypesetFailed(f"the pages could not be set: {error}") from None
    target.write_bytes(paper)
    return target
