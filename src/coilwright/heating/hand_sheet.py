"""The sheet of a hand calculation: every line with its formula and the formula's source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from coilwright.evidence import Finding


@dataclass(frozen=True)
class QuickLine:
    """One line of the sheet: `value` in SI `unit` (temperatures in degC), `key` its name in JSON."""

    key: str
    label: str
    value: float
    unit: str
    formula: str
    source: str

    def __str__(self) -> str:
        return f"  {self.label:<44}{shown(self.value, self.unit):>14}   {self.formula}  [{self.source}]"


@dataclass(frozen=True)
class QuickBody:
    """The sheet of one body to be heated."""

    name: str
    lines: tuple[QuickLine, ...]

    def value(self, key: str) -> float:
        """Value of a line by its key; KeyError when the sheet has no such line."""
        for line in self.lines:
            if line.key == key:
                return line.value
        raise KeyError(key)


@dataclass(frozen=True)
class QuickResult:
    """Sheets of all work bodies and of the coil, with what looks doubtful."""

    title: str
    bodies: tuple[QuickBody, ...]
    coil: tuple[QuickLine, ...]
    findings: tuple[Finding, ...]

    def to_dict(self) -> dict[str, Any]:
        def table(lines: tuple[QuickLine, ...]) -> dict[str, float | None]:
            return {x.key: x.value if math.isfinite(x.value) else None for x in lines}

        def told(lines: tuple[QuickLine, ...]) -> list[dict[str, str]]:
            return [{"key": x.key, "label": x.label, "formula": x.formula, "source": x.source} for x in lines]

        return {
            "title": self.title,
            "bodies": {b.name: table(b.lines) for b in self.bodies},
            "coil": table(self.coil),
            "formulas": {**{b.name: told(b.lines) for b in self.bodies}, "coil": told(self.coil)},
            "findings": [f.to_dict() for f in self.findings],
        }

    def __str__(self) -> str:
        parts = [f"{self.title}: hand calculation (expect 30 %)"]
        for body in self.bodies:
            parts += [f"{body.name}", *(str(x) for x in body.lines)]
        if self.coil:
            parts += ["coil", *(str(x) for x in self.coil)]
        return "\n".join([*parts, *(str(f) for f in self.findings)])

    __repr__ = __str__


def shown(value: float, unit: str) -> str:
    """An SI value with a prefix, three digits: shown(0.0021, "H") -> "2.1 mH"; temperatures are in degC already."""
    if unit == "degC":
        return f"{value:.0f} degC"
    if unit == "m^3/s":
        return f"{value * 60000.0:.3g} L/min"
    if unit == "1" or value == 0 or not math.isfinite(value):
        return f"{value:.3g}"
    if unit == "kg":  # grams are the base of the prefixes
        value, unit = 1e3 * value, "g"
    place = min(2, max(-4, math.floor(math.log10(abs(value)) / 3)))
    return f"{value / 1e3**place:.3g} {['p', 'n', 'u', 'm', '', 'k', 'M'][place + 4]}{unit}"
