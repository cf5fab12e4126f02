"""Chapters 3 and 4: the workshop drawings, one to a page, and the tables that go to bench and store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coilwright.pack.blocks import Block, heading, notice, sheet, small, table, text
from coilwright.pack.drawing import Drawing
from coilwright.pack.tables import Table
from coilwright.pack.traced import Ledger, Traced


def drawing_pages(drawings: Sequence[Drawing], ledger: Ledger) -> Iterator[Block]:
    """A list of the drawings, then every one on a page of its own size, so that printed as it is its scale holds."""
    if not drawings:
        yield notice("missing", "No drawings", "This job has nothing that could be drawn for the workshop.")
        return
    rows = []
    for traced in Traced(drawings, "drawings"):
        file = f"{ledger.words(traced.name)}.dxf"
        rows.append((ledger.words(traced.title), file, ledger.words(traced.scale_text)))
    yield text(
        "The sheets follow at their own size; print them without scaling. The files beside this one hold true sizes."
    )
    yield table(("drawing", "file", "scale"), rows, left=(0, 1), wide=(1.6, 1, 0))
    for n, drawing in enumerate(drawings, 1):
        wide, high = drawing.size
        yield sheet(f"drawing-{n}.svg", drawing.title, wide, high)


def table_pages(tables: Sequence[Table], ledger: Ledger) -> Iterator[Block]:
    """Every table with its notes."""
    if not tables:
        yield notice("missing", "No tables", "This job gives nothing to list for the workshop.")
        return
    for n, found in enumerate(Traced(tables, "tables")):
        yield heading(ledger.words(found.title))
        shown = tables[n].shown()
        rows = [
            [ledger.words(Traced(cell, f"tables[{n}].shown()[{i}][{k}]")) for k, cell in enumerate(row)]
            for i, row in enumerate(shown)
        ]
        left = [
            k
            for k, column in enumerate(tables[n].columns)
            if not column.unit and any(isinstance(r[k], str) for r in tables[n].rows)
        ]
        heads = [
            ledger.words(Traced(column.title, f"tables[{n}].columns[{k}].title"))
            for k, column in enumerate(tables[n].columns)
        ]
        yield table(heads, rows, left=left, wide=[1.6 if k in left else 0 for k in range(len(heads))])
        for k, note in enumerate(tables[n].notes):
            yield small(ledger.words(Traced(note, f"tables[{n}].notes[{k}]")))
