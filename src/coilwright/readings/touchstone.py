"""Network-analyser files of one or two ports in the open Touchstone format (IBIS Open Forum, file format
specification 1.1 and 2.0).

Read are frequency unit, parameter kind (S, Y, Z), number form (RI, MA, DB), reference resistance and, in version 2,
the keywords for ports, two-port order and reference. Everything comes back as impedance in ohm. Mixed-mode and
lower/upper matrices are refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.readings.records import Complexes, Floats, Sweep, TwoPort
from coilwright.readings.text import decode

_UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_FORMS = ("ri", "ma", "db")
_KINDS = ("s", "y", "z")


@dataclass
class _Options:
    unit: float = 1e9
    kind: str = "s"
    form: str = "ma"
    reference: float = 50.0
    references: tuple[float, ...] = ()
    version: int = 1
    ports: int | None = None
    order: str = "21_12"
    seen: bool = False


def read_touchstone(path: str | Path) -> Sweep | TwoPort:
    """Impedance against frequency from an .s1p (Sweep) or .s2p (TwoPort) file.

    The port count comes from the keyword of version 2, else from the file's ending. A point at 0 Hz is left out: direct
    current says nothing of a coil or a bank at work. Raises BadInput with one sentence for an unknown option, a count of
    numbers that does not fit, frequencies that do not rise or are below zero, NaN.
    """
    where = str(path)
    options = _Options()
    numbers = _collect(decode(Path(path)), options, where)
    ports = options.ports or _ports_by_name(Path(path))
    per_point = 1 + 2 * ports * ports
    if options.version == 1 and ports == 2:
        numbers = _without_noise(numbers, per_point)
    if not numbers or len(numbers) % per_point:
        raise BadInput(
            Fault(
                where,
                f"must hold {per_point} numbers per frequency for {ports} port(s), but has {len(numbers)}; is it cut short?",
            )
        )
    rows = np.array(numbers).reshape(-1, per_point)
    if not np.all(np.isfinite(rows)):
        first = int(np.argmax(~np.isfinite(rows).all(axis=1)))
        raise BadInput(Fault(where, f"has a value that is no number at point {first + 1}"))
    frequency = rows[:, 0] * options.unit
    if np.any(np.diff(frequency) <= 0.0):
        k = int(np.argmax(np.diff(frequency) <= 0.0))
        raise BadInput(
            Fault(where, f"frequency must rise, but {frequency[k]:g} Hz is followed by {frequency[k + 1]:g} Hz")
        )
    if frequency[0] < 0.0 or frequency[-1] == 0.0:
        raise BadInput(Fault(where, f"frequencies must be above 0 Hz; received {frequency[0]:g} Hz"))
    if frequency[0] == 0.0:
        rows, frequency = rows[1:], frequency[1:]
    values = _complex(rows[:, 1::2], rows[:, 2::2], options.form)
    if ports == 1:
        impedance = _to_impedance(values.reshape(-1, 1, 1), options, where, frequency)
        return Sweep(frequency, impedance[:, 0, 0], where)
    if options.order == "21_12":
        values = values[:, [0, 2, 1, 3]]
    return TwoPort(frequency, _to_impedance(values.reshape(-1, 2, 2), options, where, frequency), where)


def _ports_by_name(path: Path) -> int:
    found = re.fullmatch(r"\.s([12])p", path.suffix.lower())
    if not found:
        raise BadInput(
            Fault(str(path), "must end in .s1p or .s2p (or state its ports); larger networks are not read here")
        )
    return int(found[1])


def _collect(text: str, options: _Options, where: str) -> list[float]:
    numbers: list[float] = []
    for count, raw in enumerate(text.splitlines(), 1):
        line = raw.split("!", 1)[0].strip()
        if not line:
            continue
        if line.startswith("#"):
            if not options.seen:  # only the first option line counts
                _option_line(line[1:], options, f"{where}, line {count}")
        elif line.startswith("["):
            if _keyword(line, options, f"{where}, line {count}"):
                break
        else:
            try:
                numbers += [float(cell) for cell in line.split()]
            except ValueError:
                raise BadInput(
                    Fault(f"{where}, line {count}", f'must hold numbers only, received "{line[:40]}"')
                ) from None
    return numbers


def _option_line(line: str, options: _Options, where: str) -> None:
    options.seen = True
    cells = line.lower().split()
    while cells:
        cell = cells.pop(0)
        if cell in _UNITS:
            options.unit = _UNITS[cell]
        elif cell in _KINDS:
            options.kind = cell
        elif cell in _FORMS:
            options.form = cell
        elif cell == "r" and cells:
            try:
                options.reference = float(cells.pop(0))
            except ValueError:
                raise BadInput(
                    Fault(where, f'the reference resistance after R must be a number in "{line.strip()[:40]}"')
                ) from None
        else:
            raise BadInput(
                Fault(where, f'"{cell[:20]}" is not a known option; known are Hz kHz MHz GHz, S Y Z, RI MA DB, R ohm')
            )
    if not options.reference > 0.0:
        raise BadInput(
            Fault(where, f"the reference resistance must be greater than zero, received {options.reference:g}")
        )


def _keyword(line: str, options: _Options, where: str) -> bool:
    """Take note of a keyword of version 2; True when the data end here."""
    found = re.match(r"\[([^\]]*)\]\s*(.*)", line)
    key, value = (found[1].strip().lower(), found[2].strip().lower()) if found else ("", "")
    try:
        if key == "version":
            options.version = int(float(value))
        elif key == "number of ports":
            options.ports = int(value)
        elif key == "reference":
            options.references = tuple(float(v) for v in value.split())
    except ValueError:
        raise BadInput(Fault(where, f'the value of [{key}] must be a number, received "{value[:30]}"')) from None
    if options.ports is not None and options.ports not in (1, 2):
        raise BadInput(Fault(where, f"one or two ports are read, the file has {options.ports}"))
    if key == "two-port data order":
        options.order = value
    if key == "mixed-mode order" or (key == "matrix format" and value != "full"):
        raise BadInput(Fault(where, f"[{key}] {value} is not read here; export a full single-ended matrix"))
    return key in ("end", "noise data")


def _without_noise(numbers: list[float], per_point: int) -> list[float]:
    """Noise parameters follow the network data of a version 1 two-port, five numbers a line, from a lower frequency
    on.
    """
    last = -np.inf
    for at in range(0, len(numbers), per_point):
        if numbers[at] <= last and (len(numbers) - at) % 5 == 0:
            return numbers[:at]
        last = numbers[at]
    return numbers


def _complex(one: Floats, two: Floats, form: str) -> Complexes:
    if form == "ri":
        return np.asarray(one + 1j * two, dtype=np.complex128)
    size = one if form == "ma" else 10.0 ** (one / 20.0)
    return np.asarray(size * np.exp(1j * np.deg2rad(two)), dtype=np.complex128)


def _to_impedance(values: Complexes, options: _Options, where: str, frequency: Floats) -> Complexes:
    """Impedance matrices from S, Y or Z. In version 1 Y and Z are normalised to the reference, in version 2 they
    are not.
    """
    ports = values.shape[1]
    references = options.references or (options.reference,) * ports
    if len(references) != ports:
        raise BadInput(
            Fault(where, f"[Reference] must give one resistance for each of {ports} ports, received {len(references)}")
        )
    scale = options.reference if options.version == 1 else 1.0
    unit = np.eye(ports)
    try:
        if options.kind == "z":
            return np.asarray(values * scale, dtype=np.complex128)
        if options.kind == "y":
            return np.asarray(np.linalg.inv(values) * scale, dtype=np.complex128)
        root = np.diag(np.sqrt(np.array(references)))
        return np.asarray(root @ np.linalg.inv(unit - values) @ (unit + values) @ root, dtype=np.complex128)
    except np.linalg.LinAlgError:
        singular = np.abs(np.linalg.det(unit - values if options.kind == "s" else values)) == 0.0
        at = frequency[int(np.argmax(singular))]
        raise BadInput(Fault(where, f"has no impedance at {at:g} Hz: the port is open there (S = 1)")) from None
