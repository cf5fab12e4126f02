"""What is kept, in words; and amounts with their uncertainty as a person types them."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from coilwright.cli.console import table
from coilwright.errors import BadInput, Fault

if TYPE_CHECKING:
    from coilwright.store.alike import Like
    from coilwright.store.records import CanRecord, CoilRecord


def like_text(found: list[Like]) -> str:
    """One line per job: how like it is and why."""
    if not found:
        return "nothing else like it is kept"
    return "\n".join(
        f'{100 * f.likeness:3.0f} %  "{f.version.job}" version {f.version.number}: {"; ".join(f.reasons)}'
        for f in found
    )


def coils_text(found: tuple[CoilRecord, ...]) -> str:
    """Coils with their readings beside the design; empty without coils."""
    out = []
    for c in found:
        out.append(
            c.name
            + (f', built for "{c.job}" version {c.version}' if c.job else "")
            + (f": {c.notes}" if c.notes else "")
        )
        rows = [
            (day(r.when), f"{r.frequency / 1e3:g} kHz", r.state,
             _beside(1e6 * r.inductance, 1e6 * r.inductance_sigma, "uH", r.inductance_ratio),
             _beside(1e3 * r.resistance, 1e3 * r.resistance_sigma, "mohm", r.resistance_ratio), r.how)
            for r in c.readings
        ]  # fmt: skip
        if rows:
            out.append(table(rows, ("read", "at", "state", "inductance", "resistance", "how")))
    return "\n".join(out)


def cans_text(found: tuple[CanRecord, ...]) -> str:
    """The shelf as bought and as measured; empty without capacitors."""
    rows = []
    for c in found:
        last = c.readings[-1] if c.readings else None
        now = "" if last is None else _beside(1e6 * last.capacitance, 1e6 * last.capacitance_sigma, "uF", None)
        series = "" if last is None or last.resistance is None else f"{1e3 * last.resistance:.3g} mohm"
        rows.append((c.name, str(c.count), f"{1e6 * c.capacitance:.4g} uF", now, series))
    return table(rows, ("capacitor", "count", "as bought", "as measured", "series R")) if rows else ""


def _beside(value: float, sigma: float, unit: str, ratio: float | None) -> str:
    said = f"{value:.4g}" + (f" ± {sigma:.2g}" if sigma else "") + f" {unit}"
    return said if ratio is None else f"{said} ({100 * (ratio - 1):+.1f} % against design)"


def day(when: float) -> str:
    """The day of a time (s since 1970), where we are."""
    return datetime.fromtimestamp(when).astimezone().strftime("%Y-%m-%d")


def amount(text: str | None, kind: str, option: str) -> float | None:
    """SI value of "12 g", above zero; None stays None. Raises BadInput."""
    from coilwright.units import UnitFault, parse

    if text is None:
        return None
    try:
        return above_zero(parse(text, kind), option)
    except UnitFault as fault:
        raise BadInput(Fault(option, str(fault))) from None


def above_zero(value: float | None, option: str) -> float | None:
    """The value itself. Raises BadInput unless it is above zero or None."""
    if value is not None and not value > 0.0:
        raise BadInput(Fault(option, f"must be above zero; received {value:g}"))
    return value


def needed(text: str | None, kind: str, option: str) -> float:
    """As amount, for what may not be left out."""
    value = amount(text, kind, option)
    if value is None:
        raise BadInput(Fault(option, "is missing; inductance, resistance and frequency of a reading belong together"))
    return value


def measured(text: str | None, kind: str, option: str) -> tuple[float, float]:
    """Value and one sigma of "0.42 uH ± 2 nH", "0.42 uH ± 2 %" or "0.42 uH"; +- and +/- do as well."""
    value_text, *rest = re.split(r"±|\+/?-", text or "", maxsplit=1)
    value = needed(value_text.strip() or None, kind, option)
    if not rest:
        return value, 0.0
    share = re.fullmatch(r"\s*([\d.]+)\s*%\s*", rest[0])
    if share is not None:
        return value, value * float(share[1]) / 100.0
    return value, needed(rest[0].strip() or None, kind, option)
