"""Temperature traces of thermocouple loggers and pyrometers from text files: time as seconds or as a clock, degrees
C, F or K.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.readings.checks import finite_columns, rising_time
from coilwright.readings.records import Floats, Temperatures
from coilwright.readings.text import decimal_within, decode, find_table
from coilwright.units import ZERO_CELSIUS

_CLOCK = re.compile(r"(?:\d{1,4}[-./]\d{1,2}[-./]\d{1,4}[T ]+)?(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+|,\d+(?=[;\t ]))?))?")
_TIME_NAME = re.compile(r"^(t|time|zeit|temps|elapsed|seconds|s|x)\b", re.IGNORECASE)
_SCALES = {"": 1.0, "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}
_CELSIUS = {"c", "°c", "degc", "celsius", "grad c", "deg c"}
_FAHRENHEIT = {"f", "°f", "degf", "fahrenheit", "deg f"}


def read_temperature(
    path: str | Path,
    columns: Sequence[str] | None = None,
    time_column: str | None = None,
    unit: str | None = None,
    decimal: str | None = None,
) -> Temperatures:
    """Read a temperature trace; returns K and s from the first row on.

    `columns` the channels to keep, `time_column` the time (else by name, else the first column), `unit` "degC",
    "degF" or "K" where the file does not say. Clock times (hh:mm:ss, midnight included) are counted from the first
    row. Raises BadInput with one sentence for truncated files, wrong columns, mixed decimals, NaN, time running
    backwards, temperatures below absolute zero, a missing unit.
    """
    file = Path(path)
    text = decode(file)
    if _CLOCK.search(text):
        return _with_clock(file, text, columns, unit, decimal)
    table = find_table(file, decimal)
    index = _time_index(table.names, time_column, str(path))
    scale = _SCALES.get(table.units[index].lower())
    if scale is None:
        raise BadInput(
            Fault(str(path), f'the unit "{table.units[index]}" of its time column is not known; use ms, s, min or h')
        )
    kept = _kept(table.names, columns, index, str(path))
    finite_columns(
        table.numbers[:, [index, *kept]], [table.names[k] for k in (index, *kept)], table.first_line, str(path)
    )
    time = table.numbers[:, index] * scale
    rising_time(time, table.first_line, str(path))
    channels = {
        table.names[k]: _kelvin(table.numbers[:, k], unit or table.units[k], table.names[k], str(path)) for k in kept
    }
    return Temperatures(time, channels, str(path))


def _with_clock(
    file: Path, text: str, columns: Sequence[str] | None, unit: str | None, decimal: str | None
) -> Temperatures:
    """Clock times are turned into seconds first; then the file is an ordinary table."""
    lines = text.splitlines()
    stamped = [(k, m) for k, line in enumerate(lines) if (m := _CLOCK.search(line))]
    # a date and time alone in the header is no clock column
    first_run = next((k for k in range(len(stamped) - 1) if stamped[k + 1][0] == stamped[k][0] + 1), None)
    if first_run is None:
        raise BadInput(Fault(str(file), "has clock times in its header only; give the name of the time column"))
    stamped = stamped[first_run:]
    head = lines[: stamped[0][0]]
    bare = [lines[k][m.end() :].lstrip('" ') for k, m in stamped]
    delimiter = bare[0][:1] if bare[0][:1] in (";", ",", "\t") else " "
    sign = decimal or ("." if delimiter == "," else decimal_within("\n".join(bare), str(file)))
    seconds = _seconds([m for _, m in stamped])
    rising_time(seconds, stamped[0][0] + 1, str(file))
    rows = []
    for (k, _), line in zip(stamped, bare, strict=True):
        cells = line.split() if delimiter == " " else line.removeprefix(delimiter).split(delimiter)
        rows.append(_cells([c for c in cells if c.strip()], sign, k + 1, str(file)))
    width = len(rows[0])
    short = next((k for k, row in enumerate(rows) if len(row) != width), None)
    if short is not None or width == 0:
        raise BadInput(
            Fault(
                str(file),
                f"line {stamped[short or 0][0] + 1} must have {max(width, 1)} temperatures; is the file cut short?",
            )
        )
    names, units = _clock_heads(head, delimiter, width)
    numbers = np.array(rows)
    kept = _kept(names, columns, None, str(file))
    finite_columns(numbers[:, kept], [names[k] for k in kept], stamped[0][0] + 1, str(file))
    channels = {names[k]: _kelvin(numbers[:, k], unit or units[k], names[k], str(file)) for k in kept}
    return Temperatures(seconds - seconds[0], channels, str(file))


def _cells(cells: Sequence[str], sign: str, line: int, where: str) -> list[float]:
    row = []
    for cell in cells:
        text = cell.strip().strip('"')
        try:
            row.append(float(text.replace(",", ".") if sign == "," else text))
        except ValueError:
            raise BadInput(
                Fault(where, f'line {line} must hold numbers after the time, received "{text[:30]}"')
            ) from None
    return row


def _seconds(stamps: Sequence[re.Match[str]]) -> Floats:
    values = [3600.0 * int(m[1]) + 60.0 * int(m[2]) + float((m[3] or "0").replace(",", ".")) for m in stamps]
    out = np.array(values)
    midnight = np.flatnonzero(np.diff(out) < -43200.0)
    for k in midnight:
        out[k + 1 :] += 86400.0
    return out


def _clock_heads(head: Sequence[str], delimiter: str, width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    cells = [c.strip().strip('"') for c in head[-1].split(None if delimiter == " " else delimiter)] if head else []
    cells = [c for c in cells if c]
    heads = cells[-width:] if len(cells) > width else [f"channel {k + 1}" for k in range(width)]
    found = [re.match(r"^(.*?)\s*[\[(]\s*([^\])]*)\s*[\])]$", h) for h in heads]
    names = tuple(m[1] if m and m[1] else h for m, h in zip(found, heads, strict=True))
    return names, tuple(m[2] if m else "" for m in found)


def _time_index(names: Sequence[str], asked: str | None, where: str) -> int:
    if asked is None:
        return next((k for k, n in enumerate(names) if _TIME_NAME.match(n)), 0)
    for k, name in enumerate(names):
        if name.lower() == asked.lower():
            return k
    raise BadInput(Fault(where, f'has no column "{asked}"; it has {", ".join(names)}'))


def _kept(names: Sequence[str], columns: Sequence[str] | None, time_index: int | None, where: str) -> list[int]:
    if columns is None:
        kept = [k for k in range(len(names)) if k != time_index]
    else:
        kept = []
        for column in columns:
            if column not in names or names.index(column) == time_index:
                raise BadInput(Fault(where, f'has no temperature column "{column}"; it has {", ".join(names)}'))
            kept.append(names.index(column))
    if not kept:
        raise BadInput(Fault(where, "has a time column but no temperature"))
    return kept


def _kelvin(values: Floats, unit: str, name: str, where: str) -> Floats:
    text = unit.strip().lower()
    if text in _CELSIUS:
        out = values + ZERO_CELSIUS
    elif text in _FAHRENHEIT:
        out = (values - 32.0) / 1.8 + ZERO_CELSIUS
    elif text in {"k", "kelvin"}:
        out = values.copy()
    else:
        said = f'has the unknown unit "{unit}"' if unit else "does not say its unit"
        raise BadInput(Fault(where, f'column "{name}" {said}; give unit = "degC"'))
    if np.any(out < 0.0):
        k = int(np.argmin(out))
        raise BadInput(
            Fault(
                where, f'column "{name}" falls below absolute zero ({values[k]:g} {unit}); is the column the right one?'
            )
        )
    return out
