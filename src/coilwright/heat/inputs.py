"""What a heat computation needs: bodies on one mesh, what they are made of, and what their faces see. SI, kelvin."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, BoolArray

Space = Literal["air", "vacuum"]


class HeatMaterial(Protocol):
    """Thermal curves of a material; every function takes and returns arrays, T in K.

    `volumetric_enthalpy` (J/m^3) must rise with T and contains latent heats; `volumetric_heat` is its slope
    (J/m^3/K); `thermal_conductivity` in W/m/K; `emissivity` is total hemispherical, 0..1.
    """

    def volumetric_enthalpy(self, temperature: Array) -> Array: ...
    def volumetric_heat(self, temperature: Array) -> Array: ...
    def thermal_conductivity(self, temperature: Array) -> Array: ...
    def emissivity(self, temperature: Array) -> Array: ...


class ChargeLaw(Protocol):
    """Kinetics of an exothermic charge: d(burnt)/dt = rate_constant exp(-activation_energy / (R T)) (left)^order.

    `heat_of_reaction` J/kg, `rate_constant` 1/s, `activation_energy` J/mol.
    """

    @property
    def heat_of_reaction(self) -> float: ...
    @property
    def rate_constant(self) -> float: ...
    @property
    def activation_energy(self) -> float: ...
    @property
    def order(self) -> float: ...


@dataclass(frozen=True)
class ChargeInput:
    """An exothermic charge, spread evenly through its region and always at the region's local temperature.

    `mass` kg. `refire_share`: share of what a first shot left unburnt that can still react in a later one; common
    practice (no source) says a partly fired charge does not complete, so it must be below 1; the default 0.5 is an
    assumption of this project. `deposit_share`: metal that reaches the film per mass of charge burnt (kg/kg).
    """

    mass: float
    law: ChargeLaw
    refire_share: float = 0.5
    deposit_share: float = 0.0


class WallOptics(Protocol):
    """A semi-transparent material in wavelength bands (as in `materials`): shares for a wall of given thickness (m).

    `edges` (m, rising) cut the spectrum into len(edges) + 1 bands from the shortest wavelength up.
    """

    @property
    def edges(self) -> tuple[float, ...]: ...
    def absorptance(self, thickness: float) -> tuple[float, ...]: ...
    def transmittance(self, thickness: float) -> tuple[float, ...]: ...


@dataclass(frozen=True)
class BandOptics:
    """What the wall of a glass body does with radiation, per wavelength band.

    `edges` (m, rising) cut the spectrum; `emissivity` and `transmittance` hold one share per band, the rest is
    reflected. Both faces of the wall are alike; the values for normal incidence stand for the hemisphere, and heat
    taken up is booked on the face the radiation meets first.
    """

    edges: tuple[float, ...]
    emissivity: tuple[float, ...]
    transmittance: tuple[float, ...]

    def __post_init__(self) -> None:
        bands = len(self.edges) + 1
        if len(self.emissivity) != bands or len(self.transmittance) != bands:
            raise BadInput(Fault("glass", f"{bands - 1} band edges need {bands} emissivities and transmittances"))
        if any(b <= a for a, b in zip((0.0, *self.edges), self.edges, strict=False)):
            raise BadInput(Fault("glass", f"band edges must be positive wavelengths that rise; received {self.edges}"))
        for e, t in zip(self.emissivity, self.transmittance, strict=True):
            if not (e >= 0.0 and t >= 0.0 and e + t <= 1.0 + 1e-9):
                raise BadInput(Fault("glass", f"emissivity {e} and transmittance {t} of a band must share at most 1"))

    @classmethod
    def of_wall(cls, optics: WallOptics, thickness: float) -> BandOptics:
        """Of a wall `thickness` (m) of a material."""
        return cls(tuple(optics.edges), tuple(optics.absorptance(thickness)), tuple(optics.transmittance(thickness)))

    @classmethod
    def sharp(cls, edge: float, emissivity: float = 0.9) -> BandOptics:
        """Clear below the wavelength `edge` (m), opaque above it with one emissivity."""
        return cls((edge,), (0.0, emissivity), (1.0, 0.0))


@dataclass(frozen=True)
class ThermalRegion:
    """One region of the mesh.

    `space` says what its faces see; a region in air that encloses regions in vacuum has its inner faces in the
    vacuum, which the solver finds out by itself. `convection` W/m^2/K acts on faces in air only. `optics` makes the
    region semi-transparent (glass); None: opaque and gray. `support_conductance` W/K leads from the region (its mean
    temperature) to the surroundings. `emissivity` overrides the material's. `melting_point` and `valid_range` (K)
    only serve the findings.
    """

    name: str
    material: HeatMaterial
    space: Space = "air"
    convection: float = 0.0
    support_conductance: float = 0.0
    emissivity: float | None = None
    optics: BandOptics | None = None
    charge: ChargeInput | None = None
    melting_point: float | None = None
    valid_range: tuple[float, float] = (0.0, np.inf)


@dataclass(frozen=True)
class LumpedContact:
    """Two separate regions held together: heat flow = `conductance` (W/K) x difference of their mean temperatures."""

    one: str
    other: str
    conductance: float


@dataclass(frozen=True)
class InterfaceContact:
    """Two regions that touch along mesh edges: `conductance` (W/m^2/K) across the joint instead of a perfect one."""

    one: str
    other: str
    conductance: float


@dataclass(frozen=True, eq=False)
class ThermalModel:
    """All thermal bodies as one mesh, and their surroundings.

    `regions` in any order, one per region of the mesh. `ambient` K is the temperature of the surroundings, taken as
    black and large. `exchange`: radiation between surfaces with view factors (True), every face seeing the
    surroundings only (False), or None: exchange as soon as a surface can see another. `vacuum_faces` (b,) settles
    per edge of `mesh.boundary` whether it lies in the vacuum, instead of the rule. `rays` per patch and `patches` in
    all set the cost and accuracy of the view factors.
    """

    mesh: Mesh
    regions: tuple[ThermalRegion, ...]
    ambient: float = 293.15
    contacts: tuple[LumpedContact, ...] = ()
    interfaces: tuple[InterfaceContact, ...] = ()
    exchange: bool | None = None
    vacuum_faces: BoolArray | None = None
    rays: int = 2048
    patches: int = 60
    _by_name: Mapping[str, ThermalRegion] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        faults = list(_faults(self))
        if faults:
            raise BadInput(faults)
        object.__setattr__(self, "_by_name", {region.name: region for region in self.regions})

    def region(self, name: str) -> ThermalRegion:
        """The region of that name."""
        return self._by_name[name]

    @property
    def in_mesh_order(self) -> tuple[ThermalRegion, ...]:
        """Regions in the order of `mesh.regions`."""
        return tuple(self._by_name[name] for name in self.mesh.regions)


def _faults(model: ThermalModel) -> Iterable[Fault]:
    names = [region.name for region in model.regions]
    if sorted(names) != sorted(model.mesh.regions):
        yield Fault(
            "thermal model",
            f"regions must be those of the mesh, {sorted(model.mesh.regions)}; received {sorted(names)}",
        )
    if not (np.isfinite(model.ambient) and model.ambient > 0.0):
        yield Fault("ambient", f"must be a temperature above 0 K; received {model.ambient}")
    for region in model.regions:
        yield from _region_faults(region)
    for kind, pairs in (("contact", model.contacts), ("interface", model.interfaces)):
        for pair in pairs:
            where = f"{kind} {pair.one!r} - {pair.other!r}"
            if pair.one == pair.other or not {pair.one, pair.other} <= set(names):
                yield Fault(where, f"must join two different regions out of {sorted(names)}")
            if not (np.isfinite(pair.conductance) and pair.conductance > 0.0):
                yield Fault(where, f"conductance must be positive; received {pair.conductance}")
    if model.vacuum_faces is not None and model.vacuum_faces.shape != (len(model.mesh.boundary.edges),):
        yield Fault("vacuum_faces", "must hold one value for each edge of the mesh's boundary")


def _region_faults(region: ThermalRegion) -> Iterable[Fault]:
    where = f"region {region.name!r}"
    for name in ("convection", "support_conductance"):
        value = getattr(region, name)
        if not (np.isfinite(value) and value >= 0.0):
            yield Fault(f"{where}: {name}", f"must be zero or more; received {value}")
    if region.emissivity is not None and not 0.0 <= region.emissivity <= 1.0:
        yield Fault(f"{where}: emissivity", f"must lie between 0 and 1; received {region.emissivity}")
    charge = region.charge
    if charge is not None:
        if not (np.isfinite(charge.mass) and charge.mass > 0.0):
            yield Fault(f"{where}: charge.mass", f"must be positive; received {charge.mass}")
        if not 0.0 <= charge.refire_share < 1.0:
            yield Fault(f"{where}: charge.refire_share", f"must be in [0, 1); received {charge.refire_share}")
        if not 0.0 <= charge.deposit_share <= 1.0:
            yield Fault(f"{where}: charge.deposit_share", f"must be in [0, 1]; received {charge.deposit_share}")
