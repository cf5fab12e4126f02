"""What a study leaves for the page: sentences, tables, pictures, cautions, files; plain data, made in the study's process."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from coilwright.pack.looks import both_forms
from coilwright.pack.tables import Column, Table

_WORDS = {
    "card": "how far a coil may be out",
    "causes": "what moves the result",
    "choices": "where the front lies",
    "correlation": "how the fitted values hang together",
    "field": "the cold field",
    "front": "the front",
    "impedance": "what the source sees",
    "map": "where two quantities pass",
    "prediction": "another setting foretold",
    "readings": "what each reading shows",
    "section": "the section",
    "setting": "yield against the setting of the source",
    "shares": "share of bad pieces over time",
    "source": "where the source's power goes",
    "start-up": "the first and last periods",
    "stations": "station by station",
    "stray-field": "the field around the coil",
    "stress": "stress against the ratings",
    "tank": "the circuit",
    "tolerances": "how far each thing may be out",
    "trial": "measured over predicted",
    "trial-correlation": "how the fitted values hang together",
    "water": "the water circuit",
}


def shown(said: str, *, lines: Iterable[str] = (), tables: Iterable[Table | None] = (), pictures: Iterable[Path] = (),
          cautions: Iterable[object] = (), findings: Iterable[object] = (), files: Iterable[Path] = (),
          captions: Mapping[str, str] | None = None, **more: Any) -> dict[str, Any]:  # fmt: skip
    """The result of a study. `said` in one line; `pictures` and `files` stand in the study's folder; `captions` by the name of a
    picture, where the usual one would not do; `more` goes along."""
    known = captions or {}
    return {
        "said": said,
        "lines": list(lines),
        "tables": [plain(t) for t in tables if t is not None and t.rows],
        "pictures": [_picture(p, known.get(p.stem)) for p in pictures],
        "cautions": [str(c) for c in cautions],
        "findings": [str(f) for f in findings],
        "files": [p.name for p in files],
        **more,
    }


def _picture(path: Path, caption: str | None) -> dict[str, Any]:
    forms = [ending for ending in ("svg", "png") if path.with_suffix(f".{ending}").exists()]
    return {"name": path.stem, "words": caption or _words(path.stem), "forms": forms}


def plain(table: Table) -> dict[str, Any]:
    """A workshop table as the page prints it, with the CSV it gives away."""
    words = [all(isinstance(row[k], str | None) for row in table.rows) for k in range(len(table.columns))]
    return {
        "name": table.name,
        "title": table.title,
        "head": [c.title for c in table.columns],
        "words": words,
        "rows": table.shown(),
        "notes": list(table.notes),
        "csv": table.csv(),
    }


def table(
    name: str, title: str, columns: Iterable[str | Column], rows: Iterable[tuple[Any, ...]], *notes: str
) -> Table:
    """A table from its headings ("power [W]" gives the unit) and rows."""
    return Table(name, title, tuple(_column(c) for c in columns), tuple(rows), notes)


def _column(given: str | Column) -> Column:
    if isinstance(given, Column):
        return given
    heading, _, unit = given.partition(" [")
    return Column(heading, unit.rstrip("]"))


def drawn(draw: Callable[..., Iterable[Path]], result: Any, folder: Path) -> list[Path]:
    """All pictures of a result into the folder, each as PNG and as SVG."""
    with both_forms():
        return list(draw(result, folder))


def _words(name: str) -> str:
    for begin, words in _WORDS.items():
        if name == begin:
            return words
    begin, _, rest = name.partition("-")
    return f"{_WORDS[begin]} ({rest})" if begin in _WORDS else name.replace("-", " ")
