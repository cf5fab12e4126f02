"""What may change, as a grid of values: every axis is a list of values as the job file takes them.

A range without a step is a thousand equal parts, so that every value has a short text and a point stored as text is the
same point when it is read again.
"""

from __future__ import annotations

import csv
import json
import math
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import suggestion
from coilwright.job.lookup import kind_of, numeric_keys, value_at
from coilwright.job.values import as_written
from coilwright.section.quad9 import Array
from coilwright.seek.change import DERIVED, apply, as_drawn
from coilwright.seek.schema import Over, Seek
from coilwright.units import UnitFault, parse

PARTS = 1000
MOST_STEPS = 100_000
Place: TypeAlias = tuple[int, ...]
Values: TypeAlias = Mapping[str, Any]


@dataclass(frozen=True)
class Range:
    """`count` values from `low` in steps of `step`, numbers in `unit` ("" for plain numbers)."""

    low: float
    step: float
    count: int
    unit: str

    def __len__(self) -> int:
        return self.count

    def __getitem__(self, k: int) -> Any:
        digits = max(0, 2 - math.floor(math.log10(self.step)))
        number = round(self.low + k * self.step, digits)
        if not self.unit:
            return int(number) if number == int(number) else number
        return f"{number:.12g} {self.unit}"


@dataclass(frozen=True)
class Axis:
    """One thing that may change and its values, in order; `labels` name the rows of a stock list."""

    what: str
    values: list[Any] | Range
    labels: tuple[str, ...] = ()

    def shown(self, value: Any) -> str:
        """A value for a person: rows of a stock list by their name."""
        if self.labels:
            return self.labels[self._index(value)]
        if isinstance(value, Mapping):
            return " ".join(str(v) for v in value.values())
        return str(value)

    def _index(self, value: Any) -> int:
        return next(k for k in range(len(self.values)) if self.values[k] == value)

    def place(self, value: Any) -> float:
        """Where a value lies between the first (0) and the last (1)."""
        if isinstance(self.values, Range):
            number = float(str(value).split(" ")[0])
            return (number - self.values.low) / self.values.step / max(len(self.values) - 1, 1)
        return self._index(value) / max(len(self.values) - 1, 1)


@dataclass(frozen=True)
class Space:
    """All axes. A place is one index per axis; a point of the unit cube falls on the place whose cell it lies in."""

    axes: tuple[Axis, ...]

    @property
    def size(self) -> int:
        """How many different points there are."""
        return math.prod(len(a.values) for a in self.axes)

    def place(self, x: Array) -> Place:
        return tuple(min(int(float(u) * len(a.values)), len(a.values) - 1) for u, a in zip(x, self.axes, strict=True))

    def middle(self, place: Place) -> Array:
        """The middle of a place's cell in the unit cube."""
        return np.array([(k + 0.5) / len(a.values) for k, a in zip(place, self.axes, strict=True)])

    def values(self, place: Place) -> dict[str, Any]:
        return {a.what: a.values[k] for k, a in zip(place, self.axes, strict=True)}


def key_of(values: Values) -> str:
    """A text that is the same for the same values."""
    return json.dumps(dict(values), sort_keys=True, ensure_ascii=False)


def space_of(job: Job, seek: Seek) -> Space:
    """The axes of a job's [seek]. Raises BadInput with a sentence for everything that cannot be searched over."""
    axes: list[Axis] = []
    faults: list[Fault] = []
    for n, over in enumerate(seek.over, 1):
        where = f"{job.name}: seek.over.{n}"
        try:
            axis = _axis(job, over, where)
            _check_name(job, over.what, axis, where)
            axes.append(axis)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    return Space(tuple(axes))


def drawn_place(space: Space, job: Job) -> Place:
    """The place nearest to the job as drawn; the middle of an axis whose value the file does not state."""
    return tuple(_nearest(axis, job) for axis in space.axes)


def _nearest(axis: Axis, job: Job) -> int:
    here = value_at(job.document, axis.what) if axis.what not in DERIVED else as_drawn(job, axis.what)
    middle = (len(axis.values) - 1) // 2
    if isinstance(here, Mapping):
        rows = [axis.values[k] for k in range(len(axis.values))]
        same = [k for k, v in enumerate(rows) if all(_amount(here.get(n)) == _amount(x) for n, x in v.items())]
        return same[0] if same else middle
    wanted = _amount(here)
    if wanted is None:
        return middle
    if isinstance(axis.values, Range):
        low, high = (_amount(axis.values[k]) or 0.0 for k in (0, 1))
        return int(np.clip(round((wanted - low) / (high - low)), 0, len(axis.values) - 1)) if high > low else 0
    away = [abs((_amount(v) or 0.0) - wanted) for v in axis.values]
    return int(np.argmin(away))


def _amount(raw: Any) -> float | None:
    """SI value of anything that has one; words count by what they are, so that equal words are equal."""
    if isinstance(raw, int | float):
        return float(raw)
    try:
        kind = kind_of(raw, "")
    except BadInput:
        return None if raw is None else float(zlib.crc32(str(raw).encode()))
    return parse(raw, kind) if kind else float(raw)


def _axis(job: Job, over: Over, where: str) -> Axis:
    if over.among is not None:
        return Axis(over.what, _distinct(over.among, where))
    if over.stock is not None:
        names, rows = read_sizes(job.folder / Path(over.stock))
        return Axis(over.what, rows, names)
    return Axis(over.what, _range(over, where))


def _distinct(values: tuple[Any, ...], where: str) -> list[Any]:
    out: list[Any] = []
    for value in values:
        if not isinstance(value, str | int | float | dict) or isinstance(value, bool) or not _plain(value):
            what = f"must hold texts, numbers or tables, not {as_written(value)}"
            raise BadInput(Fault(f"{where}.among", what))
        if value not in out:
            out.append(value)
    return out


def _plain(value: Any) -> bool:
    """Whether a value can stand in the record, too (a table may hold dates, which cannot)."""
    try:
        json.dumps(value)
    except TypeError:
        return False
    return True


def _range(over: Over, where: str) -> Range:
    kinds = {key: kind_of(raw, f"{where}.{key}") for key, raw in (("from", over.start), ("to", over.end))}
    kind = kinds["from"]
    if kinds["to"] != kind:
        what = f"must be of the kind of from ({_kind_name(kind)}), not {as_written(over.end)}"
        raise BadInput(Fault(f"{where}.to", what))
    unit = "" if not kind else _unit(str(over.start))
    low, high = (_number(raw, kind, unit) for raw in (over.start, over.end))
    if not low < high:
        what = f"must be above from, but {as_written(over.end)} is not above {as_written(over.start)}; nothing lies between"
        raise BadInput(Fault(f"{where}.to", what))
    if over.step is None:
        return Range(low, (high - low) / PARTS, PARTS + 1, unit)
    return _stepped(over, where, (low, high), kind, unit)


def _stepped(over: Over, where: str, ends: tuple[float, float], kind: str, unit: str) -> Range:
    low, high = ends
    width = "temperature_difference" if kind == "temperature" else kind
    try:
        step = _number(over.step, width, unit)
    except UnitFault as fault:
        raise BadInput(Fault(f"{where}.step", str(fault))) from None
    if not step > 0.0 or (high - low) / step > MOST_STEPS:
        what = f"must be above zero and leave at most {MOST_STEPS} values, not {as_written(over.step)}"
        raise BadInput(Fault(f"{where}.step", what))
    return Range(low, step, math.floor((high - low) / step + 1e-9) + 1, unit)


def _kind_name(kind: str) -> str:
    return kind.replace("_", " ") or "a plain number"


def _unit(text: str) -> str:
    """The unit of a text with a unit."""
    return re.sub(r"^[+-]?[\d.]+(?:[eE][+-]?\d+)?\s*", "", text.strip())


def _number(raw: Any, kind: str, unit: str) -> float:
    """A value in the unit of the range."""
    if not kind:
        return float(raw)
    zero, one = (parse(f"{n} {unit}", kind) for n in (0, 1))
    return float(f"{(parse(raw, kind) - zero) / (one - zero):.12g}")


def _check_name(job: Job, what: str, axis: Axis, where: str) -> None:
    """Some value of the axis must be one the job file takes; a key that nobody knows takes none."""
    ends = [axis.values[0], axis.values[len(axis.values) - 1], axis.values[len(axis.values) // 2]]
    first: BadInput | None = None
    for value in [*ends, *axis.values] if isinstance(axis.values, list) else ends:
        try:
            apply(job, {what: value}, check_only=True)
        except BadInput as error:
            first = first or error
        else:
            return
    if first is None:
        return
    if what not in DERIVED and _nowhere(job, what):
        known = [*DERIVED, *numeric_keys(job.document)]
        raise BadInput(
            Fault(f"{where}.what", f"{as_written(what)} is not a quantity of this job; {suggestion(what, known)}")
        )
    said = "; ".join(str(f) for f in first.faults)
    raise BadInput(Fault(f"{where} {as_written(what)}", f"takes none of its values: {said}"))


def _nowhere(job: Job, what: str) -> bool:
    try:
        return value_at(job.document, what) is None
    except BadInput:
        return True


# stock sizes ---------------------------------------------------------------------------------------------------------


def read_sizes(path: Path) -> tuple[tuple[str, ...], list[dict[str, Any]]]:
    """(names, rows) of a CSV list of sizes: the first line names the keys, `name` is what a person calls a row.

    Raises BadInput for a list that cannot be read, is empty or has a ragged line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        what = f"cannot be read as text ({type(error).__name__}); name a CSV file in UTF-8"
        raise BadInput(Fault(path.name, what)) from None
    lines = [row for row in csv.reader(text.splitlines()) if any(cell.strip() for cell in row)]
    if len(lines) < 2:
        what = "the list of sizes is empty; write a first line such as name,outside,bore and at least one size"
        raise BadInput(Fault(path.name, what))
    keys = [c.strip() for c in lines[0]]
    names, rows = [], []
    for n, cells in enumerate(lines[1:], 2):
        if len(cells) != len(keys):
            what = f"has {len(cells)} entries, but the first line names {len(keys)} columns"
            raise BadInput(Fault(f"{path.name}: line {n}", what))
        row = {k: c.strip() for k, c in zip(keys, cells, strict=True)}
        names.append(row.pop("name", "") or " x ".join(v for v in row.values() if v))
        rows.append({k: _cell(v) for k, v in row.items() if v})
    return tuple(names), rows


def _cell(text: str) -> Any:
    try:
        return int(text) if text.isdecimal() else float(text)
    except ValueError:
        return text
