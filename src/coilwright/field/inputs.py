"""What the field solver needs to know: turns, live bodies, their laws. Frozen, SI, kelvin, rms.

A law is anything that answers the few questions below, so that a library curve, a job's own table and a test's
constant serve alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.bundle import Bundle
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array


class Resistivity(Protocol):
    """Resistivity (ohm m) at temperatures (K), elementwise; inf where nothing conducts."""

    def __call__(self, temperature: Array, /) -> Array: ...


class Magnetic(Protocol):
    """Magnetic law of a material."""

    @property
    def saturating(self) -> bool:
        """Whether `effective_reluctivity` depends on the flux density."""
        ...

    def relative_permeability(self, temperature: Array, /) -> Array:
        """Relative permeability at small fields, at temperatures (K)."""
        ...

    def effective_reluctivity(self, flux_density_peak: Array, temperature: Array, /) -> tuple[Array, Array]:
        """(nu, d nu / d B) in m/H and m/H/T of the first harmonic at peak flux densities (T) and temperatures (K)."""
        ...

    def at_temperature(self, temperature: Array, /) -> Callable[[Array], tuple[Array, Array]]:
        """The same at temperatures that stay, as a function of the flux densities."""
        ...


@dataclass(frozen=True)
class Constant:
    """A resistivity (ohm m) that does not change."""

    value: float

    def __call__(self, temperature: Array, /) -> Array:
        return np.full(np.shape(temperature), self.value)


@dataclass(frozen=True)
class Linear:
    """A relative permeability that does not change; 1 for what is not magnetic."""

    value: float = 1.0
    saturating: bool = False

    def relative_permeability(self, temperature: Array, /) -> Array:
        return np.full(np.shape(temperature), self.value)

    def effective_reluctivity(self, flux_density_peak: Array, temperature: Array, /) -> tuple[Array, Array]:
        return np.full(np.shape(temperature), 1.0 / (4e-7 * math.pi * self.value)), np.zeros(np.shape(temperature))


@dataclass(frozen=True)
class RegionLaw:
    """`resistivity` None: does not conduct (ferrite, air in a bore). `magnetic` None: relative permeability 1."""

    resistivity: Resistivity | None = None
    magnetic: Magnetic | None = None


@dataclass(frozen=True, eq=False)
class ConductorTurn:
    """One turn of the work coil. Turns that share the very same `mesh` and material share one condensation.

    `mesh` has its conductor elements in region `conductor`, all others (a bore) do not conduct. It is used shifted
    up by `shift` (m). `weight` (> 0, usually 1) is the share of a full turn: it carries weight x coil current and
    adds weight x its voltage, which keeps coil and part reciprocal. With a `bundle` (litz) its section is filled with
    strands that share the current evenly; `resistivity` is then not used.
    """

    mesh: Mesh
    resistivity: float
    shift: float = 0.0
    weight: float = 1.0
    relative_permeability: float = 1.0
    conductor: str = "turn"
    name: str = ""
    bundle: Bundle | None = None


@dataclass(frozen=True, eq=False)
class CoilModel:
    """Turns in series, in winding order."""

    turns: tuple[ConductorTurn, ...]


@dataclass(frozen=True, eq=False)
class LiveBody:
    """A body in which currents flow or which is magnetic; touching bodies are one LiveBody with several regions.

    `laws` names a law for every region of `mesh`. `slit`: cut through, so that its net current round the axis is
    zero. `net_current` (A rms, complex for a phase against the coil current): driven through its own pins, the
    power then coming from there; it excludes `slit`. `work`: its power counts as useful in the efficiency.
    """

    name: str
    mesh: Mesh
    laws: Mapping[str, RegionLaw]
    slit: bool = False
    net_current: complex | None = None
    work: bool = True

    def __post_init__(self) -> None:
        missing = [r for r in self.mesh.regions if r not in self.laws]
        if missing:
            raise BadInput(Fault(f'body "{self.name}"', f"every region needs a law; none was given for {missing}"))
        if self.slit and self.net_current is not None:
            raise BadInput(
                Fault(f'body "{self.name}"', "a slit body cannot carry a net current; give one or the other")
            )

    @property
    def has_loop_voltage(self) -> bool:
        """Whether the voltage round the body is an unknown of its own."""
        return self.slit or self.net_current is not None


@dataclass(frozen=True, eq=False)
class FieldModel:
    """Coil (or None), live bodies (or none), frequency (Hz), points to read (name -> (r, z) in m).

    `background` is a uniform axial flux density (T rms) from far away, for calibration and comparison.
    """

    coil: CoilModel | None
    bodies: tuple[LiveBody, ...]
    frequency: float
    points: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    background: complex = 0.0

    def __post_init__(self) -> None:
        faults = []
        if not (math.isfinite(self.frequency) and self.frequency > 0.0):
            faults.append(Fault("drive.frequency", f"must be a positive number of Hz; received {self.frequency!r}"))
        if self.coil is not None:
            faults += [f for turn in self.coil.turns for f in _turn_faults(turn)]
        names = [region for body in self.bodies for region in body.mesh.regions]
        repeated = sorted({n for n in names if names.count(n) > 1})
        if repeated:
            faults.append(Fault("body", f"region names must differ between bodies; received {repeated} twice"))
        if self.coil is None and not self.bodies:
            faults.append(Fault("job", "needs a coil or a body; received neither"))
        if faults:
            raise BadInput(faults)

    @property
    def angular_frequency(self) -> float:
        return 2.0 * math.pi * self.frequency


def _turn_faults(turn: ConductorTurn) -> list[Fault]:
    where = f'turn "{turn.name}"' if turn.name else "turn"
    faults = []
    for what in ("resistivity", "weight", "relative_permeability"):
        value = getattr(turn, what)
        if not (math.isfinite(value) and value > 0.0):
            faults.append(Fault(where, f"{what} must be positive and finite; received {value!r}"))
    if turn.conductor not in turn.mesh.regions:
        faults.append(Fault(where, f'its mesh must have a region "{turn.conductor}"; it has {turn.mesh.regions}'))
    if turn.mesh.points[:, 0].min() <= 0.0:
        faults.append(Fault(where, "must keep off the axis; enlarge its diameter or thin the conductor"))
    return faults
