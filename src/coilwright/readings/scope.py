"""Oscilloscope captures from text files: time column, or start and increment in the header."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.readings.checks import even_step, finite_columns
from coilwright.readings.records import Capture, Channel, Floats, Table
from coilwright.readings.text import find_table

_TIME_NAME = re.compile(r"^(t|x|time|zeit|temps|tempo|second|seconds|s|x-axis|source|in s)\b", re.IGNORECASE)
_COUNT_NAME = re.compile(r"^(x|sequence|sample|samples|index|no\.?|n|point|points|#)$", re.IGNORECASE)
_STEP_KEY = re.compile(
    r"(sample|sampling|x|time|horizontal)?[ _-]*(interval|increment|inc|xinc|delta|dt|h resolution)\b", re.I
)
_START_KEY = re.compile(r"^(start|x ?start|start time|x ?origin|x ?zero|xzero|xorigin|trigger offset)$", re.I)
_LENGTH_KEY = re.compile(r"^(record length|memory length|points|samples|number of points)$", re.I)
_TIME_SCALE = {
    "": 1.0,
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,
    "μs": 1e-6,
}
_TIME_SCALE |= {"ns": 1e-9}
_PREFIXES = {"v": ("V", 1.0), "mv": ("V", 1e-3), "kv": ("V", 1e3), "volt": ("V", 1.0), "volts": ("V", 1.0)}
_PREFIXES |= {"a": ("A", 1.0), "ma": ("A", 1e-3), "ka": ("A", 1e3), "amp": ("A", 1.0), "ampere": ("A", 1.0)}


def read_scope_csv(
    path: str | Path,
    columns: Sequence[str] | None = None,
    time_column: str | None = None,
    units: Sequence[str] | None = None,
    decimal: str | None = None,
    keep_whole_lines: bool = False,
) -> Capture:
    """Read a capture exported as text.

    `columns` names (or counts from 1, as text) the data columns to keep, else all; `time_column` the time, else
    found by its name or as the first steadily rising column; `units` states the unit wanted of each column kept
    ("V", "A") and is checked against the file. `decimal` forces "." or ",". Volts and amperes come back in V and A.
    Raises BadInput with one sentence for: truncated file, wrong columns, mixed decimal signs, NaN, time running
    backwards or with gaps, a column whose unit contradicts the one asked for.
    """
    table = find_table(Path(path), decimal, keep_whole_lines)
    start, step, time_index = _time_base(table, time_column)
    wanted = _wanted(table, columns, time_index)
    finite_columns(table.numbers[:, wanted], [table.names[k] for k in wanted], table.first_line, table.origin)
    _declared_length(table, keep_whole_lines)
    channels = tuple(_channel(table, k) for k in wanted)
    if units is not None:
        _units_agree(channels, units, table.origin)
    return Capture(channels, step, start, table.origin, tuple(_clipping(channels)))


def _setting(table: Table, key: re.Pattern[str]) -> float | None:
    """A number in the header beside (or below) a cell that matches `key`."""
    for row, below in zip(table.preamble, (*table.preamble[1:], ()), strict=False):
        for k, cell in enumerate(row):
            if not key.fullmatch(cell.rstrip(": ").strip()):
                continue
            for other in (row[k + 1] if k + 1 < len(row) else "", below[k] if k < len(below) else ""):
                try:
                    return float(other.replace(",", ".") if table.decimal == "," else other)
                except ValueError:
                    continue
    return None


def _time_base(table: Table, asked: str | None) -> tuple[float, float, int | None]:
    """(start s, step s, index of the time column or None)."""
    names = table.names
    if asked is not None:
        index: int | None = _index(table, asked)
    else:
        index = next((k for k, n in enumerate(names) if _TIME_NAME.match(n) and not _counts(table.numbers[:, k])), None)
    step, start = _setting(table, _STEP_KEY), _setting(table, _START_KEY)
    counter = next((k for k in range(len(names)) if _COUNT_NAME.match(names[k]) and _counts(table.numbers[:, k])), None)
    if index is None and step is not None:
        index = next((k for k in range(len(names)) if _steps_by(table.numbers[:, k], step)), None)
    if index is None and step is not None:
        if not step > 0.0:
            raise BadInput(
                Fault(table.origin, f"the sample interval in its header must be greater than zero, received {step:g}")
            )
        return start or 0.0, step, counter
    if index is None:
        rising = (k for k in range(len(names)) if len(names) > 1 and bool(np.all(np.diff(table.numbers[:, k]) > 0.0)))
        index = next(rising, None)
    if index is None:
        raise BadInput(
            Fault(
                table.origin,
                f"has no time: name the time column (it has {', '.join(names)}) or give a file with an interval",
            )
        )
    unit = table.units[index].lower()
    scale = _TIME_SCALE.get(unit)
    if scale is None:
        raise BadInput(
            Fault(table.origin, f'the unit "{table.units[index]}" of its time column is not known; use s, ms, us or ns')
        )
    time = table.numbers[:, index] * scale
    finite_columns(time[:, None], [names[index]], table.first_line, table.origin)
    first, step = even_step(time, table.first_line, table.origin)
    return first, step, index


def _counts(column: Floats) -> bool:
    return len(column) > 1 and bool(np.all(np.diff(column) == 1.0))


def _steps_by(column: Floats, step: float) -> bool:
    return len(column) > 1 and bool(np.all(np.abs(np.diff(column) - step) < 0.01 * step))


def _index(table: Table, name: str) -> int:
    for k, known in enumerate(table.names):
        if known.lower() == name.lower():
            return k
    if name.isdigit() and 1 <= int(name) <= len(table.names):
        return int(name) - 1
    raise BadInput(Fault(table.origin, f'has no column "{name}"; it has {", ".join(table.names)}'))


def _wanted(table: Table, columns: Sequence[str] | None, time_index: int | None) -> list[int]:
    if columns is not None:
        wanted = [_index(table, c) for c in columns]
    else:
        wanted = [k for k in range(len(table.names)) if k != time_index]
    if time_index in wanted:
        raise BadInput(Fault(table.origin, f'column "{table.names[time_index or 0]}" is the time, not a channel'))
    if not wanted:
        raise BadInput(Fault(table.origin, "has a time column but no channel; export at least one trace"))
    return wanted


def _channel(table: Table, k: int) -> Channel:
    unit, factor = _PREFIXES.get(table.units[k].lower(), (table.units[k], 1.0))
    return Channel(table.names[k], table.numbers[:, k] * factor, unit)


def _units_agree(channels: Sequence[Channel], units: Sequence[str], where: str) -> None:
    if len(units) != len(channels):
        raise BadInput(Fault(where, f"units were given for {len(units)} columns, but {len(channels)} are read"))
    for channel, unit in zip(channels, units, strict=True):
        if channel.unit and channel.unit != unit:
            raise BadInput(
                Fault(
                    where,
                    f'column "{channel.name}" is in {channel.unit} but {unit} was asked for; are two channels swapped?',
                )
            )


def _declared_length(table: Table, keep_whole_lines: bool) -> None:
    declared = _setting(table, _LENGTH_KEY)
    if declared is not None and len(table.numbers) < declared and not keep_whole_lines:
        raise BadInput(
            Fault(
                table.origin,
                f"says it holds {declared:.0f} samples but has {len(table.numbers)}; the file is cut short, copy it again",
            )
        )


def _clipping(channels: Sequence[Channel]) -> list[Finding]:
    """Overdriven inputs: the extreme level is held far oftener than the level beside it (a sine gives at most 2.4
    times).
    """
    found = []
    for channel in channels:
        levels, counts = np.unique(channel.values(0, 200_000), return_counts=True)
        if len(levels) <= 8:
            continue
        ends = ((counts[-1], counts[-2]), (counts[0], counts[1]))
        held = max((int(end) for end, beside in ends if end > 6 * beside), default=0)
        if held > 0.02 * counts.sum():
            text = f"stands at its extreme value in {100.0 * held / counts.sum():.0f} % of the samples: the input was overdriven."
            found.append(Finding("clipped", "warning", channel.name, text, "Take it again with a larger range."))
    return found
