"""Setting gauges: the distance coil to part that decides, as a double-ended block that goes in and one that does not.

Lengths in m. Limits come from the window of the job where it was computed, else from the tolerance the shop states.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from coilwright.section.geometry import Section, TurnOutline
from coilwright.section.overlap import TOUCHING, Clearance

Limit = Literal["window", "stated tolerance", "assumed tolerance"]
CENTRE: Final = "coil.centre"
SIDEWAYS: Final = "coil.sideways"
MAKING: Final = (
    0.1  # share of the interval left to the maker of each end, inside the limits; common practice, no source
)
_LEAST: Final = 0.05e-3  # m: thinnest end that can be made
_FLUSH: Final = 0.5e-3  # m: faces nearer than this along the axis are not told apart by a block


@dataclass(frozen=True)
class SettingGauge:
    """One gauge: `distance` (m) from `here` on the coil to `there` on the body (r, z in m), right between `low` and
    `high`. `along` the axis, or across the gap at its narrowest; `limited_by` says where the limits are from."""

    name: str
    body: str
    what: str
    along: Literal["axis", "gap"]
    distance: float
    low: float
    high: float
    here: tuple[float, float]
    there: tuple[float, float]
    limited_by: Limit

    @property
    def making(self) -> float:
        """Tolerance (m) of each end, always to the inside: go low to low + making, no-go high - making to high."""
        return MAKING * (self.high - self.low)


def setting_gauges(
    section: Section,
    near: Sequence[Clearance],
    shifts: Mapping[str, tuple[float, float]],
    tolerance: float,
    *,
    stated: bool,
) -> tuple[SettingGauge, ...]:
    """The gauges a coil is set by; none without a coil or a body.

    A coil in front of its part is set by the distance of their faces along the axis; a coil round its part by the gap
    between them, all round, and by its height against a face of the part.

    `near`: clearances of the section, nearest first. `shifts`: how far (m) "coil.centre" and "coil.sideways" may go from
    the drawing, as (low, high) about 0; where one is missing `tolerance` (m) holds both ways, `stated` by the shop
    or assumed.
    """
    turns = {t.name: t for t in section.turns}
    gap = next((c for c in near if (c.first in turns) != (c.second in turns)), None)
    if gap is None:
        return ()
    on_coil, there, name = (gap.here, gap.there, gap.second) if gap.first in turns else (gap.there, gap.here, gap.first)
    _, _, low, high = section.body(name).outer.box
    lowest = min(section.turns, key=lambda t: t.outer.box[2])
    highest = max(section.turns, key=lambda t: t.outer.box[3])
    what = f"coil face to {name}"
    for coil, face, turn, slope in (
        (lowest.outer.box[2], high, lowest, 1.0),  # the coil stands above the body
        (highest.outer.box[3], low, highest, -1.0),
    ):
        if slope * (coil - face) > 0.0:
            ends = (turn.r, coil), (there[0], face)
            return (
                _gauge(
                    what,
                    name,
                    "setting gauge",
                    "axis",
                    abs(coil - face),
                    *ends,
                    CENTRE,
                    slope,
                    shifts,
                    tolerance,
                    stated,
                ),
            )
    first = _gauge(
        what, name, "setting gauge", "gap", gap.distance, on_coil, there, SIDEWAYS, 1.0, shifts, tolerance, stated
    )
    return (first, *_height(section, name, shifts, tolerance, stated))


def _gauge(
    what: str,
    body: str,
    name: str,
    along: Literal["axis", "gap"],
    distance: float,
    here: tuple[float, float],
    there: tuple[float, float],
    key: str,
    slope: float,
    shifts: Mapping[str, tuple[float, float]],
    tolerance: float,
    stated: bool,
) -> SettingGauge:
    given = shifts.get(key)
    low, high = (-tolerance, tolerance) if given is None else given
    ends = sorted((distance + slope * low, distance + slope * high))
    by: Limit = "window" if given is not None else "stated tolerance" if stated else "assumed tolerance"
    return SettingGauge(name, body, what, along, distance, max(ends[0], _LEAST), ends[1], here, there, by)


def _height(
    section: Section, name: str, shifts: Mapping[str, tuple[float, float]], tolerance: float, stated: bool
) -> tuple[SettingGauge, ...]:
    """From a face of the body across the axis to the face of the coil on the same side: the shorter of above and below."""
    body = section.body(name)
    _, radius, z0, z1 = body.outer.box
    lowest = min(section.turns, key=lambda t: t.outer.box[2])
    highest = max(section.turns, key=lambda t: t.outer.box[3])
    sides = [("lower", z0, lowest.outer.box[2], lowest), ("upper", z1, highest.outer.box[3], highest)]
    sides = [s for s in sides if abs(s[1] - s[2]) > _FLUSH]
    if not sides:
        return ()
    side, face, coil, turn = min(sides, key=lambda s: abs(s[1] - s[2]))
    away = 1.0 if coil > face else -1.0
    what = f"{side} face of {name} to {side} face of the coil"
    ends = (turn.r, coil), (min(radius, _inner(turn)), face)
    return (
        _gauge(what, name, "height gauge", "axis", abs(coil - face), *ends, CENTRE, away, shifts, tolerance, stated),
    )


def _inner(turn: TurnOutline) -> float:
    return turn.outer.box[0] - TOUCHING
