"""A workshop table: columns with their units, rows of figures and words, one CSV file each."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

Cell = str | float | int | None
_FORMULA: Final = ("=", "+", "-", "@")  # a spreadsheet would run words that begin so; an apostrophe keeps them words


@dataclass(frozen=True)
class Column:
    """`heading` in words, `unit` as printed ("" for words and plain counts), significant `digits` on paper."""

    heading: str
    unit: str = ""
    digits: int = 4

    @property
    def title(self) -> str:
        return f"{self.heading} [{self.unit}]" if self.unit else self.heading


@dataclass(frozen=True)
class Table:
    """`rows` hold one cell per column: words, a figure in the column's unit, or None where there is nothing to say.

    `notes` stand under the table: assumptions, sources, cautions.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.name}: a row of {len(row)} cells under {len(self.columns)} columns: {row}")

    def shown(self) -> list[list[str]]:
        """The rows as printed."""
        pairs = [zip(row, self.columns, strict=True) for row in self.rows]
        return [[_printed(cell, column.digits) for cell, column in row] for row in pairs]

    def column(self, heading: str) -> tuple[Cell, ...]:
        """All cells under a heading; KeyError lists the headings there are."""
        headings = [c.heading for c in self.columns]
        if heading not in headings:
            raise KeyError(f'no column "{heading}" in {self.name}; there are {", ".join(headings)}')
        k = headings.index(heading)
        return tuple(row[k] for row in self.rows)

    def csv(self) -> str:
        """Headings with units, then the rows at full precision; notes follow after an empty line, a word "note" first."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([c.title for c in self.columns])
        writer.writerows([[_exact(cell) for cell in row] for row in self.rows])
        if self.notes:
            writer.writerow([])
            writer.writerows([["note", note] for note in self.notes])
        return out.getvalue()

    def write_csv(self, path: Path | str) -> Path:
        """Write `csv()` as UTF-8 with the byte order mark that spreadsheets look for."""
        path = Path(path)
        path.write_bytes(b"\xef\xbb\xbf" + self.csv().encode("utf-8"))
        return path


def _printed(cell: Cell, digits: int) -> str:
    if cell is None:
        return "–"
    if isinstance(cell, bool) or not isinstance(cell, int | float):
        return str(cell)
    if isinstance(cell, float) and not math.isfinite(cell):
        return "none" if math.isnan(cell) else "unlimited"
    if isinstance(cell, int):
        return str(cell)
    text = f"{cell:.{digits}g}"
    if "e" not in text:
        return text
    return f"{cell:.0f}" if abs(cell) >= 1.0 else text


def _exact(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(_FORMULA) else cell
    return repr(float(cell)) if isinstance(cell, float) else str(cell)
