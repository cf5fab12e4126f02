"""Chapters 3 and 4: the workshop drawings, one to a page, and the tables that go to bench and store."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from coilwright.pack.blocks import Block, heading, notice, sheet, small, table, text
from coilwright.pack.drawing import Drawing
from coilwright.pack.tables import Table
from coilwright.pack.traced import Ledger, Traced, called

_LONG = 30  # letters, beyond which a cell wraps


def drawing_pages(drawings: Sequence[Drawing], undrawn: Mapping[str, str], ledger: Ledger) -> Iterator[Block]:
    """A list of the drawings and of what has none, then every one on a page of its own size, so that printed as it is its
    scale holds."""
    whys = Traced(undrawn, "not_drawn(contents)")
    lacking = [f"{thing}: {ledger.words(whys[thing])}" for thing in undrawn]
    if not drawings:
        yield notice("missing", "No drawings: this job has nothing that could be drawn for the workshop", *lacking)
        return
    rows = []
    for traced in Traced(drawings, "drawings"):
        file = f"{ledger.words(traced.name)}.dxf"
        rows.append((ledger.words(traced.title), file, ledger.words(traced.scale_text)))
    yield text(
        "The sheets follow at their own size; print them without scaling. The files beside this one hold true sizes."
    )
    yield table(("drawing", "file", "scale"), rows, left=(0, 1), wide=(1.6, 1, 0))
    if lacking:
        yield notice("missing", "Not drawn", *lacking)
    for n, drawing in enumerate(drawings, 1):
        wide, high = drawing.size
        yield sheet(f"drawing-{n}.svg", drawing.title, wide, high)


def table_pages(tables: Sequence[Table], ledger: Ledger) -> Iterator[Block]:
    """Every table with its notes."""
    if not tables:
        yield notice("missing", "No tables", "This job gives nothing to list for the workshop.")
        return
    for found, traced in zip(tables, Traced(tables, "tables"), strict=True):
        shown = called(traced.shown)
        rows = [[ledger.words(cell) for cell in row] for row in shown]
        heads = [ledger.words(column.title) for column in traced.columns]
        left = [k for k, column in enumerate(found.columns) if not column.unit and _wordy(found, k)]
        yield heading(ledger.words(traced.title))
        yield table(heads, rows, left=left, wide=_widths(heads, rows))
        for note in traced.notes:
            yield small(ledger.words(note))


def _wordy(found: Table, column: int) -> bool:
    return any(isinstance(row[column], str) for row in found.rows)


def _widths(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
    """Shares by what stands in a column: the longest word must fit, long sentences may wrap."""
    out = []
    for k, head in enumerate(heads):
        cells = [row[k] for row in rows]
        word = max((len(w) for text in (head, *cells) for w in text.split()), default=1)
        out.append(float(max(word + 2, min(max((len(c) for c in cells), default=1), _LONG))))
    return out
