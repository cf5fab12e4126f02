"""Quantities with units, at the edges only: text such as "9 mm" in, SI numbers inside, text out.

The number and the unit are split here and only the unit goes to pint, because pint alone would read
"1 500 Hz" as 500 Hz. Temperatures have their own path: degrees Celsius are offset, differences are not.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any, Final

ZERO_CELSIUS: Final = 273.15

# kind -> (SI unit, what to write instead when the text is refused)
KINDS: Final[dict[str, tuple[str, str]]] = {
    "length": ("m", "9 mm"),
    "time": ("s", "8 s"),
    "temperature": ("K", "20 degC"),
    "temperature_difference": ("K", "10 K"),
    "frequency": ("Hz", "100 kHz"),
    "current": ("A", "200 A"),
    "voltage": ("V", "30 V"),
    "power": ("W", "1.5 kW"),
    "mass": ("kg", "12 mg"),
    "resistance": ("ohm", "12 mohm"),
    "resistivity": ("ohm*m", "0.72 uohm m"),
    "inductance": ("H", "0.21 uH"),
    "capacitance": ("F", "0.33 uF"),
    "conductance": ("W/K", "2 mW/K"),
    "heat_transfer": ("W/m^2/K", "10 W/m^2/K"),
    "conductivity": ("W/m/K", "40 W/m/K"),
    "specific_heat": ("J/kg/K", "650 J/kg/K"),
    "specific_energy": ("J/kg", "250 kJ/kg"),
    "energy": ("J", "9 J"),
    "density": ("kg/m^3", "7850 kg/m^3"),
    "flow": ("m^3/s", "1.5 L/min"),
    "pressure": ("Pa", "3 bar"),
    "angle": ("rad", "5 deg"),
    "flux_density": ("T", "1.9 T"),
    "field_strength": ("A/m", "20 kA/m"),
    "current_density": ("A/m^2", "10 A/mm^2"),
    "reactive_power": ("W", "76 kvar"),
    "rate": ("1/s", "600 1/h"),
    "temperature_coefficient": ("1/K", "-250 ppm/K"),
    "activation_energy": ("J/mol", "250 kJ/mol"),
    "apparent_power": ("W", "10 kVA"),
    "inductance_per_length": ("H/m", "0.2 uH/m"),
    "resistance_per_length": ("ohm/m", "10 mohm/m"),
    "capacitance_per_length": ("F/m", "0.3 nF/m"),
}

# Everyday units, so that reading a usual job file does not wait for pint. A unit stands here with everything it can measure: what
# is not said of it is not so. A test holds every factor, and every refusal, against pint's.
_EVERYDAY: Final[dict[tuple[str, str], float]] = {
    ("m", "m"): 1.0,
    ("cm", "m"): 1e-2,
    ("mm", "m"): 1e-3,
    ("um", "m"): 1e-6,
    ("s", "s"): 1.0,
    ("ms", "s"): 1e-3,
    ("min", "s"): 60.0,
    ("Hz", "Hz"): 1.0,
    ("kHz", "Hz"): 1e3,
    ("MHz", "Hz"): 1e6,
    ("Hz", "1/s"): 1.0,
    ("kHz", "1/s"): 1e3,
    ("MHz", "1/s"): 1e6,
    ("1/s", "1/s"): 1.0,
    ("1/s", "Hz"): 1.0,
    ("K", "K"): 1.0,
    ("delta_degC", "K"): 1.0,
    ("A", "A"): 1.0,
    ("V", "V"): 1.0,
    ("W", "W"): 1.0,
    ("kW", "W"): 1e3,
    ("kg", "kg"): 1.0,
    ("g", "kg"): 1e-3,
    ("mg", "kg"): 1e-6,
    ("W/K", "W/K"): 1.0,
    ("mW/K", "W/K"): 1e-3,
    ("W/m^2/K", "W/m^2/K"): 1.0,
    ("W/m/K", "W/m/K"): 1.0,
    ("J/kg/K", "J/kg/K"): 1.0,
    ("J/g", "J/kg"): 1e3,
    ("kJ/kg", "J/kg"): 1e3,
    ("kg/m^3", "kg/m^3"): 1.0,
    ("ohm m", "ohm*m"): 1.0,
    ("uohm m", "ohm*m"): 1e-6,
    ("ohm", "ohm"): 1.0,
    ("mohm", "ohm"): 1e-3,
    ("kohm", "ohm"): 1e3,
    ("nH", "H"): 1e-9,
    ("uH", "H"): 1e-6,
    ("mH", "H"): 1e-3,
    ("nF", "F"): 1e-9,
    ("uF", "F"): 1e-6,
    ("kJ/mol", "J/mol"): 1e3,
    ("T", "T"): 1.0,
    ("deg", "rad"): math.pi / 180.0,
    ("L/min", "m^3/s"): 1e-3 / 60.0,
    ("kvar", "W"): 1e3,
    ("ppm/K", "1/K"): 1e-6,
}
_MEASURING = {unit for unit, _ in _EVERYDAY}

_NUMBER = re.compile(r"^([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)$", re.ASCII)
_DECIMAL_COMMA = re.compile(r"^[+-]?\d+,\d+")
_SPACED_THOUSANDS = re.compile(r"^[+-]?\d{1,3}( \d{3})+(\.\d+)?\s*[^\d\s]")
_CELSIUS = {"degC", "°C", "celsius", "degc"}
_FAHRENHEIT = {"degF", "°F", "fahrenheit"}
_LONGEST = 80
_UNWANTED = '"{}" is not a unit of the wanted kind'


class UnitFault(ValueError):
    """A text is not a quantity of the wanted kind; the message is the second half of a fault sentence."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # on first use only: it takes a good part of a second

    registry: Any = pint.UnitRegistry(cache_folder=None)
    registry.define("ppm_ = 1e-6")
    return registry


@lru_cache(maxsize=4096)
def factor(unit: str, si_unit: str) -> float:
    """How many `si_unit` one `unit` is; raises UnitFault when the unit is unknown or of another kind."""
    everyday = _EVERYDAY.get((unit, si_unit))
    if everyday is not None:
        return everyday
    if unit in _MEASURING:
        raise UnitFault(_UNWANTED.format(unit))
    try:
        return float(_asked(unit).to(si_unit).magnitude)
    except Exception as error:  # pint raises half a dozen unrelated types for an unreadable unit
        raise UnitFault(_UNWANTED.format(unit[:_LONGEST])) from error


def _asked(unit: str) -> Any:
    """One `unit` as a quantity of pint's."""
    text = unit.strip()
    for written, read in (("²", "^2"), ("³", "^3"), ("Ω", "ohm"), ("·", " "), ("ppm", "ppm_")):
        text = text.replace(written, read)
    text = re.sub(r"\bvar\b", "volt*ampere", text)
    text = re.sub(r"\bkvar\b", "kilovolt*ampere", text)
    text = re.sub(r"(?<=[A-Za-z0-9)])\s+(?=[A-Za-z(])", "*", text)
    return _registry().Quantity(1.0, text)


def parse(text: object, kind: str) -> float:
    """SI value of a text such as "9 mm", "0.72 uohm m" or "20 degC".

    `kind` is a key of KINDS. Raises UnitFault whose text says what was received and gives an example.

    >>> parse("9 mm", "length")
    0.009
    >>> parse("20 degC", "temperature")
    293.15
    """
    si_unit, example = KINDS[kind]
    hint = f'write e.g. "{example}"'
    if not isinstance(text, str):
        raise UnitFault(f"{text!r:.{_LONGEST}} has no unit; {hint}")
    shown = f'"{text[:_LONGEST]}"'
    stripped = text.strip()
    if _DECIMAL_COMMA.match(stripped):
        raise UnitFault(f"{shown} uses a decimal comma; use a point, {hint}")
    if _SPACED_THOUSANDS.match(stripped):
        raise UnitFault(f"{shown} has spaces inside the number; {hint}")
    match = _NUMBER.match(stripped)
    if match is None:
        raise UnitFault(f"{shown} does not begin with a number; {hint}")
    number, unit = float(match.group(1)), match.group(2).strip()
    if not math.isfinite(number):
        raise UnitFault(f"{shown} is not a finite number; {hint}")
    if not unit:
        raise UnitFault(f"{shown} has no unit; {hint}")
    if kind == "temperature":
        value = _absolute_temperature(number, unit, shown, hint)
    else:
        try:
            value = number * factor("delta_degC" if unit in _CELSIUS else unit, si_unit)
        except UnitFault:
            raise UnitFault(f'{shown} is not a {kind.replace("_", " ")}; {hint}') from None
    if not math.isfinite(value):
        raise UnitFault(f"{shown} is not a finite number; {hint}")
    return _tidy(value)


def _absolute_temperature(number: float, unit: str, shown: str, hint: str) -> float:
    if unit in _CELSIUS:
        value = number + ZERO_CELSIUS
    elif unit in _FAHRENHEIT:
        value = (number - 32.0) / 1.8 + ZERO_CELSIUS
    elif unit in {"K", "kelvin"}:
        value = number
    else:
        raise UnitFault(f"{shown} is not a temperature; {hint}")
    if value < 0.0:
        raise UnitFault(f"{shown} is below absolute zero; {hint}")
    return value


def _tidy(value: float) -> float:
    """Drop the last-digit noise of a conversion (9 * 0.001 = 0.009000000000000001)."""
    return float(f"{value:.15g}")


def show(value: float, unit: str, digits: int = 4) -> str:
    """An SI value in a chosen unit as text: show(0.009, "mm") -> "9 mm"; temperatures take "degC"."""
    if unit == "degC":
        return f"{value - ZERO_CELSIUS:.{digits}g} degC"
    return f"{value / factor(unit, _base_unit(unit)):.{digits}g} {unit}"


@lru_cache(maxsize=512)
def _base_unit(unit: str) -> str:
    for si_unit, _ in KINDS.values():
        try:
            factor(unit, si_unit)
        except UnitFault:
            continue
        return si_unit
    raise UnitFault(f'"{unit}" is not a unit this package knows')
