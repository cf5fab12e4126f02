"""One material: its curves, what happens to it on the way up, and where its data stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Source
from coilwright.materials.curve import Curve
from coilwright.materials.magnetic import MagneticLaw
from coilwright.units import ZERO_CELSIUS

Array = NDArray[np.float64]
TransitionKind = Literal["latent", "curie", "transformation"]
ENTHALPY_ZERO: Final = 293.15  # K
INSULATOR_ABOVE: Final = 1.0  # ohm m: skin depth above 0.5 m at 1 MHz, no eddy current worth computing
RANGE_SLACK: Final = 10.0  # K by which a use may leave a source's range before it is reported
OVERRIDABLE: Final = (
    "resistivity", "relative_permeability", "thermal_conductivity", "specific_heat", "density", "emissivity",
)  # fmt: skip


@dataclass(frozen=True)
class Transition:
    """Heat taken up around one temperature.

    `energy` (J/kg) is spread over `width` (K) centred on `temperature` (K) as a raised cosine. Energy 0 means that the
    specific-heat curve already contains the peak (or that there is none, as for a Curie point without heat data).
    """

    kind: TransitionKind
    temperature: float
    width: float
    energy: float
    source: Source

    def heat(self, temperature: Array) -> Array:
        """Addition to the specific heat, J/kg/K."""
        x = (temperature - self.temperature) / self.width
        return np.where(np.abs(x) < 0.5, self.energy / self.width * (1.0 + np.cos(2.0 * math.pi * x)), 0.0)

    def taken_up(self, temperature: Array) -> Array:
        """Integral of `heat` from far below, J/kg."""
        x = np.clip((temperature - self.temperature) / self.width, -0.5, 0.5)
        return self.energy * (x + 0.5 + np.sin(2.0 * math.pi * x) / (2.0 * math.pi))


@dataclass(frozen=True)
class Limit:
    """A temperature (K) the material should be kept below, or above which it is no longer itself."""

    kind: str
    temperature: float
    text: str
    source: Source


@dataclass(frozen=True)
class GlassOptics:
    """A glass seen by thermal radiation, in wavelength bands.

    `edges` (m, rising) cut the spectrum into len(edges) + 1 bands, from the shortest wavelength up; `absorption` (1/m) and
    `reflectance` (of one surface, normal incidence) hold one value per band.
    """

    edges: tuple[float, ...]
    absorption: tuple[float, ...]
    reflectance: tuple[float, ...]
    source: Source

    def absorptance(self, thickness: float) -> tuple[float, ...]:
        """Share absorbed (= emissivity, Kirchhoff) by a wall of `thickness` (m), per band, normal incidence."""
        return tuple(1.0 - r - t for r, t in zip(*self._wall(thickness), strict=True))

    def transmittance(self, thickness: float) -> tuple[float, ...]:
        """Share that passes a wall of `thickness` (m), per band, normal incidence."""
        return self._wall(thickness)[1]

    def _wall(self, thickness: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Reflected and transmitted shares of a plane wall, all inner reflections summed (Siegel & Howell's net-radiation
        result for a single semitransparent layer)."""
        reflected, passed = [], []
        for absorption, r in zip(self.absorption, self.reflectance, strict=True):
            inner = math.exp(-absorption * thickness)
            through = (1.0 - r) ** 2 * inner / (1.0 - (r * inner) ** 2)
            passed.append(through)
            reflected.append(r * (1.0 + inner * through))
        return tuple(reflected), tuple(passed)


@dataclass(frozen=True, eq=False)
class Material:
    """Everything the solvers ask of a material; SI, kelvin.

    `resistivity` is None for insulators. `density` is that at 20 degC and kept (thermal expansion is not modelled).
    """

    name: str
    aliases: tuple[str, ...]
    kind: str
    density: float
    resistivity: Curve | None
    magnetic: MagneticLaw
    thermal_conductivity: Curve
    specific_heat: Curve
    transitions: tuple[Transition, ...]
    emissivity: Curve
    limits: tuple[Limit, ...]
    glass: GlassOptics | None
    notes: str
    sources: tuple[Source, ...]

    @property
    def conducting(self) -> bool:
        """Whether eddy currents in it are worth computing (resistivity below 1 ohm m at some temperature)."""
        return self.resistivity is not None and bool(self.resistivity.values.min() < INSULATOR_ABOVE)

    def volumetric_heat(self, temperature: ArrayLike) -> Array:
        """Heat capacity per volume, J/m^3/K, with latent heats spread over their widths; any shape of K."""
        kelvin = np.asarray(temperature, dtype=float)
        total = self.specific_heat(kelvin)
        for transition in self.transitions:
            if transition.energy:
                total = total + transition.heat(kelvin)
        return self.density * total

    def volumetric_enthalpy(self, temperature: ArrayLike) -> Array:
        """Exact integral of `volumetric_heat` from 293.15 K, J/m^3; any shape of K."""
        kelvin = np.asarray(temperature, dtype=float)
        total = self.specific_heat.integral(kelvin, ENTHALPY_ZERO)
        for transition in self.transitions:
            if transition.energy:
                start = transition.taken_up(np.asarray(ENTHALPY_ZERO))
                total = total + (transition.taken_up(kelvin) - start)
        return self.density * total

    def temperature_of(self, enthalpy: ArrayLike) -> Array:
        """Inverse of `volumetric_enthalpy`: temperature (K) holding `enthalpy` (J/m^3), any shape; by safeguarded Newton."""
        wanted = np.asarray(enthalpy, dtype=float)
        knots = self._enthalpy_knots()
        sums = self.volumetric_enthalpy(knots)
        piece = np.clip(np.searchsorted(sums, wanted), 1, knots.size - 1)
        low, high = knots[piece - 1], knots[piece]
        low = np.where(wanted < sums[0], 0.0, low)
        high = np.where(
            wanted > sums[-1], knots[-1] + 2.0 * (wanted - sums[-1]) / self.volumetric_heat(knots[-1]), high
        )
        guess = 0.5 * (low + high)
        for _ in range(60):
            miss = self.volumetric_enthalpy(guess) - wanted
            low, high = np.where(miss < 0.0, guess, low), np.where(miss > 0.0, guess, high)
            step = guess - miss / self.volumetric_heat(guess)
            following = np.where((step > low) & (step < high), step, 0.5 * (low + high))
            if np.all(np.abs(following - guess) <= 1e-11 * np.abs(guess)):
                return following
            guess = following
        return guess

    def _enthalpy_knots(self) -> Array:
        places = [self.specific_heat.at, np.array([1.0, ENTHALPY_ZERO, 4000.0])]
        places += [t.temperature + t.width * np.linspace(-0.5, 0.5, 9) for t in self.transitions]
        return np.unique(np.concatenate(places))

    def curves(self) -> dict[str, Curve]:
        """The temperature-dependent properties by name (`resistivity` only where there is one)."""
        found = {
            "relative_permeability": self.magnetic.nominal,
            "thermal_conductivity": self.thermal_conductivity,
            "specific_heat": self.specific_heat,
            "emissivity": self.emissivity,
        }
        return {"resistivity": self.resistivity, **found} if self.resistivity is not None else found

    def findings(self, lowest: float, highest: float) -> list[Finding]:
        """`material-extrapolated`, naming the curves used outside their source's range between two temperatures (K).

        A use that leaves the range by less than 10 K is not reported: sources begin at room temperature, shops do not.
        """
        left = []
        for name, curve in self.curves().items():
            low, high = lowest, highest
            if (
                name == "relative_permeability" and curve.values[-1] <= 1.0
            ):  # past a Curie point there is no more to know
                low, high = (min(kelvin, curve.valid.highest) for kelvin in (low, high))
            if low < curve.valid.lowest - RANGE_SLACK or high > curve.valid.highest + RANGE_SLACK:
                covers = f"{_celsius(curve.valid.lowest)} to {_celsius(curve.valid.highest)}"
                left.append(f"{name.replace('_', ' ')} ({covers}: {curve.source})")
        if not left:
            return []
        text = (
            f"is used from {_celsius(lowest)} to {_celsius(highest)}, beyond the range of {len(left)} of its sources, where "
            f"the end value stands in: {'; '.join(left)}."
        )
        advice = "Give your own curves for the missing range in a [[material]] table, or treat the result with reserve."
        return [Finding("material-extrapolated", "warning", f'material "{self.name}"', text, advice)]

    def with_overrides(
        self,
        *,
        resistivity: float | None = None,
        relative_permeability: float | None = None,
        thermal_conductivity: float | None = None,
        specific_heat: float | None = None,
        density: float | None = None,
        emissivity: float | None = None,
        source: Source | None = None,
    ) -> Material:
        """The same material with constants (SI) instead of some curves. Transitions stay. Raises BadInput for values
        that cannot be: each must be finite and above 0, emissivity at most 1."""
        given = {
            "resistivity": resistivity,
            "relative_permeability": relative_permeability,
            "thermal_conductivity": thermal_conductivity,
            "specific_heat": specific_heat,
            "density": density,
            "emissivity": emissivity,
        }
        changes = {key: value for key, value in given.items() if value is not None}
        faults = [
            Fault(f'material "{self.name}": overrides.{key}', why)
            for key, value in changes.items()
            if (why := unlikely(key, [value]))
        ]
        if faults:
            raise BadInput(faults)
        origin = source or Source("constant given for this body instead of the library curve", "user")
        fields: dict[str, object] = {
            key: value if key == "density" else Curve.constant(value, origin)
            for key, value in changes.items()
            if key != "relative_permeability"
        }
        if relative_permeability is not None:
            fields["magnetic"] = MagneticLaw.constant(relative_permeability, origin)
        if fields:
            fields["sources"] = (*self.sources, origin)
        return replace(self, **fields)  # type: ignore[arg-type]  # keys are field names, values of their types


    def with_factors(self, resistivity: float | None = None, permeability: float | None = None) -> Material:
        """The same material with whole curves raised or lowered: the resistivity, and the susceptibility (mu - 1).

        Raises BadInput for a resistivity factor on an insulator.
        """
        changed = self
        if resistivity is not None:
            if self.resistivity is None:
                what = "cannot be applied: the material is an insulator; leave the factor out"
                raise BadInput(Fault(f'material "{self.name}": overrides.resistivity_factor', what))
            origin = Source(f"{self.resistivity.source.citation}, times {resistivity:g}", "user")
            changed = replace(changed, resistivity=self.resistivity.scaled(resistivity, origin))
        if permeability is not None:
            origin = Source(f"{self.magnetic.nominal.source.citation}, mu - 1 times {permeability:g}", "user")
            changed = replace(changed, magnetic=self.magnetic.scaled(permeability, origin))
        return changed


def unlikely(key: str, values: Sequence[float]) -> str:
    """What is wrong with values (SI) of one property, as the second half of a fault sentence; empty when they can be."""
    for value in values:
        if not math.isfinite(value):
            return f"must be a finite number, but {value:g} was received; correct the number"
        if value <= 0.0:
            return f"must be above 0, but {value:g} was received; correct the number"
        if key == "emissivity" and value > 1.0:
            return f"must be at most 1, but {value:g} was received; write e.g. 0.35"
    return ""


def _celsius(kelvin: float) -> str:
    return "any temperature" if math.isinf(kelvin) else f"{kelvin - ZERO_CELSIUS:.0f} degC"
