"""How a material carries flux: a permeability curve, and for magnetic ones how it saturates."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source, ValidRange
from coilwright.materials.curve import Curve

Array = NDArray[np.float64]
MU0: Final = 4e-7 * math.pi
Sinusoidal = Literal["H", "B"]
Reluctivity = Callable[[Array], tuple[Array, Array]]


@dataclass(frozen=True)
class Saturation:
    """Froehlich law B = mu0 H + Bs(T) H/(H + Ha) with Bs falling to zero at the Curie point.

    `flux_density` is Bs (T) at 20 degC, `initial` the relative permeability of the law at zero field and 20 degC,
    `curie` in K, `squareness` the exponent n of m^n + t^n = 1 with m = Bs(T)/Bs(0) and t = T/Tc (A. Perevertov,
    arXiv:2512.24771, 2025: about 3 for iron, 2.7 for nickel and cobalt). Ha stays as it is at 20 degC, so that the
    initial permeability falls to one together with Bs. The last `rounding` kelvin below the Curie point are a straight line,
    because a real alloy has no vertical tangent there and no solver wants one.
    """

    flux_density: float
    initial: float
    curie: float
    squareness: float
    source: Source
    rounding: float = 15.0

    def __post_init__(self) -> None:
        if not (self.flux_density > 0.0 and self.initial > 1.0 and self.squareness > 1.0):
            raise BadInput(
                Fault(
                    "", "a saturating material needs a saturation flux density above 0, an initial permeability above 1"
                )
            )
        if not self.curie > 293.15 + self.rounding:
            raise BadInput(Fault("", "a saturating material needs a Curie point well above 20 degC"))

    @property
    def knee_field(self) -> float:
        """Ha of the law, A/m."""
        return self.flux_density / (MU0 * (self.initial - 1.0))

    def flux_density_at(self, temperature: ArrayLike) -> Array:
        """Saturation flux density Bs(T), T; zero from the Curie point on."""
        cold = float(self._magnetisation(np.asarray(293.15)))
        return self.flux_density / cold * self._magnetisation(np.asarray(temperature, dtype=float))

    def _magnetisation(self, temperature: Array) -> Array:
        n = self.squareness
        corner = self.curie - self.rounding
        curved = (1.0 - (np.clip(temperature, 0.0, corner) / self.curie) ** n) ** (1.0 / n)
        left = np.clip((self.curie - temperature) / self.rounding, 0.0, 1.0)
        result: Array = curved * left
        return result


@dataclass(frozen=True)
class MagneticLaw:
    """Relative permeability against temperature, and saturation where it is known.

    `nominal` is the one value per temperature used where saturation is not modelled: for magnetic metals a typical value at
    the field strengths of induction heating (kA/m), far below the initial permeability.
    """

    nominal: Curve
    saturation: Saturation | None = None

    @classmethod
    def constant(cls, value: float, source: Source) -> MagneticLaw:
        return cls(Curve.constant(value, source))

    def scaled(self, factor: float, source: Source) -> MagneticLaw:
        """The susceptibility (mu - 1) times `factor` at every temperature; the saturation flux density stays."""
        nominal = Curve(self.nominal.at, 1.0 + factor * (self.nominal.values - 1.0), source, self.nominal.valid)
        if self.saturation is None:
            return MagneticLaw(nominal)
        return MagneticLaw(nominal, replace(self.saturation, initial=1.0 + factor * (self.saturation.initial - 1.0)))

    @property
    def saturating(self) -> bool:
        return self.saturation is not None

    @property
    def is_unity(self) -> bool:
        """Whether the material is as good as air to the field."""
        return not self.saturating and bool(np.all(np.abs(self.nominal.values - 1.0) < 1e-3))

    @property
    def highest(self) -> float:
        """The largest relative permeability the law can give: it decides the finest mesh a skin may need."""
        top = float(self.nominal.values.max())
        return max(top, self.saturation.initial) if self.saturation else top

    def relative_permeability(self, temperature: ArrayLike) -> Array:
        """Nominal relative permeability at `temperature` (K, any shape)."""
        return self.nominal(temperature)

    def effective_reluctivity(
        self, flux_density_peak: ArrayLike, temperature: ArrayLike, sinusoidal: Sinusoidal = "H"
    ) -> tuple[Array, Array]:
        """First-harmonic reluctivity nu = H1/B1 (m/H) and dnu/dB (m/H/T).

        `flux_density_peak` (T, peak of the fundamental, >= 0) and `temperature` (K) broadcast together; the results have
        their common shape. `sinusoidal` says which of the two fields is taken as sinusoidal: the truth in a skin lies between,
        and the two laws differ by some per cent in power when deeply saturated (own computation). nu rises from
        1/(mu0 mu_initial) at B = 0 towards 1/mu0, with a continuous derivative; it is 1/mu0 from the Curie point on.
        Without saturation data: the constant 1/(mu0 mu(T)) with zero derivative.
        """
        flux, kelvin = np.broadcast_arrays(
            np.asarray(flux_density_peak, dtype=float), np.asarray(temperature, dtype=float)
        )
        return self.at_temperature(kelvin, sinusoidal)(flux)

    def at_temperature(self, temperature: Array, sinusoidal: Sinusoidal = "H") -> Reluctivity:
        """The same as a function of peak flux densities of the shape of `temperature` (K) alone: what hangs on the temperature
        is worked out once."""
        if self.saturation is None:
            nu = 1.0 / (MU0 * self.nominal(temperature))
            return lambda flux: (nu, np.zeros(flux.shape))
        from coilwright.materials.harmonic import relative_reluctivity  # compiled code: on first use only

        unit = MU0 * self.saturation.knee_field
        strength = (self.saturation.flux_density_at(temperature) / unit).ravel()

        def saturated(flux: Array) -> tuple[Array, Array]:
            n, slope = relative_reluctivity(np.abs(flux).ravel() / unit, strength, sinusoidal == "B")
            return np.asarray(n).reshape(flux.shape) / MU0, np.asarray(slope).reshape(flux.shape) / (MU0 * unit)

        return saturated

    def static_flux_density(self, field_strength: ArrayLike, temperature: ArrayLike) -> Array:
        """B (T) of the static curve at field strength H (A/m) and temperature (K)."""
        field = np.asarray(field_strength, dtype=float)
        if self.saturation is None:
            return np.asarray(MU0 * self.nominal(temperature) * field)
        bent = self.saturation.flux_density_at(temperature) * field / (np.abs(field) + self.saturation.knee_field)
        result: Array = MU0 * field + bent
        return result


def not_magnetic() -> MagneticLaw:
    """Relative permeability 1: copper, aluminium, austenitic steel and every insulator, to well within 1 %."""
    return MagneticLaw(
        Curve(
            np.array([293.15]),
            np.array([1.0]),
            Source("relative permeability of a non-magnetic material is 1 within 1 %", "common practice"),
            ValidRange("temperature", unit="K"),
        )
    )
