"""The command about instrument files: reading."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import print_json, show_findings, table

if TYPE_CHECKING:
    from coilwright.steps.reading import Quantity

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
_PLAIN = ("", "deg", "degC", "K/s", "1/s")


def read(
    files: Sequence[Path],
    kind: str | None,
    frequency: str | None,
    modes: int | None,
    channels: Sequence[str],
    unit: str | None,
    as_json: bool,
) -> int:
    """Print what each file holds."""
    from coilwright.errors import BadInput, Fault
    from coilwright.steps.reading import KINDS, reading
    from coilwright.units import UnitFault, parse

    known = next((k for k in KINDS if k == kind), None)
    if kind is not None and known is None:
        raise BadInput(Fault("--as", f'must be one of {", ".join(KINDS)}; received "{kind}"'))
    try:
        hertz = None if frequency is None else parse(frequency, "frequency")
    except UnitFault as fault:
        raise BadInput(Fault("--frequency", str(fault))) from None
    found = [reading(f, kind=known, frequency=hertz, modes=modes, channels=channels, unit=unit) for f in files]
    if as_json:
        print_json({"readings": [r.to_dict() for r in found]})
        return 0
    for result in found:
        print(f"{result.file}: {result.kind}")
        print(table([(q.name, *_shown(q)) for q in result.quantities]))
        show_findings(result.findings)
    return 0


def _shown(q: Quantity) -> tuple[str, str]:
    factor, prefix = 1.0, ""
    if q.unit not in _PLAIN and q.value != 0.0:
        factor, prefix = next(((f, p) for f, p in _PREFIXES if abs(q.value) >= f), _PREFIXES[-1])
    sigma = "" if q.sigma is None else f"+- {q.sigma / factor:.2g}"
    return f"{q.value / factor:.7g} {prefix}{q.unit}".strip(), sigma
