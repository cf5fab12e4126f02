"""Find the table in a text file from an instrument: encoding, separators, header, columns - by structure, not by
maker.

Where the structure allows two readings (is "1,25" one number or two?) the file is refused with a sentence that says
which option decides; nothing is guessed.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.readings.records import Floats, Table

_NUMBER = {
    ".": re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$", re.ASCII),
    ",": re.compile(r"^[+-]?(\d+,?\d*|,\d+)([eE][+-]?\d+)?$", re.ASCII),
}
_NOT_A_NUMBER = {
    "nan",
    "-nan",
    "+nan",
    "inf",
    "-inf",
    "+inf",
    "infinity",
    "-infinity",
    "#n/a",
    "---",
    "overflow",
    "ovrflw",
}
_UNIT_IN_NAME = re.compile(r"^(.*?)\s*[\[(]\s*([^\])]*)\s*[\])]\s*$")
_SAMPLE_LINES = 400


def decode(path: Path) -> str:
    """The text of a file: UTF-8 (with or without mark), UTF-16 with mark, else Latin-1."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise BadInput(Fault(str(path), f"cannot be read ({error.strerror}); check the name")) from None
    if not raw.strip(b"\0 \t\r\n"):
        raise BadInput(Fault(str(path), "is empty; export it again from the instrument"))
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError:
            what = "begins as UTF-16 text but is cut or damaged further on; export it again from the instrument"
            raise BadInput(Fault(str(path), what)) from None
    if b"\0" in raw[:4096]:
        raise BadInput(
            Fault(str(path), "is not a text file; export it as CSV, or give a .npz or .h5 file its own ending")
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _split(line: str, delimiter: str) -> list[str]:
    cells = line.split() if delimiter == " " else line.split(delimiter)
    return [c.strip().strip('"').strip() for c in cells]


def _numeric(cell: str, decimal: str) -> bool:
    return bool(_NUMBER[decimal].match(cell)) or cell.lower() in _NOT_A_NUMBER


def _looks_like_data(line: str) -> bool:
    letters = re.sub(r"[eE][+-]?\d|nan|inf", "", line, flags=re.IGNORECASE)
    return bool(re.search(r"\d", line)) and not re.search(r"[A-Za-z]{2,}", letters)


def _body(lines: Sequence[str]) -> list[str]:
    """Lines from the part of the file that is surely data: its last stretch."""
    tail = [line for line in lines[-_SAMPLE_LINES:] if line.strip()]
    return [line for line in tail if _looks_like_data(line)] or tail


def separators(lines: Sequence[str], where: str, decimal: str | None = None) -> tuple[str, str]:
    """(delimiter, decimal sign) of the data lines; `decimal` forces the sign. Raises BadInput when both readings
    are possible.
    """
    body = _body(lines)
    joined = "\n".join(body)
    for delimiter in (";", "\t"):
        if sum(delimiter in line for line in body) > len(body) // 2:
            return delimiter, decimal or decimal_within(joined, where)
    commas, points = "," in joined, "." in joined
    if not commas:
        return " ", decimal or "."
    spaced = sum(len(line.split()) > 1 and not re.search(r",\s", line) for line in body) > len(body) // 2
    if spaced:
        return " ", decimal or decimal_within(joined, where)
    if points:
        if decimal == ",":
            raise BadInput(
                Fault(where, "has both points and commas but no other separator; it cannot have decimal commas")
            )
        return ",", "."
    return _commas_alone(lines, body, where, decimal)


def decimal_within(joined: str, where: str) -> str:
    """The decimal sign of text whose columns are parted by something else; BadInput when it uses both."""
    comma = re.search(r"\d,\d", joined)
    point = re.search(r"\d\.\d", joined)
    if comma and point:
        raise BadInput(
            Fault(
                where,
                f'mixes decimal commas and points ("{_around(joined, comma)}", "{_around(joined, point)}"); use one',
            )
        )
    return "," if comma else "."


def _around(text: str, match: re.Match[str]) -> str:
    start, end = match.span()
    while start > 0 and (text[start - 1].isalnum() or text[start - 1] in "+-.,"):
        start -= 1
    while end < len(text) and (text[end].isalnum() or text[end] in "+-.,"):
        end += 1
    return text[start:end][:30]


def _commas_alone(lines: Sequence[str], body: Sequence[str], where: str, decimal: str | None) -> tuple[str, str]:
    """Only commas: they part the columns, or they are decimal signs in a one-column file; the header may tell."""
    cells = Counter(line.count(",") + 1 for line in body).most_common(1)[0][0]
    if decimal == ".":
        return ",", "."
    if decimal == ",":
        if cells == 2:
            return " ", ","
        raise BadInput(Fault(where, "parts its columns with the same comma as its decimals; export it with semicolons"))
    header = [line for line in lines[: len(lines) - len(body)] if line.strip()]
    if header and header[-1].count(",") + 1 == cells and re.search(r"[A-Za-z]", header[-1]):
        return ",", "."
    if cells % 2:
        return ",", "."  # an odd count cannot be pairs of whole and decimal part
    raise BadInput(
        Fault(
            where,
            f'could be read in two ways: "{body[0].strip()[:40]}" has commas only; say decimal = "." or decimal = ","',
        )
    )


def find_table(path: Path, decimal: str | None = None, keep_whole_lines: bool = False) -> Table:
    """The numbers of a text file with names, units and the lines above them.

    `decimal` forces "." or ",". A last line cut short is refused unless `keep_whole_lines`. NaN and overrange marks
    come back as nan for the caller to judge. Raises BadInput with one sentence.
    """
    if decimal not in (None, ".", ","):
        raise BadInput(Fault("decimal", f'must be "." or ",", received {decimal!r}'))
    where = str(path)
    lines = decode(path).splitlines()
    while lines and not lines[-1].strip():
        lines.pop()
    delimiter, sign = separators(lines, where, decimal)
    columns, width = _columns(lines, delimiter, sign, where)
    first = _first_data_line(lines, delimiter, sign, columns)
    rows = lines[first:]
    numbers = _numbers(rows, delimiter, sign, columns, width, first, where, keep_whole_lines)
    preamble = tuple(tuple(_split(line, delimiter)) for line in lines[:first])
    # some exports put settings beside the data, in columns of their own: keep those too
    beside = tuple(tuple(c for k, c in enumerate(_split(line, delimiter)) if k not in columns) for line in rows[:40])
    names, units = _header(preamble, columns, width)
    return Table(names, units, numbers, first + 1, (*preamble, *(b for b in beside if any(b))), delimiter, sign, where)


def _columns(lines: Sequence[str], delimiter: str, sign: str, where: str) -> tuple[tuple[int, ...], int]:
    """Which cells of a line hold data (numeric in the last stretch of the file), and how many cells a line has."""
    rows = [_split(line, delimiter) for line in _body(lines)]
    if not rows:
        raise BadInput(Fault(where, "holds no line of text; export it again from the instrument"))
    width = Counter(len(r) for r in rows).most_common(1)[0][0]
    rows = [r for r in rows if len(r) == width]
    columns = tuple(k for k in range(width) if sum(_numeric(r[k], sign) for r in rows) > 0.5 * len(rows))
    if not columns:
        raise BadInput(Fault(where, "holds no column of numbers; export the data, not a picture or a report"))
    return columns, width


def _first_data_line(lines: Sequence[str], delimiter: str, sign: str, columns: tuple[int, ...]) -> int:
    first = len(lines)
    for k in range(min(len(lines), 2000)):
        cells = _split(lines[k], delimiter)
        good = len(cells) > columns[-1] and all(_numeric(cells[c], sign) for c in columns)
        if good and k < first:
            first = k
        elif not good and first < len(lines) and k - first < 3:
            first = len(lines)  # a few numeric lines inside the header, not the data yet
        elif not good and first < len(lines):
            break
        if first < len(lines) and k - first > 20:
            break
    return first if first < len(lines) else max(0, len(lines) - 1)


def _numbers(
    rows: Sequence[str],
    delimiter: str,
    sign: str,
    columns: tuple[int, ...],
    width: int,
    first: int,
    where: str,
    keep_whole_lines: bool,
) -> Floats:
    last = _split(rows[-1], delimiter)
    if len(last) <= columns[-1] or not all(_numeric(last[c], sign) for c in columns):
        if not keep_whole_lines:
            raise BadInput(
                Fault(
                    where,
                    f'ends in the middle of line {first + len(rows)} ("{rows[-1].strip()[:30]}"); the file is cut short',
                )
            )
        rows = rows[:-1]
    text = "\n".join(rows)
    if sign == ",":
        text = text.replace(",", ".")
    text = text.replace('"', "")
    try:
        # the quick way, for the many files where every cell is a plain number
        quick = np.loadtxt(
            io.StringIO(text),
            delimiter=None if delimiter == " " else delimiter,
            usecols=columns,
            ndmin=2,
            comments=None,
        )
        return np.asarray(quick, dtype=np.float64)
    except ValueError:
        return _slow_numbers(rows, delimiter, sign, columns, width, first, where)


def _slow_numbers(
    rows: Sequence[str], delimiter: str, sign: str, columns: tuple[int, ...], width: int, first: int, where: str
) -> Floats:
    values = np.full((len(rows), len(columns)), np.nan)
    for k, line in enumerate(rows):
        cells = _split(line, delimiter)
        if len(cells) <= columns[-1]:
            raise BadInput(
                Fault(where, f"line {first + k + 1} has {len(cells)} of {width} columns; mend or remove that line")
            )
        for j, c in enumerate(columns):
            cell = cells[c]
            if _NUMBER[sign].match(cell):
                values[k, j] = float(cell.replace(",", ".") if sign == "," else cell)
            elif cell.lower() not in _NOT_A_NUMBER and cell:
                raise BadInput(
                    Fault(where, f'line {first + k + 1}, column {c + 1} must be a number, received "{cell[:30]}"')
                )
    return values


def _header(
    preamble: Sequence[tuple[str, ...]], columns: tuple[int, ...], width: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and units of the data columns from the last lines above the data that have a cell for each."""
    fitting = [row for row in preamble[-4:] if len(row) > columns[-1] and any(row[c] for c in columns)]
    fitting = [row for row in fitting if not all(_numeric(row[c], ".") for c in columns if row[c])]
    names = [f"column {c + 1}" for c in columns]
    units = [""] * len(columns)
    if not fitting:
        return tuple(names), tuple(units)
    heads = fitting[-1]
    if len(fitting) >= 2 and all(_is_unit(fitting[-1][c]) for c in columns):
        heads = fitting[-2]
        units = [fitting[-1][c].strip("()[]") for c in columns]
    for k, c in enumerate(columns):
        if not heads[c]:
            continue
        found = _UNIT_IN_NAME.match(heads[c])
        if found and found[1]:
            names[k], units[k] = found[1], found[2]
        else:
            names[k] = heads[c]
    return tuple(names), tuple(units)


_UNITS = re.compile(
    r"^[\[(]?(s|ms|us|µs|μs|ns|second|seconds|sec|v|mv|kv|volt|volts|a|ma|ka|ampere|amp|amps|hz|khz|mhz|ohm|Ω|h|uh|µh|nh|"
    r"f|uf|µf|nf|pf|degc|°c|c|k|degf|°f|deg|°|w|kw|)[\])]?$",
    re.IGNORECASE,
)


def _is_unit(cell: str) -> bool:
    return bool(_UNITS.match(cell))
