"""The door to the typesetter: data and pictures in, PDF bytes out.

Words reach the template as strings of a JSON file and are shown as they stand, so that no title or name of a job can be read as
markup. Only fonts that the typesetter carries itself are used, every one of them embedded in the PDF; the clock is not read, so
equal input gives equal bytes.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from coilwright.errors import CoilwrightError

STANDARD: Final = "a-2b"  # PDF/A-2b, ISO 19005-2: made to be kept
UNDATED: Final = (2000, 1, 1)  # PDF/A wants some day in the file; the paper itself then says "undated"


class TypesetFailed(CoilwrightError):
    """The template could not be set: a fault of this package, with what the typesetter said."""


def typeset(data: Mapping[str, Any], pictures: Mapping[str, str], target: Path) -> Path:
    """Set `data` with `pictures` (file name -> SVG text) and write the PDF. Raises TypesetFailed."""
    import typst  # on first use only

    with TemporaryDirectory() as name, as_file(files("coilwright.pack") / "templates" / "pack.typ") as template:
        folder = Path(name)
        shutil.copyfile(template, folder / "pack.typ")
        (folder / "pack.json").write_text(json.dumps(data, ensure_ascii=False, allow_nan=False), encoding="utf-8")
        for file, svg in pictures.items():
            (folder / file).write_text(svg, encoding="utf-8")
        try:
            paper = typst.compile(
                folder / "pack.typ", root=folder, ignore_system_fonts=True, pdf_standards=STANDARD, timestamp=0
            )
        except typst.TypstError as error:
            raise TypesetFailed(f"the pages could not be set: {error}") from None
    target.write_bytes(paper)
    return target
