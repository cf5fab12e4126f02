"""The hand-over sheet as a form to type into, and the filled form as the section [machine] of a job."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from coilwright.errors import BadInput, Fault
from coilwright.line.hand_over import HandOverRow, HandOverSheet
from coilwright.line.machine import READINGS, amount
from coilwright.units import KINDS, factor

KIND: Final = "coilwright hand-over form 1"
_HEADS: Final = ("date", "by", "gauge", "accepted", "notes")
_COLUMNS: Final = ("what", "station", "reading", "expected", "unit", "value", "uncertainty")
# Units of the form by the kind of a reading, and its SI unit.
UNITS: Final[Mapping[str | None, tuple[str, str]]] = {
    "frequency": ("kHz", "Hz"), "current": ("A", "A"), "voltage": ("V", "V"), "power": ("W", "W"),
    "temperature_difference": ("K", "K"), "time": ("s", "s"), "capacitance": ("uF", "F"), "mass": ("g", "kg"),
    "resistance": ("mohm", "ohm"), "length": ("mm", "m"), "flow": ("L/min", "m^3/s"),
    "pressure": ("bar", "Pa"), "inductance": ("uH", "H"), None: ("", ""),
}  # fmt: skip
_MOST_BYTES: Final = 500_000


def form_unit(kind: str | None) -> tuple[str, str]:
    """(unit of the form, SI unit) of a kind of reading; SI for kinds that have no handier one."""
    return UNITS[kind] if kind is None or kind in UNITS else (KINDS[kind][0], KINDS[kind][0])


def form_csv(sheet: HandOverSheet, title: str, digest: str) -> str:
    """The empty form; expected values stand beside the place for the read ones."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([["form", KIND], ["job", _safe(title)], ["digest", digest], *([h, ""] for h in _HEADS), []])
    writer.writerow(_COLUMNS)
    writer.writerows(_line(row) for row in sheet.rows)
    return out.getvalue()


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text


def _line(row: HandOverRow) -> list[str]:
    unit, si = form_unit(row.kind)
    expected = row.healthy
    shown = "" if expected is None else f"{expected / (factor(unit, si) if unit else 1.0):.6g}"
    return [row.what, str(row.station or ""), row.asked, shown, unit, "", ""]


def read_form(path: Path, digest: str) -> dict[str, Any]:
    """The [machine] table of a filled form; rows without a value are left out.

    Raises BadInput for a file that is no such form, belongs to another job, holds no value or one that is none.
    """
    where = path.name
    rows = _rows(path)
    heads = {
        r[0].strip().lower(): r[1].strip()
        for r in rows
        if len(r) > 1 and r[0].strip().lower() in ("form", "job", "digest", *_HEADS)
    }
    if heads.get("form") != KIND:
        raise BadInput(
            Fault(where, f'must be a hand-over form, whose first line reads "form,{KIND}"; take the one the pack wrote')
        )
    if heads.get("digest") != digest:
        what = f"belongs to another job or to an older state of it (digest {heads.get('digest') or 'none'}, the job has {digest})"
        raise BadInput(Fault(where, what + "; write the pack again and copy the values over"))
    start = next((n for n, r in enumerate(rows) if tuple(c.strip() for c in r[: len(_COLUMNS)]) == _COLUMNS), None)
    if start is None:
        raise BadInput(Fault(where, f"has lost its line of headings ({', '.join(_COLUMNS)})"))
    readings = list(_readings(rows[start + 1 :], where))
    if not readings:
        raise BadInput(Fault(where, 'holds no reading; type what was read into the column "value"'))
    return {**{h: heads[h] for h in _HEADS if heads.get(h)}, "reading": readings}


def _rows(path: Path) -> list[list[str]]:
    if not path.is_file():
        raise BadInput(Fault(str(path), "is not a file; name the form that was filled in"))
    if path.stat().st_size > _MOST_BYTES:
        raise BadInput(Fault(path.name, f"must be at most {_MOST_BYTES} bytes; a hand-over form is a page or two"))
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(Fault(path.name, "is not UTF-8 text; save the form as CSV in UTF-8")) from None
    apart = ";" if text.split("\n", 1)[0].count(";") else ","
    rows = list(csv.reader(io.StringIO(text), delimiter=apart))
    if apart == ";":  # a spreadsheet that parts by semicolons writes decimal commas
        rows = [[*r[:5], *(c.replace(",", ".") for c in r[5:7]), *r[7:]] for r in rows]
    return rows


def _readings(rows: Iterable[list[str]], where: str) -> Iterator[dict[str, Any]]:
    for n, row in enumerate(rows, 1):
        cells = dict(zip(_COLUMNS, (c.strip() for c in [*row, *[""] * len(_COLUMNS)]), strict=False))
        if not cells["value"]:
            continue
        at = f"{where}: reading {n}"
        if cells["what"] not in READINGS:
            raise BadInput(
                Fault(f"{at}.what", f'must be one of {", ".join(READINGS)}; received "{cells["what"][:40]}"')
            )
        out: dict[str, Any] = {"what": cells["what"], "value": _value(cells["value"], cells, at)}
        if cells["uncertainty"]:
            out["uncertainty"] = _value(cells["uncertainty"], cells, at)
        if cells["station"]:
            if not cells["station"].isdigit():
                raise BadInput(Fault(f"{at}.station", f'must be a whole number; received "{cells["station"][:20]}"'))
            out["station"] = int(cells["station"])
        yield out


def _value(text: str, cells: Mapping[str, str], at: str) -> str | float:
    """As the job writes it: a number with the form's unit unless it carries its own; plain readings stay numbers."""
    known = READINGS[cells["what"]]
    try:
        number: float | None = float(text)
    except ValueError:
        number = None
    if known.kind is None:
        if number is None:
            raise BadInput(Fault(f"{at}.value", f'{cells["what"]} is a plain number; received "{text[:40]}"'))
        return number
    written = text if number is None else f"{text} {cells['unit'] or form_unit(known.kind)[0]}"
    amount(written, cells["what"], at)
    return written
