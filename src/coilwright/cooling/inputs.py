"""What a water circuit is made of: passages, elements with their loss, paths, supply. SI units, kelvin, all frozen."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from coilwright.cooling.formulas import DRAWN_TUBE_ROUGHNESS
from coilwright.errors import BadInput, Fault


def _demand(holds: bool, where: str, what: str) -> None:
    if not holds:
        raise BadInput(Fault(where, what))


@dataclass(frozen=True)
class Passage:
    """A tube run. Lengths in m.

    `area` of the bore, `hydraulic_diameter` 4 A / wetted perimeter, `length` along the centre line. `coil_diameter`
    is the centre-line diameter of the helix, None when straight. `bends` of `bend_radius` (centre line) through
    `bend_angle` (rad) come on top; `fittings` is the sum of further loss coefficients K (unions, tees), referred to
    the velocity in this bore.
    """

    area: float
    hydraulic_diameter: float
    length: float
    coil_diameter: float | None = None
    bends: int = 0
    bend_radius: float = 0.0
    bend_angle: float = math.pi / 2
    fittings: float = 0.0
    roughness: float = DRAWN_TUBE_ROUGHNESS

    def __post_init__(self) -> None:
        for name in ("area", "hydraulic_diameter", "length"):
            value = getattr(self, name)
            _demand(math.isfinite(value) and value > 0.0, name, f"must be greater than zero, received {value:g}")
        bend = self.coil_diameter
        _demand(
            bend is None or bend > self.hydraulic_diameter,
            "coil_diameter",
            f"must be larger than the bore {self.hydraulic_diameter:g} m, received {bend} m; leave it out if straight",
        )
        _demand(self.bends >= 0 and self.fittings >= 0.0, "bends", "and fittings must not be negative")
        _demand(
            self.bends == 0 or self.bend_radius > 0.5 * self.hydraulic_diameter,
            "bend_radius",
            f"must be larger than half the bore, received {self.bend_radius:g} m; give the centre-line radius",
        )

    @property
    def wetted_surface(self) -> float:
        """Inner surface of the run, m^2."""
        return 4.0 * self.area / self.hydraulic_diameter * self.length


def round_bore(diameter: float, length: float, **more: float | None) -> Passage:
    """A run of round tube of bore `diameter` (m); further keywords as in Passage."""
    return Passage(0.25 * math.pi * diameter**2, diameter, length, **more)  # type: ignore[arg-type]


def rectangular_bore(width: float, height: float, length: float, **more: float | None) -> Passage:
    """A run of rectangular tube, inner sizes in m; further keywords as in Passage."""
    return Passage(width * height, 2.0 * width * height / (width + height), length, **more)  # type: ignore[arg-type]


@dataclass(frozen=True)
class RatedDrop:
    """A part known by one reading: it drops `pressure` (Pa) at `flow` (m^3/s); the drop goes with the square of the
    flow.
    """

    flow: float
    pressure: float

    def __post_init__(self) -> None:
        _demand(self.flow > 0.0, "flow", f"of a rated drop must be greater than zero, received {self.flow:g} m^3/s")
        _demand(
            self.pressure >= 0.0, "pressure", f"of a rated drop must not be negative, received {self.pressure:g} Pa"
        )


@dataclass(frozen=True)
class Wall:
    """Metal between the heat and the water: `thickness` m, `conductivity` W/(m K)."""

    thickness: float
    conductivity: float = 390.0  # copper at work temperature, W/(m K); common practice


@dataclass(frozen=True)
class Element:
    """One thing the water runs through, with the heat it takes up there (`loss`, W)."""

    name: str
    hydraulics: Passage | RatedDrop
    loss: float = 0.0
    wall: Wall | None = None

    def __post_init__(self) -> None:
        _demand(
            math.isfinite(self.loss) and self.loss >= 0.0,
            self.name,
            f"loss must not be negative, received {self.loss:g} W",
        )


@dataclass(frozen=True)
class Path:
    """Elements the same water runs through one after the other."""

    name: str
    elements: tuple[Element, ...]

    def __post_init__(self) -> None:
        _demand(len(self.elements) > 0, f'path "{self.name}"', "must run through at least one element")


@dataclass(frozen=True)
class SetFlow:
    """The total flow is held at `flow`, m^3/s."""

    flow: float


@dataclass(frozen=True)
class SetRise:
    """The flow is whatever keeps the mixed outlet `rise` (K) above the inlet."""

    rise: float


@dataclass(frozen=True)
class SetPressure:
    """The pressure difference between feed and return is held at `pressure`, Pa."""

    pressure: float


@dataclass(frozen=True)
class Pump:
    """A pump curve: `flow` (m^3/s) rising from 0, `pressure` (Pa) falling; straight lines between the points."""

    flow: tuple[float, ...]
    pressure: tuple[float, ...]

    def __post_init__(self) -> None:
        _demand(
            len(self.flow) == len(self.pressure) >= 2,
            "pump",
            "needs at least two points of flow and pressure, as many of each",
        )
        rising = all(b > a for a, b in zip(self.flow, self.flow[1:], strict=False))
        falling = all(b < a for a, b in zip(self.pressure, self.pressure[1:], strict=False))
        _demand(rising and self.flow[0] >= 0.0, "pump.flow", "must rise from point to point and not be negative")
        _demand(falling, "pump.pressure", "must fall from point to point; sort the points by flow")


Supply = SetFlow | SetRise | SetPressure | Pump


@dataclass(frozen=True)
class Room:
    """Air around the machine: temperature K, relative humidity 0 to 1. Decides whether cold water makes the coil
    sweat.
    """

    temperature: float
    humidity: float

    def __post_init__(self) -> None:
        _demand(
            0.0 < self.humidity <= 1.0,
            "room.humidity",
            f"must lie between 0 and 1, received {self.humidity:g}; 60 % is 0.6",
        )


@dataclass(frozen=True)
class Limits:
    """What is called too much. All 'common practice, no source'; change them where the shop knows better. Kelvin,
    m/s.
    """

    outlet: float = 323.15  # 50 degC at the coil outlet
    scale: float = 333.15  # 60 degC, scale comes out of ordinary water
    boiling_margin: float = 20.0
    velocity: float = 3.0


@dataclass(frozen=True)
class Circuit:
    """Feed, then paths side by side, then return.

    `inlet_temperature` K; `outlet_pressure` Pa absolute at the end of the return. One path means everything in
    series.
    """

    supply: Supply
    paths: tuple[Path, ...]
    inlet_temperature: float = 293.15
    feed: tuple[Element, ...] = ()
    back: tuple[Element, ...] = ()
    outlet_pressure: float = 101325.0
    room: Room | None = None
    limits: Limits = field(default_factory=Limits)

    def __post_init__(self) -> None:
        _demand(len(self.paths) > 0, "cooling", "needs at least one path for the water")
        _demand(
            273.15 <= self.inlet_temperature < 373.15,
            "cooling.inlet",
            f"must be liquid water, 0 to 100 degC, received {self.inlet_temperature - 273.15:.4g} degC",
        )
        _demand(self.outlet_pressure > 0.0, "cooling.outlet_pressure", "must be an absolute pressure greater than zero")
        positive = {SetFlow: "flow", SetRise: "rise", SetPressure: "pressure"}.get(type(self.supply))
        if positive:
            value = getattr(self.supply, positive)
            _demand(
                value > 0.0 and math.isfinite(value),
                f"cooling.{positive}",
                f"must be greater than zero, received {value:g}",
            )
        names = [e.name for e in self.elements]
        _demand(
            len(set(names)) == len(names), "cooling", "each element needs its own name, received " + ", ".join(names)
        )
        _demand(
            not isinstance(self.supply, SetRise) or self.heat > 0.0,
            "cooling.rise",
            "cannot set the flow of a circuit that takes up no heat; give flow or pressure instead",
        )

    @property
    def elements(self) -> tuple[Element, ...]:
        """Every element, feed first, return last."""
        return (*self.feed, *(e for p in self.paths for e in p.elements), *self.back)

    @property
    def heat(self) -> float:
        """Heat the water must carry away, W."""
        return sum(e.loss for e in self.elements)
