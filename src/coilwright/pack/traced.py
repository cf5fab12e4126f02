"""Every figure on paper is fetched from a result by its path and written down in a ledger: nothing is typed by hand.

c = Traced(contents)
ledger.figure(c.field.result.loaded.inductance, "uH")    ->  "0.1354 µH", booked with the path it came from
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from coilwright.units import ZERO_CELSIUS

_PICKS: Final[Mapping[str, Any]] = {"max": np.max, "min": np.min, "abs": abs, "len": len}


class Traced:
    """A value together with the path that led to it; attributes, items and loops of it are traced too."""

    __slots__ = ("_path", "_value")

    def __init__(self, value: Any, path: str = "contents") -> None:
        self._value, self._path = value, path

    def __getattr__(self, name: str) -> Traced:
        return Traced(getattr(self._value, name), f"{self._path}.{name}")

    def __getitem__(self, key: Any) -> Traced:
        return Traced(self._value[key], f"{self._path}[{key!r}]")

    def __iter__(self) -> Iterator[Traced]:
        if isinstance(self._value, Mapping):
            raise TypeError(f"{self._path} is a table: loop over its keys and look each up")
        return (self[n] for n in range(len(self._value)))

    def __bool__(self) -> bool:
        return bool(self._value)

    def __len__(self) -> int:
        return len(self._value)

    def __repr__(self) -> str:
        return f"Traced({self._path})"


def value_of(traced: Any) -> Any:
    """The plain value."""
    return traced._value


def path_of(traced: Any) -> str:
    """The path as an expression over `contents`."""
    return str(traced._path)


def entries_of(table: Any) -> Iterator[tuple[Traced, Traced]]:
    """(key, value) of a mapping, both traced."""
    for n, key in enumerate(value_of(table)):
        yield Traced(key, f"list({path_of(table)})[{n}]"), table[key]


def pick(how: str, traced: Any) -> Traced:
    """The largest ("max"), the least ("min"), the size ("abs") or the count ("len") of a value."""
    return Traced(_PICKS[how](value_of(traced)), f"{how}({path_of(traced)})")


def called(method: Any, *arguments: Any) -> Traced:
    """What a method of a result says: called(t.quantity.shown, t.low)."""
    inside = ", ".join(path_of(a) for a in arguments)
    return Traced(value_of(method)(*(value_of(a) for a in arguments)), f"{path_of(method)}({inside})")


@dataclass(frozen=True)
class Unit:
    """How a figure is printed: shown = (value - offset) * factor, `mark` behind it, `close` without a space."""

    mark: str
    factor: float = 1.0
    offset: float = 0.0
    close: bool = False


UNITS: Final[Mapping[str, Unit]] = {
    "": Unit(""),
    "%": Unit("%", 100.0),
    "m": Unit("m"), "mm": Unit("mm", 1e3), "um": Unit("µm", 1e6),
    "s": Unit("s"), "min": Unit("min", 1.0 / 60.0), "h": Unit("h"), "us": Unit("µs", 1e6),
    "degC": Unit("°C", 1.0, ZERO_CELSIUS), "asdegC": Unit("°C"), "K": Unit("K"),
    "Hz": Unit("Hz"), "kHz": Unit("kHz", 1e-3),
    "A": Unit("A"), "V": Unit("V"), "W": Unit("W"), "kW": Unit("kW", 1e-3), "kvar": Unit("kvar", 1e-3),
    "ohm": Unit("Ω"), "mohm": Unit("mΩ", 1e3), "uohm m": Unit("µΩ m", 1e6),
    "H": Unit("H"), "uH": Unit("µH", 1e6), "nH": Unit("nH", 1e9), "uF": Unit("µF", 1e6), "nF": Unit("nF", 1e9),
    "deg": Unit("°", 180.0 / math.pi, 0.0, True), "rad": Unit("rad"),
    "kg": Unit("kg"), "g": Unit("g", 1e3), "mg": Unit("mg", 1e6), "kg/m^3": Unit("kg/m³"),
    "J": Unit("J"), "kJ": Unit("kJ", 1e-3),
    "T": Unit("T"), "mT": Unit("mT", 1e3), "uT": Unit("µT", 1e6),
    "L/min": Unit("L/min", 60000.0), "bar": Unit("bar", 1e-5), "m^3/s": Unit("m³/s"),
    "W/m/K": Unit("W/(m K)"), "J/kg/K": Unit("J/(kg K)"), "1/h": Unit("per hour", 3600.0), "N": Unit("N"), "VA": Unit("VA"),
    "kVA": Unit("kVA", 1e-3), "Pa": Unit("Pa"), "per h": Unit("per hour"), "mm/kh": Unit("mm in 1000 h", 1e6),
}  # fmt: skip
# SI unit -> printed units, smallest first, of which the one is taken that leaves the figure above one.
_STEPS: Final[Mapping[str, tuple[str, ...]]] = {
    "kg": ("mg", "g", "kg"), "m": ("um", "mm"), "ohm": ("mohm", "ohm"), "H": ("nH", "uH"), "F": ("nF", "uF"),
    "W": ("W", "kW"), "Hz": ("Hz", "kHz"), "J": ("J", "kJ"), "s": ("us", "s"), "T": ("uT", "mT", "T"), "VA": ("VA", "kVA"),
    "m^3/s": ("L/min",), "1": ("",), "degC": ("asdegC",),
}  # fmt: skip


# Units as files and sentences write them, and as paper shows them.
_SPOKEN: Final = (
    (" degC", "\u00a0°C"), (" uT ", " µT "), (" uH", " µH"), ("mohm", "mΩ"), (" +- ", " ± "), ("^2", "²"), ("^3", "³"),
)  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One booking: the printed text, the path it came from, how a figure was printed (None for words)."""

    text: str
    path: str
    unit: str | None
    digits: int


class Ledger:
    """Prints figures and words of results and books where each came from. `mark` is the decimal mark."""

    def __init__(self, mark: str = ".") -> None:
        self.entries: list[Entry] = []
        self.mark = mark

    def figure(self, traced: Any, unit: str = "", digits: int = 4, sign: bool = False) -> str:
        """A figure with its unit, `digits` significant digits; an en dash where there is none. Negative `digits` are that
        many behind the point, as for money."""
        value = value_of(traced)
        if value is None:
            return "–"
        number = float(value)
        if not math.isfinite(number):
            return "none" if math.isnan(number) else "unlimited"
        shape = UNITS.get(unit) or Unit(unit)
        shown = _plain((number - shape.offset) * shape.factor, digits)
        if sign and not shown.startswith("-") and float(shown) != 0.0:
            shown = "+" + shown
        text = shown.replace(".", self.mark).replace("-", "−")
        text += shape.mark if shape.close or not shape.mark else f"\u00a0{shape.mark}"
        self.entries.append(Entry(text, path_of(traced), unit, digits))
        return text

    def auto(self, traced: Any, si_unit: str, digits: int = 4) -> str:
        """A figure in the printed unit that suits its size; unknown SI units are printed as they are."""
        value = value_of(traced)
        steps = _STEPS.get(si_unit, (si_unit,))
        unit = steps[0]
        for step in steps[1:]:
            if value is not None and abs(float(value)) * UNITS[step].factor >= 1.0:
                unit = step
        return self.figure(traced, unit, digits)

    def words(self, traced: Any) -> str:
        """Text of a job or a result, its figures included; units in their printed form."""
        value = value_of(traced)
        text = "" if value is None else _spoken(str(value))
        self.entries.append(Entry(text, path_of(traced), None, 0))
        return text

    def count(self, traced: Any) -> str:
        """A whole number."""
        return self.figure(traced, "", 9)


def _plain(number: float, digits: int) -> str:
    """Positional, without exponent, trailing zeros dropped behind the point only."""
    if digits < 0:
        return f"{number:.{-digits}f}"
    text = np.format_float_positional(number, precision=digits, fractional=False, unique=False, trim="-")
    return "0" if float(text) == 0.0 else text


def _spoken(text: str) -> str:
    for written, printed in _SPOKEN:
        text = text.replace(written, printed)
    return text
