"""Where the capacitors of a bank stand and how wide its busbars must be. Lengths in m, rms unless the name says peak."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from coilwright.tank.inputs import Bank, Can

COPPER: Final = 1.9e-8  # ohm m, copper bar a little above room temperature: 1.72e-8 at 20 degC and 0.39 %/K; memory
STILL_AIR: Final = 10.0  # W/(m^2 K), convection and radiation of a bar together; common practice, no source
BAR_RISE: Final = 40.0  # K above the air
AIR_GAP: Final = 10e-3  # m between neighbouring cans, for air and for the hand; common practice, no source
ASSUMED: Final = (50e-3, 50e-3, 60e-3)  # m, a can whose size nobody stated
BAR_STEP: Final = 5e-3  # m, bars are bought in such widths
_MU0: Final = 4e-7 * math.pi


@dataclass(frozen=True)
class CanPlace:
    """One can as seen from the front: `x`, `y` of its lower left corner; `string` and `row` counted from 1, row 1 at the
    upper bar."""

    name: str
    x: float
    y: float
    width: float
    height: float
    string: int
    row: int


@dataclass(frozen=True)
class BarPlace:
    """A bar from the front: lower left corner, width along x, height along y. `kind` feed (upper), return (lower) or link."""

    kind: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class BankLayout:
    """A bank as built: `cans`, `bars`; `sizes` (width, depth, height) by can with their origin ("stock list", "job" or
    "assumed"); `bar_width` (m) that carries `current` (A) in still air, `bar_thickness` (m); `gap` (m) drawn
    between the feed and the return bar, which `peak_voltage` (V) stands across."""

    place: str
    cans: tuple[CanPlace, ...]
    bars: tuple[BarPlace, ...]
    sizes: Mapping[str, tuple[tuple[float, float, float], str]]
    current: float
    frequency: float
    peak_voltage: float
    bar_width: float
    bar_thickness: float
    gap: float

    @property
    def width(self) -> float:
        return max(b.x + b.width for b in self.bars)

    @property
    def height(self) -> float:
        return max(b.y + b.height for b in self.bars)


def skin_depth_copper(frequency: float) -> float:
    """m, delta = sqrt(rho/(pi f mu0)); any text on fields."""
    return math.sqrt(COPPER / (math.pi * frequency * _MU0))


def bar_width_in_air(current: float, frequency: float, rise: float = BAR_RISE) -> float:
    """Width (m) of a flat copper bar of a close pair that carries `current` (A rms) at `frequency` (Hz) with a rise of
    `rise` (K) in still air.

    The current flows in one skin on the face towards the other bar, loss per length I^2 rho/(delta w); both faces shed
    2 w h rise. So w = I sqrt(rho/(2 delta h rise)).
    """
    return current * math.sqrt(COPPER / (2.0 * skin_depth_copper(frequency) * STILL_AIR * rise))


def can_sizes(
    cans: Iterable[Can], stated: Mapping[str, tuple[float, float, float]], stock: Iterable[Can] = ()
) -> dict[str, tuple[tuple[float, float, float], str]]:
    """Size of each kind of can and where it is from: the job, the stock list, or assumed."""
    shelf = {c.name: c.size for c in stock if c.size is not None}
    out = {}
    for can in cans:
        if can.name in stated:
            out[can.name] = (stated[can.name], "job")
        elif can.name in shelf:
            out[can.name] = (shelf[can.name], "stock list")
        else:
            out[can.name] = (ASSUMED, "assumed")
    return out


def bank_layout(
    place: str,
    bank: Bank,
    sizes: Mapping[str, tuple[tuple[float, float, float], str]],
    current: float,
    frequency: float,
    peak_voltage: float,
) -> BankLayout:
    """Strings side by side between an upper and a lower bar, the cans of a string above one another with a link between.

    `current` (A rms) of the whole bank, `peak_voltage` (V) across it. Strings shorter than the longest hang from the
    upper bar on a longer link below.
    """
    bar = math.ceil(bar_width_in_air(current, frequency) / BAR_STEP - 1e-9) * BAR_STEP
    thick = max(2e-3, math.ceil(3.0 * skin_depth_copper(frequency) / 1e-3) * 1e-3)
    link = max(0.5 * bar, BAR_STEP)
    strings = [(g.can.name, g.series) for g in bank.groups for _ in range(g.parallel)]
    gap = max(s * sizes[name][0][2] + (s - 1) * link for name, s in strings)
    cans, bars, x = [], [], AIR_GAP
    top = bar + gap
    for number, (name, series) in enumerate(strings, 1):
        wide, _, high = sizes[name][0]
        for row in range(1, series + 1):
            y = top - row * high - (row - 1) * link
            cans.append(CanPlace(name, x, y, wide, high, number, row))
            if row < series:
                bars.append(BarPlace("link", x, y - link, wide, link))
        rest = y - bar
        if rest > 1e-9:
            bars.append(BarPlace("link", x + 0.25 * wide, bar, 0.5 * wide, rest))
        x += wide + AIR_GAP
    bars.insert(0, BarPlace("feed", 0.0, top, x, bar))
    bars.insert(1, BarPlace("return", 0.0, 0.0, x, bar))
    return BankLayout(place, tuple(cans), tuple(bars), sizes, current, frequency, peak_voltage, bar, thick, gap)


DENSITY_IN_AIR: Final = 4e6  # A/m^2 of copper that carries (one skin deep at most); common practice, no source


def copper_section(current: float, density: float = DENSITY_IN_AIR) -> float:
    """Section of copper (m^2) that `current` (A rms) asks for at `density` (A/m^2 rms), current spread evenly over it."""
    return current / density
