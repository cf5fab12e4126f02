"""A price built up from a file of rates: what is counted, how much of it, at what rate. Arithmetic only."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.job.values import Line

Amount = Annotated[float, Field(ge=0.0, le=1e9, allow_inf_nan=False)]
_COLUMNS = ("what", "amount", "of", "unit", "rate")
_MOST_BYTES = 200_000


class RateLine(Table):
    """One line: `amount` as a number, or counted by the program as `of`; `rate` in money per `unit`; an `option` is priced
    but not in the total."""

    what: Line
    rate: Amount
    unit: Line = ""
    amount: Amount | None = None
    of: Line = ""
    option: bool = False

    def clashes(self) -> Iterator[tuple[str, str]]:
        if (self.amount is None) == (not self.of):
            yield "amount", "give either amount as a number or of = what the program counts, not both and not neither"


class Rates(Table):
    """`line` after line; `overhead`, `risk` and `profit` as shares added one after the other; `valid` for how long; terms of
    `delivery` and `payment` in words."""

    currency: Line
    line: Annotated[tuple[RateLine, ...], Field(min_length=1, max_length=300)]
    overhead: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    risk: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    profit: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    valid: Line = ""
    delivery: Line = ""
    payment: Line = ""


@dataclass(frozen=True)
class PriceLine:
    """`counted`: whether the amount was counted from the results rather than written in the file; `option`: not in the
    total."""

    what: str
    amount: float
    unit: str
    rate: float
    counted: bool
    option: bool = False

    @property
    def cost(self) -> float:
        return self.amount * self.rate


@dataclass(frozen=True)
class PriceSheet:
    """Lines, the sum of those that are no option and what is added to it."""

    currency: str
    lines: tuple[PriceLine, ...]
    overhead: float
    risk: float
    profit: float
    valid: str
    delivery: str = ""
    payment: str = ""

    @property
    def direct(self) -> float:
        return sum(x.cost for x in self.lines if not x.option)

    def with_additions(self, cost: float) -> float:
        """What a direct cost makes of the price: overhead, risk and profit added one after the other."""
        return cost * (1.0 + self.overhead) * (1.0 + self.risk) * (1.0 + self.profit)

    @property
    def overhead_cost(self) -> float:
        return self.overhead * self.direct

    @property
    def risk_cost(self) -> float:
        return self.risk * (self.direct + self.overhead_cost)

    @property
    def profit_cost(self) -> float:
        return self.profit * (self.direct + self.overhead_cost + self.risk_cost)

    @property
    def total(self) -> float:
        return self.direct + self.overhead_cost + self.risk_cost + self.profit_cost


def read_rates(path: Path) -> Rates:
    """Rates from TOML (the tables of Rates) or CSV (columns what, amount, of, unit, rate). Raises BadInput."""
    where = path.name
    if not path.is_file():
        raise BadInput(Fault(str(path), "is not a file of rates; name a .toml or .csv file"))
    if path.stat().st_size > _MOST_BYTES:
        raise BadInput(Fault(where, f"must be at most {_MOST_BYTES} bytes, a file of rates is a page or two"))
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = _from_csv(text) if path.suffix.lower() == ".csv" else tomllib.loads(text)
    except UnicodeDecodeError:
        raise BadInput(Fault(where, "is not UTF-8 text; save it as UTF-8")) from None
    except tomllib.TOMLDecodeError as error:
        raise BadInput(Fault(where, f"is not readable TOML: {error}")) from None
    try:
        return Rates.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(where, Rates, raw, error)) from None


def _from_csv(text: str) -> Mapping[str, Any]:
    """The tables of a CSV file; lines named currency, overhead, risk, profit, valid, delivery and payment carry their
    value as amount; "yes" in a column `option` sets a line apart from the total."""
    rows = list(csv.DictReader(io.StringIO(text)))
    raw: dict[str, Any] = {"line": []}
    for row in rows:
        cells = {k: (row.get(k) or "").strip() for k in _COLUMNS}
        name = cells["what"].lower()
        if name in ("currency", "valid", "delivery", "payment"):
            raw[name] = cells["amount"]
        elif name in ("overhead", "risk", "profit"):
            raw[name] = _number(cells["amount"])
        else:
            given = {k: v for k, v in cells.items() if v}
            line: dict[str, Any] = {k: _number(v) if k in ("amount", "rate") else v for k, v in given.items()}
            if chosen := (row.get("option") or "").strip().lower():
                line["option"] = {"yes": True, "no": False}.get(chosen, chosen)
            raw["line"].append(line)
    return raw


def _number(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text  # the schema says what must stand there


def price(rates: Rates, counted: Mapping[str, float], where: str) -> PriceSheet:
    """The rates with their amounts; `counted` is what the results count, SI or pieces. Raises BadInput for what is not
    counted."""
    lines = []
    for n, line in enumerate(rates.line, 1):
        if line.of and line.of not in counted:
            what = f'counts "{line.of[:60]}", which this job does not have; there are {", ".join(sorted(counted))}'
            raise BadInput(Fault(f"{where}: line {n}", what))
        amount = counted[line.of] if line.of else float(line.amount or 0.0)
        lines.append(PriceLine(line.what, amount, line.unit, line.rate, bool(line.of), line.option))
    return PriceSheet(
        rates.currency,
        tuple(lines),
        rates.overhead,
        rates.risk,
        rates.profit,
        rates.valid,
        rates.delivery,
        rates.payment,
    )
