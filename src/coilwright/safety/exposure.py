"""Published reference levels of the magnetic field for people, and the distance at which a given field falls to them.

Levels here are investigation levels of two international guidelines; a country's law may be stricter or use other
figures, and a computed distance is an estimate to be confirmed by measurement.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.evidence import Source

Group = Literal["occupational", "general public"]
MU0 = 4e-7 * math.pi

ICNIRP_2010 = Source(
    "ICNIRP, Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100 kHz), "
    "Health Phys. 99 (2010) 818-836, tables 3 and 4"
)
ICNIRP_2010_CONTACT = Source("ICNIRP, Health Phys. 99 (2010) 818-836, reference levels for contact current")
ICNIRP_2020 = Source(
    "ICNIRP, Guidelines for limiting exposure to electromagnetic fields (100 kHz to 300 GHz), Health Phys. 118 (2020) "
    "483-524, local exposure averaged over 6 min"
)


@dataclass(frozen=True)
class Row:
    """One line of a published table: level = coefficient * f^power for lowest <= f <= highest (f in Hz, level in
    SI, rms).
    """

    lowest: float
    highest: float
    coefficient: float
    power: float = 0.0

    def at(self, frequency: float) -> float:
        return float(self.coefficient * frequency**self.power)


_FLUX_DENSITY: dict[Group, tuple[Row, ...]] = {
    "occupational": (
        Row(1.0, 8.0, 0.2, -2.0),
        Row(8.0, 25.0, 2.5e-2, -1.0),
        Row(25.0, 300.0, 1e-3),
        Row(300.0, 3e3, 0.3, -1.0),
        Row(3e3, 1e7, 1e-4),
    ),
    "general public": (
        Row(1.0, 8.0, 0.04, -2.0),
        Row(8.0, 25.0, 0.5e-2, -1.0),
        Row(25.0, 50.0, 0.2e-3),
        Row(50.0, 400.0, 0.2e-3),
        Row(400.0, 3e3, 0.08, -1.0),
        Row(3e3, 1e7, 0.27e-4),
    ),
}
_ELECTRIC_FIELD: dict[Group, tuple[Row, ...]] = {
    "occupational": (
        Row(1.0, 8.0, 20e3),
        Row(8.0, 25.0, 20e3),
        Row(25.0, 300.0, 5e5, -1.0),
        Row(300.0, 3e3, 5e5, -1.0),
        Row(3e3, 1e7, 1.7e2),
    ),
    "general public": (
        Row(1.0, 8.0, 5e3),
        Row(8.0, 25.0, 5e3),
        Row(25.0, 50.0, 5e3),
        Row(50.0, 400.0, 2.5e5, -1.0),
        Row(400.0, 3e3, 2.5e5, -1.0),
        Row(3e3, 1e7, 0.83e2),
    ),
}
_CONTACT_CURRENT: dict[Group, tuple[Row, ...]] = {
    "occupational": (Row(1.0, 2.5e3, 1e-3), Row(2.5e3, 1e5, 0.4e-6, 1.0), Row(1e5, 1e7, 40e-3)),
    "general public": (Row(1.0, 2.5e3, 0.5e-3), Row(2.5e3, 1e5, 0.2e-6, 1.0), Row(1e5, 1e7, 20e-3)),
}
# H in A/m and E in V/m with f in MHz in print: 10.8/f, 4.9/f; 1504/f^0.7, 671/f^0.7
_HEATING_FIELD: dict[Group, tuple[Row, ...]] = {
    "occupational": (Row(1e5, 3e7, 10.8e6, -1.0),),
    "general public": (Row(1e5, 3e7, 4.9e6, -1.0),),
}


def _level(rows: tuple[Row, ...], frequency: float, table: str) -> float:
    matching = [row.at(frequency) for row in rows if row.lowest <= frequency <= row.highest]
    if not matching:
        span = f"{rows[0].lowest:g} Hz to {rows[-1].highest:g} Hz"
        raise BadInput(Fault("frequency", f"must lie in {span} for {table}, received {frequency:g} Hz"))
    return min(matching)  # at a shared breakpoint the printed rows differ by rounding; the lower one holds


def flux_density_level(frequency: float, group: Group) -> float:
    """B (T rms) of ICNIRP 2010 against nerve stimulation, 1 Hz to 10 MHz; instantaneous, no averaging over time.

    >>> flux_density_level(100e3, "general public")
    2.7e-05
    """
    return _level(_FLUX_DENSITY[group], frequency, "ICNIRP 2010")


def electric_field_level(frequency: float, group: Group) -> float:
    """E (V/m rms) of ICNIRP 2010, 1 Hz to 10 MHz."""
    return _level(_ELECTRIC_FIELD[group], frequency, "ICNIRP 2010")


def contact_current_level(frequency: float, group: Group) -> float:
    """Current (A rms) through a person who touches a conducting object, ICNIRP 2010, up to 10 MHz."""
    return _level(_CONTACT_CURRENT[group], frequency, "ICNIRP 2010 contact current")


def heating_field_level(frequency: float, group: Group) -> float:
    """H (A/m rms) of ICNIRP 2020 against local heating, 100 kHz to 30 MHz; H^2 averaged over 6 minutes."""
    return _level(_HEATING_FIELD[group], frequency, "ICNIRP 2020")


@dataclass(frozen=True)
class Level:
    """One level that applies: flux density (T rms, while heating is on), what it protects from, source.

    `averaging` is 0 s where the instantaneous field counts, else the time over which B^2 may be averaged.
    """

    group: Group
    flux_density: float
    protects_from: str
    averaging: float
    source: Source


def applicable_levels(frequency: float, group: Group, duty: float = 1.0) -> tuple[Level, ...]:
    """All levels that apply at `frequency` (Hz), strictest first.

    `duty` is the greatest share of any 6 minutes with heating on, 0 to 1: it eases the heating level by
    1/sqrt(duty), never the stimulation level. Frequency 1 Hz to 10 MHz.
    """
    if not 0.0 < duty <= 1.0:
        raise BadInput(Fault("duty", f"must lie between 0 and 1, received {duty:g}; 30 % is 0.3"))
    stimulation = Level(group, flux_density_level(frequency, group), "nerve stimulation", 0.0, ICNIRP_2010)
    levels = [stimulation]
    if frequency >= 1e5:
        heating = MU0 * heating_field_level(frequency, group) / math.sqrt(duty)
        levels.append(Level(group, heating, "local heating", 360.0, ICNIRP_2020))
    return tuple(sorted(levels, key=lambda level: level.flux_density))


@dataclass(frozen=True)
class ExposureDistance:
    """Distance (m) beyond which the field stays below the strictest level; `within_search` is False when it is
    below everywhere searched and `distance` is only the shortest distance looked at.
    """

    distance: float
    level: Level
    frequency: float
    within_search: bool


def exposure_distance(
    flux_density_at: Callable[[float], float],
    frequency: float,
    group: Group = "general public",
    duty: float = 1.0,
    shortest: float = 0.02,
    longest: float = 50.0,
) -> ExposureDistance:
    """Outermost distance at which the field crosses the strictest applicable level.

    `flux_density_at(distance m)` gives B (T rms) in the worst direction; it need not fall steadily. Searched from
    `longest` inwards on 400 logarithmic steps, so a bump narrower than 2 % of its distance can be missed. Raises
    NotConverged when the field is still above the level at `longest`.
    """
    level = applicable_levels(frequency, group, duty)[0]
    limit = level.flux_density

    def excess(log_distance: float) -> float:
        return float(flux_density_at(math.exp(log_distance))) - limit

    grid = np.linspace(math.log(longest), math.log(shortest), 400)
    if excess(float(grid[0])) >= 0.0:
        raise NotConverged(
            f"the field at {longest:g} m is still above {limit * 1e6:.3g} uT",
            advice="Check the field given, or look further out.",
        )
    for outer, inner in itertools.pairwise(grid):
        if excess(float(inner)) >= 0.0:
            crossing = brentq(excess, float(inner), float(outer), xtol=1e-12)
            return ExposureDistance(math.exp(float(crossing)), level, frequency, True)
    return ExposureDistance(shortest, level, frequency, False)
