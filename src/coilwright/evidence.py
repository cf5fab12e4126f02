"""Where a number comes from, how far it may be trusted, and what was noticed on the way."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, Literal

SourceKind = Literal["published", "common practice", "memory", "own measurement", "computed", "invented", "user"]
Severity = Literal["note", "warning", "serious"]


@dataclass(frozen=True)
class Source:
    """Origin of a figure.

    `kind` is "published" (then `citation` names author, title, year and page, table or equation), "common practice"
    (of the trade, no source), "memory" (believed, not looked up), "own measurement", "computed" (by this
    project, `citation` says how), "invented" (demonstration data) or "user" (from the job file).
    """

    citation: str
    kind: SourceKind = "published"

    def __str__(self) -> str:
        return self.citation if self.kind == "published" else f"{self.citation} [{self.kind}]"


@dataclass(frozen=True)
class ValidRange:
    """Closed interval of one argument, SI, in which a curve or formula holds."""

    quantity: str
    lowest: float = -math.inf
    highest: float = math.inf
    unit: str = ""

    def holds(self, value: float) -> bool:
        return self.lowest <= value <= self.highest

    def __str__(self) -> str:
        return f"{self.quantity} from {self.lowest:g} to {self.highest:g} {self.unit}".rstrip()


@dataclass(frozen=True)
class Uncertain:
    """A value with its standard uncertainty (one sigma), same unit. Shown with two digits of the uncertainty and the value
    down to the same place (JCGM 100:2008, 7.2.6)."""

    value: float
    sigma: float

    def __str__(self) -> str:
        digits = 6
        if 0.0 < self.sigma < math.inf and math.isfinite(self.value) and self.value != 0.0:
            places = math.floor(math.log10(abs(self.value))) - math.floor(math.log10(self.sigma))
            digits = min(max(places + 2, 1), 12)
        return f"{self.value:.{digits}g} ± {self.sigma:.2g}"


@dataclass(frozen=True)
class Finding:
    """Something a careful engineer would point out about a job or a result.

    `code` is stable and documented (lower-case words joined by hyphens), `where` names the body, turn or key,
    `text` says what was found with its figure, `advice` what to do.
    """

    code: str
    severity: Severity
    where: str
    text: str
    advice: str = ""

    def __str__(self) -> str:
        return f"{self.severity}: {self.where}: {self.text}" + (f" {self.advice}" if self.advice else "")

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def worst(findings: Iterable[Finding]) -> Severity | None:
    """The gravest severity present, or None."""
    order: tuple[Severity, ...] = ("note", "warning", "serious")
    ranks = [order.index(f.severity) for f in findings]
    return order[max(ranks)] if ranks else None
