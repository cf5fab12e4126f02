"""The hand calculation as a study: a sheet of every part to be heated and one of the coil."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import shown, table
from coilwright.bench.study_kinds import Report
from coilwright.heating.hand_sheet import QuickLine, QuickResult
from coilwright.job import Job
from coilwright.pack.tables import Column, Table
from coilwright.steps.quick import quick

# Units of the sheet that are printed as others: (unit, how many of it in one).
_PRINTED = {"degC": ("°C", 1.0), "m^3/s": ("L/min", 6e4), "1": ("", 1.0)}
_PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
_HEAD = (Column("what"), Column("value", digits=3), Column("unit"), Column("formula"), Column("source"))


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Work the job out; every line with its formula and source."""
    result = quick(job)
    return shown(_said(result), tables=_tables(result), findings=result.findings)


def _said(result: QuickResult) -> str:
    """The two figures an enquiry asks for first, where the sheet has them."""
    found = {x.key: " ".join((f"{v:.3g}", unit)) for x in result.coil for v, unit in (scaled(x.value, x.unit),)}
    if "supply_power_W" not in found:
        return "by hand, without a supply: the job has no coil at a set frequency, or no time to heat in"
    return f"about {found['current_needed_A']} in the coil and {found['supply_power_W']} from the mains"


def _tables(result: QuickResult) -> Iterator[Table]:
    sheets = [(f"{b.name}, by hand", b.lines) for b in result.bodies]
    for n, (title, lines) in enumerate([*sheets, ("the coil, by hand", result.coil)], 1):
        yield table(f"by-hand-{n}", title, _HEAD, [_row(x) for x in lines])


def _row(line: QuickLine) -> tuple[str, float, str, str, str]:
    return line.label, *scaled(line.value, line.unit), line.formula, line.source


def scaled(value: float, unit: str) -> tuple[float, str]:
    """A figure of the sheet in a unit of handy size.

    >>> scaled(2100.0, "J")
    (2.1, 'kJ')
    """
    if unit in _PRINTED:
        printed, many = _PRINTED[unit]
        return value * many, printed
    if unit == "kg":  # grams are the base of the prefixes
        value, unit = 1e3 * value, "g"
    if value == 0.0 or not math.isfinite(value):
        return value, unit
    power = min(max(3 * math.floor(math.log10(abs(value)) / 3), min(_PREFIXES)), max(_PREFIXES))
    return value / 10.0**power, _PREFIXES[power] + unit.replace("ohm", "Ω")
