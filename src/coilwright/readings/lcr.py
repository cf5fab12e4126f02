"""Tables of an LCR meter: frequency and two quantities (L and R, L and Q, C and D, |Z| and phase, R and X) in any
columns.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.readings.checks import finite_columns
from coilwright.readings.records import Complexes, Floats, Sweep
from coilwright.readings.text import find_table
from coilwright.units import UnitFault, factor

_COLUMNS: Mapping[str, tuple[str, str]] = {
    # what a column may be called (lower case): quantity, SI unit
    r"f|freq|frequency|frequenz|f\b.*": ("f", "Hz"),
    r"l|ls|inductance|induktivität": ("Ls", "H"),
    r"lp": ("Lp", "H"),
    r"c|cs|capacitance|kapazität": ("Cs", "F"),
    r"cp": ("Cp", "F"),
    r"r|rs|esr|resistance|re\(?z\)?": ("Rs", "ohm"),
    r"rp": ("Rp", "ohm"),
    r"x|xs|reactance|im\(?z\)?": ("X", "ohm"),
    r"z|\|z\||impedance": ("Z", "ohm"),
    r"phase|theta|θ|phi|φ": ("phase", "rad"),
    r"q": ("Q", ""),
    r"d|tan ?d|tan ?δ|df": ("D", ""),
}
Pair = tuple[str, str]


def _series(l_or_x: Floats, r: Floats) -> Complexes:
    return np.asarray(r + 1j * l_or_x, dtype=np.complex128)


def _parallel(x: Floats, r: Floats) -> Complexes:
    return np.asarray(1.0 / (1.0 / r + 1.0 / (1j * x)), dtype=np.complex128)


# impedance from omega and two quantities, first pair found in this order
_PAIRS: tuple[tuple[Pair, Callable[[Floats, Floats, Floats], Complexes]], ...] = (
    (("Rs", "X"), lambda w, r, x: _series(x, r)),
    (("Z", "phase"), lambda w, z, p: np.asarray(z * np.exp(1j * p), dtype=np.complex128)),
    (("Ls", "Rs"), lambda w, x, r: _series(w * x, r)),
    (("Ls", "Q"), lambda w, x, q: _series(w * x, w * x / q)),
    (("Ls", "D"), lambda w, x, d: _series(w * x, w * x * d)),
    (("Cs", "Rs"), lambda w, c, r: _series(-1.0 / (w * c), r)),
    (("Cs", "D"), lambda w, c, d: _series(-1.0 / (w * c), d / (w * c))),
    (("Cs", "Q"), lambda w, c, q: _series(-1.0 / (w * c), 1.0 / (q * w * c))),
    (("Lp", "Rp"), lambda w, x, r: _parallel(w * x, r)),
    (("Lp", "Q"), lambda w, x, q: _parallel(w * x, q * w * x)),
    (("Cp", "Rp"), lambda w, c, r: _parallel(-1.0 / (w * c), r)),
    (("Cp", "D"), lambda w, c, d: _parallel(-1.0 / (w * c), 1.0 / (d * w * c))),
)


def read_lcr(path: str | Path, decimal: str | None = None, units: Mapping[str, str] | None = None) -> Sweep:
    """Impedance against frequency from an LCR table.

    Columns are known by their heads (f, Ls, Rs, Lp, Rp, Cs, Cp, Q, D, Z, phase, X) with units in brackets or in a
    row below; `units` states the unit of a head the file leaves bare, e.g. {"Ls": "uH"}. Bare heads count as SI,
    except that a bare phase is refused. Rows are sorted by frequency. Raises BadInput with one sentence.
    """
    table = find_table(Path(path), decimal)
    finite_columns(table.numbers, table.names, table.first_line, table.origin)
    known: dict[str, Floats] = {}
    for k, name in enumerate(table.names):
        found = _quantity(name)
        if found is None:
            continue
        quantity, si_unit = found
        unit = (units or {}).get(name) or table.units[k]
        known.setdefault(quantity, table.numbers[:, k] * _scale(unit, si_unit, quantity, name, table.origin))
    if "f" not in known:
        raise BadInput(Fault(table.origin, f"has no frequency column; it has {', '.join(table.names)}"))
    frequency = known["f"]
    if np.any(frequency <= 0.0):
        raise BadInput(Fault(table.origin, "frequencies must be greater than zero"))
    for (one, two), impedance in _PAIRS:
        if one in known and two in known:
            values = impedance(2.0 * np.pi * frequency, known[one], known[two])
            order = np.argsort(frequency, kind="stable")
            if np.any(np.diff(frequency[order]) == 0.0):
                raise BadInput(Fault(table.origin, "has the same frequency twice; keep one row of each"))
            if not np.all(np.isfinite(values)):
                raise BadInput(Fault(table.origin, f"gives no finite impedance from {one} and {two}; is a value zero?"))
            return Sweep(frequency[order], values[order], table.origin)
    raise BadInput(
        Fault(
            table.origin, f"needs two quantities beside frequency, such as Ls and Rs; it has {', '.join(table.names)}"
        )
    )


def _quantity(name: str) -> tuple[str, str] | None:
    for pattern, found in _COLUMNS.items():
        if re.fullmatch(pattern, name.strip().lower()):
            return found
    return None


def _scale(unit: str, si_unit: str, quantity: str, name: str, where: str) -> float:
    if not si_unit:
        return 1.0
    if not unit:
        if quantity == "phase":
            raise BadInput(
                Fault(where, f'column "{name}" does not say degrees or radians; give units = {{"{name}": "deg"}}')
            )
        return 1.0
    if quantity == "phase" and unit.lower() in {"deg", "°", "degree", "degrees"}:
        return float(np.pi / 180.0)
    try:
        return factor(unit, si_unit)
    except UnitFault:
        raise BadInput(Fault(where, f'the unit "{unit[:20]}" of column "{name}" is not a unit of {si_unit}')) from None
