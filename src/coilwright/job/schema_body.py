"""Bodies: the part, what stands near it, what guides the field."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from coilwright.job.schema_shape import Ball, Bar, Disc, Film, Shape
from coilwright.job.tables import Table
from coilwright.job.values import (
    ActivationEnergy,
    Conductance,
    Conductivity,
    Density,
    Factor,
    Flag,
    Fraction,
    Mass,
    Medium,
    Name,
    Number,
    Permeability,
    Place,
    Rate,
    Resistivity,
    SpecificEnergy,
    SpecificHeat,
    Temperature,
)

Role = Literal["work", "bystander", "concentrator", "shield"]


class Overrides(Table):
    """Constants that replace the curves of the material for one body or conductor, and factors on whole curves."""

    resistivity: Resistivity | None = None
    relative_permeability: Permeability | None = None
    thermal_conductivity: Conductivity | None = None
    specific_heat: SpecificHeat | None = None
    density: Density | None = None
    emissivity: Fraction | None = None
    resistivity_factor: Factor | None = None
    permeability_factor: Factor | None = None


class Support(Table):
    """Heat path from the body through its legs or nest to the surroundings."""

    conductance: Conductance


class Charge(Table):
    """A fill that reacts, gives off heat and evaporates; the optional keys replace the kinetics of its kind."""

    mass: Mass
    kind: Name = "barium-aluminium/nickel"
    heat: SpecificEnergy | None = None
    rate_constant: Rate | None = None
    activation_energy: ActivationEnergy | None = None
    order: Annotated[Number, Field(ge=0.0, le=5.0)] | None = None


class Body(Table):
    """One body of revolution.

    `space` is what its faces see; `inside_space`, when given, is what the faces turned towards the axis see (the
    inner face of an evacuated bulb whose outer face stands in air). `slit` marks a ring cut open: no current can go
    round it.
    """

    name: Name
    role: Role = "work"
    material: Name
    shape: Shape
    centre: Place = 0.0
    space: Medium = "air"
    inside_space: Medium | None = None
    emissivity: Fraction | None = None
    initial_temperature: Temperature | None = None
    overrides: Overrides = Overrides()
    support: Support | None = None
    charge: Charge | None = None
    slit: Flag = False

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.slit and isinstance(self.shape, Bar | Ball | Disc):
            yield (
                "slit",
                f"a {self.shape.kind} has no hole, so a cut does not open a ring; leave slit out or draw a ring",
            )
        for key in ("charge", "support", "emissivity", "initial_temperature"):
            if isinstance(self.shape, Film) and getattr(self, key) is not None:
                yield key, "a film has no heat of its own; give this to the body it lies on"
