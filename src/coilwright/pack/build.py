"""The pack as files: one PDF, and beside it what goes to the workshop and comes back from the machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coilwright.beside import begun
from coilwright.line.form import form_csv
from coilwright.pack.contents import PackContents
from coilwright.pack.documents import pages
from coilwright.pack.drawing import Drawing
from coilwright.pack.pack_pictures import Early, drawn, pack_pictures
from coilwright.pack.tables import Table
from coilwright.pack.traced import Entry
from coilwright.pack.typeset import typeset
from coilwright.pack.workshop_drawings import drawings as workshop_drawings
from coilwright.pack.workshop_tables import tables as workshop_tables

FORM = "hand-over.csv"


@dataclass(frozen=True, eq=False)
class PackResult:
    """A written pack: the PDF, every other file, and the ledger that says where each printed figure came from."""

    contents: PackContents
    pdf: Path
    files: tuple[Path, ...]
    entries: tuple[Entry, ...] = field(repr=False)
    drawings: tuple[Drawing, ...] = field(default=(), repr=False)
    tables: tuple[Table, ...] = field(default=(), repr=False)

    @property
    def passed(self) -> bool:
        return self.contents.passed

    def to_dict(self) -> dict[str, Any]:
        title = self.contents.title
        return {
            "title": title.title,
            "digest": title.digest,
            "verdict": "pass" if self.passed else "fail",
            "pdf": str(self.pdf),
            "files": [str(p) for p in self.files],
            "missing": dict(self.contents.missing),
            "figures": len(self.entries),
        }

    def __repr__(self) -> str:
        lines = [f"<pack of {self.contents.title.title!r}: {'pass' if self.passed else 'FAIL'}, {self.pdf}>"]
        lines += [f"  {p}" for p in self.files]
        return "\n".join([*lines, *(f"  not in it: {k}: {v}" for k, v in self.contents.missing.items())])


def write_pack(contents: PackContents, folder: Path, workers: int = 1, early: Early | None = None) -> PackResult:
    """Write everything into `folder`, which must exist. With two `workers` pictures and the DXF files are made beside the rest,
    but for the pictures that are being drawn `early`. The same contents give the same bytes."""
    early = early or Early()
    left = [name for name in pack_pictures(contents) if name not in early.names]
    with begun(lambda: drawn(contents, left), workers) as late:
        drawings, listed = _workshop(contents)
        made = pages(contents, drawings, listed, FORM)
        pictures = made.with_drawn({**early.wait(), **late()})
    with begun(lambda: _write_dxf(drawings, folder), workers) as dxf:
        pdf = typeset(made.data, pictures, folder / "pack.pdf")
        dxf()
    written = []
    for drawing in drawings:
        svg = folder / f"{drawing.name}.svg"
        svg.write_text(drawing.svg(), encoding="utf-8")
        written += [svg, folder / f"{drawing.name}.dxf"]
    for table in listed:
        target = folder / f"{table.name}.csv"
        table.write_csv(target)
        written.append(target)
    if contents.machine is not None:
        form = folder / FORM
        form.write_text(form_csv(contents.machine, contents.title.title, contents.title.digest), encoding="utf-8")
        written.append(form)
    entries = (*made.ledger.entries, *made.card_ledger.entries)
    return PackResult(contents, pdf, tuple(written), entries, drawings, listed)


def _write_dxf(drawings: Sequence[Drawing], folder: Path) -> None:
    for drawing in drawings:
        drawing.write_dxf(folder / f"{drawing.name}.dxf")


def _workshop(contents: PackContents) -> tuple[tuple[Drawing, ...], tuple[Table, ...]]:
    return tuple(workshop_drawings(contents)), tuple(workshop_tables(contents))
