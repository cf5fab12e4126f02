"""The shelf: a list of capacitors as a CSV file.

Columns (the first line names them, order free; quantities carry their unit as in the job file):

| column | example | must |
|---|---|---|
| name | film 0.33 uF | yes |
| capacitance | 0.33 uF | yes |
| count | 12 | yes: how many lie on the shelf |
| price | 8.50 | no, 0: of one can, in any one currency |
| tolerance | 0.05 | no, 0 |
| loss_tangent | 5e-4 | no, 0 |
| frequency | 50 kHz; 100 kHz; 200 kHz | no: the points at which the ratings are stated, parted by semicolons |
| rated_voltage | 700 V; 600 V; 400 V | no: rms, as many as frequencies, or one for all |
| rated_current | 80 A | no |
| rated_kvar | 40 kvar; 40 kvar; 30 kvar | no |
| temperature_coefficient | -250 ppm/K | no |
| width, depth, height | 40 mm | no, but all three: along the bars, across them, from bar to bar |
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from coilwright.errors import BadInput, Fault
from coilwright.tank.inputs import Can, RatingCurve
from coilwright.tank.schema import make_curve
from coilwright.units import parse

NEEDED = ("name", "capacitance", "count")
COLUMNS = (
    *NEEDED,
    "price",
    "tolerance",
    "loss_tangent",
    "frequency",
    "rated_voltage",
    "rated_current",
    "rated_kvar",
    "temperature_coefficient",
    "width",
    "depth",
    "height",
)


@dataclass(frozen=True)
class StockItem:
    """A can, how many lie on the shelf, and the price of one."""

    can: Can
    count: int
    price: float = 0.0


def read_stock(path: Path) -> tuple[StockItem, ...]:
    """The items of a stock file. Raises BadInput with one sentence per fault, also for an empty list."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(
            Fault(path.name, f"cannot be read as text ({type(error).__name__}); name a CSV file in UTF-8")
        ) from error
    return parse_stock(text.splitlines(), path.name)


def parse_stock(lines: Iterable[str], file_name: str) -> tuple[StockItem, ...]:
    """As `read_stock`, from lines of text."""
    reader = csv.DictReader(lines)
    columns = [c.strip() for c in reader.fieldnames or ()]
    faults = [
        Fault(f"{file_name}: line 1", f'the column "{c}" is missing; the columns are {", ".join(COLUMNS)}')
        for c in NEEDED
        if c not in columns
    ]
    faults += [
        Fault(f"{file_name}: line 1", f'the column "{c}" is not known; the columns are {", ".join(COLUMNS)}')
        for c in columns
        if c not in COLUMNS
    ]
    if faults:
        raise BadInput(faults)
    reader.fieldnames = columns
    items = []
    for row in reader:
        item = _item(
            {k: (v or "").strip() for k, v in row.items() if isinstance(k, str)},
            f"{file_name}: line {reader.line_num}",
            faults,
        )
        if item is not None:
            items.append(item)
    if not items and not faults:
        faults.append(
            Fault(file_name, "the stock list is empty; write at least one capacitor with its capacitance and count")
        )
    if faults:
        raise BadInput(faults)
    return tuple(items)


def _item(row: Mapping[str, str], where: str, faults: list[Fault]) -> StockItem | None:
    before = len(faults)

    def read(column: str, kind: str, default: float) -> float:
        text = row.get(column, "")
        if not text:
            return default
        try:
            return parse(text, kind) if kind else float(text)
        except ValueError as error:
            faults.append(Fault(f"{where}: {column}", str(error) if kind else f'must be a number, received "{text}"'))
            return default

    capacitance = read("capacitance", "capacitance", 0.0)
    count, price = read("count", "", 0.0), read("price", "", 0.0)
    tolerance, tan = read("tolerance", "", 0.0), read("loss_tangent", "", 0.0)
    drift = read("temperature_coefficient", "temperature_coefficient", 0.0)
    size = (read("width", "length", 0.0), read("depth", "length", 0.0), read("height", "length", 0.0))
    voltage, current, kvar = (
        _curve(row, c, k, where, faults)
        for c, k in (("rated_voltage", "voltage"), ("rated_current", "current"), ("rated_kvar", "reactive_power"))
    )
    if len(faults) > before:
        return None
    for holds, column, rule in (
        (capacitance > 0.0, "capacitance", "must be above zero"),
        (count >= 0.0 and count == int(count), "count", "must be a whole number, 0 or more"),
        (price >= 0.0, "price", "must not be below zero"),
        (0.0 <= tolerance < 1.0, "tolerance", "must be a fraction such as 0.05"),
        (0.0 <= tan < 1.0, "loss_tangent", "must be between 0 and 1"),
        (min(size) > 0.0 or size == (0.0, 0.0, 0.0), "width", "needs depth and height beside it, all above zero"),
    ):
        if not holds:
            faults.append(Fault(f"{where}: {column}", f'{rule}, received "{row.get(column, "")}"'))
    if len(faults) > before:
        return None
    can = Can(
        row["name"],
        capacitance,
        tolerance,
        tan,
        voltage=voltage,
        current=current,
        reactive_power=kvar,
        temperature_coefficient=drift,
        size=size if min(size) > 0.0 else None,
    )
    return StockItem(can, int(count), price)


def _curve(row: Mapping[str, str], column: str, kind: str, where: str, faults: list[Fault]) -> RatingCurve | None:
    text = row.get(column, "")
    if not text:
        return None
    try:
        values = [parse(part, kind) for part in text.split(";")]
        if len(values) == 1:
            return make_curve([1.0], values)
        return make_curve([parse(part, "frequency") for part in row.get("frequency", "").split(";")], values)
    except ValueError as error:
        faults.append(Fault(f"{where}: {column}", str(error)))
        return None
