"""Closed forms of a water passage: flow for a rise, friction, bends, heat transfer, current through the water column.

The correlations themselves come from the libraries `fluids` and `ht`, loaded on first use. Between laminar and
turbulent flow they are joined by a straight line in the Reynolds number, as Gnielinski proposed for heat transfer
(Int. J. Heat Mass Transfer 63 (2013) 134), so that a flow is always found and never hangs on a step.
"""

from __future__ import annotations

import math

from coilwright.cooling.water import Water, water
from coilwright.evidence import Source

FRICTION_SOURCE = Source(
    "straight: 64/Re and Colebrook, J. Inst. Civ. Eng. 11 (1939) 133; helix: White, Proc. R. Soc. A 123 "
    "(1929) 645, Mishra and Gupta, Ind. Eng. Chem. Process Des. Dev. 18 (1979) 130; "
    "bends: Rennels and Hudson, Pipe Flow (2012)"
)
HEAT_TRANSFER_SOURCE = Source(
    "Gnielinski, Int. Chem. Eng. 16 (1976) 359; helix: laminar Schmidt, Chem.-Ing.-Tech. 39 (1967) 781, turbulent "
    "Gnielinski with the friction factor of the helix, as in the VDI Heat Atlas, section on helically coiled tubes"
)
DRAWN_TUBE_ROUGHNESS = 1.5e-6  # m; Moody, Trans. ASME 66 (1944) 671, drawn tubing 0.000005 ft
LAMINAR_LIMIT = 2300.0
TURBULENT_LIMIT = 4000.0
_HELIX_BLEND = 1.15  # the helix has no sudden jump; laminar and turbulent laws are joined over 15 % above its limit
_HELIX_FULLY_TURBULENT = 2.2e4
_LAMINAR_NUSSELT = 48.0 / 11.0  # developed flow, uniform heating; lower bound, the entry region is better


def flow_for_rise(heat: float, rise: float, inlet_temperature: float) -> float:
    """Flow (m^3/s at the inlet) that carries `heat` (W) away at a temperature rise of `rise` (K).

    1 kW at 10 K from 20 degC takes 1.435 L/min.
    """
    at_inlet, at_mean = water(inlet_temperature), water(inlet_temperature + 0.5 * rise)
    return heat / (at_mean.specific_heat * rise * at_inlet.density)


def heat_carried(flow: float, rise: float, inlet_temperature: float) -> float:
    """Heat (W) that `flow` (m^3/s at the inlet) takes up while warming by `rise` (K): the calorimetric power."""
    at_inlet, at_mean = water(inlet_temperature), water(inlet_temperature + 0.5 * rise)
    return flow * at_inlet.density * at_mean.specific_heat * rise


def reynolds(mass_flow: float, area: float, hydraulic_diameter: float, viscosity: float) -> float:
    """Re = m d / (A mu); mass flow kg/s, area m^2, hydraulic diameter m, viscosity Pa s."""
    return mass_flow * hydraulic_diameter / (area * viscosity)


def critical_reynolds(bore: float, coil_diameter: float | None = None) -> float:
    """Reynolds number below which the flow is laminar: 2300 straight, 2300 (1 + 8.6 (d/D)^0.45) in a helix (Schmidt
    1967).
    """
    if coil_diameter is None:
        return LAMINAR_LIMIT
    return float(LAMINAR_LIMIT * (1.0 + 8.6 * (bore / coil_diameter) ** 0.45))


def _line(re: float, re_low: float, at_low: float, re_high: float, at_high: float) -> float:
    share = (re - re_low) / (re_high - re_low)
    return at_low * (1.0 - share) + at_high * share


def straight_friction(re: float, relative_roughness: float = 0.0) -> float:
    """Darcy friction factor of a straight tube: 64/Re to 2300, Colebrook from 4000, straight line between."""
    import fluids

    if re <= LAMINAR_LIMIT:
        return 64.0 / re
    turbulent = float(fluids.friction.Colebrook(max(re, TURBULENT_LIMIT), relative_roughness))
    if re >= TURBULENT_LIMIT:
        return turbulent
    return _line(re, LAMINAR_LIMIT, 64.0 / LAMINAR_LIMIT, TURBULENT_LIMIT, turbulent)


def helix_friction(re: float, bore: float, coil_diameter: float, relative_roughness: float = 0.0) -> float:
    """Darcy friction factor in a helix of centre-line diameter `coil_diameter`.

    Laminar White (Proc. R. Soc. A 123 (1929) 645); turbulent the straight tube's plus 0.03 (d/D)^0.5 (Mishra and
    Gupta, Ind. Eng. Chem. Process Des. Dev. 18 (1979) 130); for 0.003 < d/D < 0.15, Re < 1e5. Of the turbulent laws
    in print this one meets White's at the critical Reynolds number within a few per cent, and takes roughness
    naturally.
    """
    from fluids.friction import Colebrook, helical_laminar_fd_White

    limit = critical_reynolds(bore, coil_diameter)

    def turbulent(at: float) -> float:
        return float(Colebrook(at, relative_roughness)) + 0.03 * math.sqrt(bore / coil_diameter)

    if re <= limit:
        return float(helical_laminar_fd_White(re, bore, coil_diameter))
    upper = _HELIX_BLEND * limit
    if re >= upper:
        return turbulent(re)
    return _line(re, limit, float(helical_laminar_fd_White(limit, bore, coil_diameter)), upper, turbulent(upper))


def bend_loss(re: float, bore: float, bend_radius: float, angle: float, friction: float) -> float:
    """Loss coefficient K of one smooth bend of centre-line radius `bend_radius` (m) through `angle` (rad), Rennels
    2012.
    """
    from fluids.fittings import bend_rounded

    return float(bend_rounded(Di=bore, angle=math.degrees(angle), fd=friction, rc=bend_radius, Re=re, method="Rennels"))


def straight_nusselt(re: float, prandtl: float, friction: float) -> float:
    """Nusselt number in a straight tube, uniform heating: 48/11 to 2300, Gnielinski from 4000, straight line between.

    `friction` is the Darcy factor at max(re, 4000). Gnielinski holds for 0.5 <= Pr <= 2000 and Re <= 5e6, about
    +-10 %.
    """
    from ht.conv_internal import turbulent_Gnielinski

    if re <= LAMINAR_LIMIT:
        return _LAMINAR_NUSSELT
    turbulent = float(turbulent_Gnielinski(max(re, TURBULENT_LIMIT), prandtl, friction))
    if re >= TURBULENT_LIMIT:
        return turbulent
    return _line(re, LAMINAR_LIMIT, _LAMINAR_NUSSELT, TURBULENT_LIMIT, turbulent)


def _laminar_helix_nusselt(re: float, prandtl: float, ratio: float) -> float:
    exponent = 0.5 + 0.2903 * ratio**0.194
    return float(3.66 + 0.08 * (1.0 + 0.8 * ratio**0.9) * re**exponent * prandtl ** (1.0 / 3.0))


def helix_nusselt(re: float, prandtl: float, bore: float, coil_diameter: float) -> float:
    """Nusselt number in a helix: Schmidt below the critical Re, Gnielinski with helix friction above 2.2e4, line
    between; +-20 %.
    """
    from ht.conv_internal import turbulent_Gnielinski

    ratio = bore / coil_diameter
    limit = critical_reynolds(bore, coil_diameter)
    if re <= limit:
        return _laminar_helix_nusselt(re, prandtl, ratio)
    upper = max(_HELIX_FULLY_TURBULENT, limit * _HELIX_BLEND)
    at = max(re, upper)
    turbulent = float(turbulent_Gnielinski(at, prandtl, helix_friction(at, bore, coil_diameter)))
    if re >= upper:
        return turbulent
    return _line(re, limit, _laminar_helix_nusselt(limit, prandtl, ratio), upper, turbulent)


def film_coefficient(nusselt: float, hydraulic_diameter: float, at: Water) -> float:
    """Heat transfer coefficient h = Nu lambda / d, W/(m^2 K)."""
    return nusselt * at.conductivity / hydraulic_diameter


def wall_rise(heat_flux: float, bore: float, wall: float, conductivity: float) -> float:
    """Temperature difference (K) across a tube wall that passes `heat_flux` (W/m^2 of bore) inwards: q r ln((r +
    w)/r)/k.
    """
    radius = 0.5 * bore
    return heat_flux * radius * math.log1p(wall / radius) / conductivity


def water_column_current(voltage: float, length: float, bore: float, conductivity: float) -> float:
    """Current (A) through the water in an insulating hose: V sigma A / l; `conductivity` of the water in S/m (100
    uS/cm = 0.01 S/m).

    `voltage` rms gives the current rms. A hose shorter than needed wastes power and eats its metal end by
    electrolysis (with DC).
    """
    return voltage * conductivity * math.pi * bore * bore / (4.0 * length)
