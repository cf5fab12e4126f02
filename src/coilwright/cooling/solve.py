"""Find the flow in every branch and the temperatures along it.

The drop of a run grows with its flow, so each unknown flow is one bracketed root: inner roots share the flow among
parallel paths at equal pressure difference, the outer one meets the supply. Flows inside are mass flows (kg/s).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from scipy.optimize import brentq

from coilwright.cooling import formulas
from coilwright.cooling.findings import look_over
from coilwright.cooling.inputs import Circuit, Element, Passage, Pump, RatedDrop, SetFlow, SetPressure, SetRise
from coilwright.cooling.result import CoolingResult, ElementState, PathState
from coilwright.cooling.water import SOURCE, boiling_temperature, water
from coilwright.errors import NotConverged

_LEAST, _MOST = 1e-15, 1e3  # kg/s, bracket of any flow
_TIGHT = 1e-10


@dataclass(frozen=True)
class _Run:
    """Elements passed by one mass flow: outlet temperature, total drop, and per element (inlet, outlet temperature,
    drop).
    """

    outlet: float
    drop: float
    steps: tuple[tuple[float, float, float], ...]


def _outlet_temperature(inlet: float, loss: float, mass_flow: float) -> float:
    rise = loss / (mass_flow * water(inlet).specific_heat)
    for _ in range(3):  # specific heat moves by 0.5 % at most: three passes are exact to 1e-9
        rise = loss / (mass_flow * water(inlet + 0.5 * rise).specific_heat)
    return inlet + rise


def _friction(passage: Passage, re: float) -> float:
    relative = passage.roughness / passage.hydraulic_diameter
    if passage.coil_diameter is None:
        return formulas.straight_friction(re, relative)
    return formulas.helix_friction(re, passage.hydraulic_diameter, passage.coil_diameter, relative)


def pressure_drop(hydraulics: Passage | RatedDrop, mass_flow: float, temperature: float) -> float:
    """Pressure drop (Pa) of one run at `mass_flow` (kg/s) with water at `temperature` (K): friction, bends and
    fittings.
    """
    at = water(temperature)
    if isinstance(hydraulics, RatedDrop):
        return hydraulics.pressure * (mass_flow / (at.density * hydraulics.flow)) ** 2
    velocity_head = 0.5 * (mass_flow / hydraulics.area) ** 2 / at.density
    re = formulas.reynolds(mass_flow, hydraulics.area, hydraulics.hydraulic_diameter, at.viscosity)
    friction = _friction(hydraulics, re)
    losses = friction * hydraulics.length / hydraulics.hydraulic_diameter + hydraulics.fittings
    if hydraulics.bends:
        losses += hydraulics.bends * formulas.bend_loss(
            re, hydraulics.hydraulic_diameter, hydraulics.bend_radius, hydraulics.bend_angle, friction
        )
    return velocity_head * losses


def _run(elements: Sequence[Element], mass_flow: float, inlet: float) -> _Run:
    temperature, total, steps = inlet, 0.0, []
    for element in elements:
        outlet = _outlet_temperature(temperature, element.loss, mass_flow)
        drop = pressure_drop(element.hydraulics, mass_flow, 0.5 * (temperature + outlet))
        steps.append((temperature, outlet, drop))
        temperature, total = outlet, total + drop
    return _Run(temperature, total, tuple(steps))


def _root(excess: Callable[[float], float], guess: float, what: str, advice: str) -> float:
    """Mass flow (kg/s) at which `excess`, increasing with flow, is zero; searched outwards from `guess`."""
    low = high = guess
    while excess(low) > 0.0:
        low /= 4.0
        if low < _LEAST:
            raise NotConverged(f"not even a trickle of water balances {what}", advice=advice)
    while excess(high) < 0.0:
        high *= 4.0
        if high > _MOST:
            raise NotConverged(f"no flow up to {_MOST:g} kg/s balances {what}", advice=advice)
    if low == high:
        return low
    return math.exp(float(brentq(lambda x: excess(math.exp(x)), math.log(low), math.log(high), xtol=_TIGHT)))


def _branch_flow(elements: Sequence[Element], drop: float, inlet: float, guess: float) -> float:
    return _root(
        lambda m: _run(elements, m, inlet).drop - drop,
        guess,
        f"a pressure difference of {drop:g} Pa over {elements[0].name}",
        "Check bore and length of that path.",
    )


def _share(circuit: Circuit, mass_flow: float, inlet: float) -> tuple[float, ...]:
    """Mass flow of each path so that all have the same drop and the sum is `mass_flow`."""
    if len(circuit.paths) == 1:
        return (mass_flow,)
    equal_share = mass_flow / len(circuit.paths)
    alone = [_run(p.elements, mass_flow, inlet).drop for p in circuit.paths]
    equal = [_run(p.elements, equal_share, inlet).drop for p in circuit.paths]

    def flows(log_drop: float) -> list[float]:
        return [_branch_flow(p.elements, math.exp(log_drop), inlet, equal_share) for p in circuit.paths]

    # some path takes at least its equal share and none takes more than everything: the common drop is bracketed
    low, high = math.log(min(equal)) - 1e-6, math.log(min(alone)) + 1e-6
    common = brentq(lambda x: sum(flows(x)) - mass_flow, low, high, xtol=_TIGHT, rtol=_TIGHT)
    return tuple(flows(float(common)))


@dataclass(frozen=True)
class _Balance:
    feed: _Run
    shares: tuple[float, ...]
    paths: tuple[_Run, ...]
    mixed: float
    back: _Run

    @property
    def drop(self) -> float:
        return self.feed.drop + max(p.drop for p in self.paths) + self.back.drop


def _balance(circuit: Circuit, mass_flow: float) -> _Balance:
    feed = _run(circuit.feed, mass_flow, circuit.inlet_temperature)
    shares = _share(circuit, mass_flow, feed.outlet)
    paths = tuple(_run(p.elements, m, feed.outlet) for p, m in zip(circuit.paths, shares, strict=True))
    heat = sum(e.loss for p in circuit.paths for e in p.elements)
    mixed = _outlet_temperature(feed.outlet, heat, mass_flow)
    return _Balance(feed, shares, paths, mixed, _run(circuit.back, mass_flow, mixed))


def _pump_pressure(pump: Pump, flow: float) -> float:
    for (f0, p0), (f1, p1) in zip(
        zip(pump.flow, pump.pressure, strict=True), zip(pump.flow[1:], pump.pressure[1:], strict=True), strict=False
    ):
        if flow <= f1:
            return p0 + (p1 - p0) * (flow - f0) / (f1 - f0)
    last = (pump.pressure[-1] - pump.pressure[-2]) / (pump.flow[-1] - pump.flow[-2])
    return pump.pressure[-1] + last * (flow - pump.flow[-1])


def _total_flow(circuit: Circuit) -> tuple[float, float]:
    """Mass flow the supply settles at, and the relative mismatch left in pressure."""
    density = water(circuit.inlet_temperature).density
    supply = circuit.supply
    if isinstance(supply, SetFlow):
        return supply.flow * density, 0.0
    if isinstance(supply, SetRise):
        return formulas.flow_for_rise(circuit.heat, supply.rise, circuit.inlet_temperature) * density, 0.0

    def offered(mass_flow: float) -> float:
        if isinstance(supply, SetPressure):
            return supply.pressure
        return _pump_pressure(supply, mass_flow / density)

    mass_flow = _root(
        lambda m: _balance(circuit, m).drop - offered(m),
        0.03,
        "the supply",
        "The supply must offer pressure at zero flow; check its curve.",
    )
    wanted = offered(mass_flow)
    return mass_flow, abs(_balance(circuit, mass_flow).drop - wanted) / max(abs(wanted), 1.0)


def _state(
    element: Element, mass_flow: float, step: tuple[float, float, float], outlet_pressure: float
) -> ElementState:
    inlet, outlet, drop = step
    base = ElementState(
        name=element.name,
        loss=element.loss,
        flow=mass_flow / water(inlet).density,
        inlet_temperature=inlet,
        outlet_temperature=outlet,
        pressure_drop=drop,
        outlet_pressure=outlet_pressure,
        boiling_temperature=boiling_temperature(outlet_pressure),
    )
    passage = element.hydraulics
    if isinstance(passage, RatedDrop):
        return base
    at = water(0.5 * (inlet + outlet))
    bore = passage.hydraulic_diameter
    re = formulas.reynolds(mass_flow, passage.area, bore, at.viscosity)
    if passage.coil_diameter is None:
        friction = formulas.straight_friction(max(re, formulas.TURBULENT_LIMIT), passage.roughness / bore)
        nusselt = formulas.straight_nusselt(re, at.prandtl, friction)
    else:
        nusselt = formulas.helix_nusselt(re, at.prandtl, bore, passage.coil_diameter)
    film = formulas.film_coefficient(nusselt, bore, at)
    flux = element.loss / passage.wetted_surface
    through = formulas.wall_rise(flux, bore, element.wall.thickness, element.wall.conductivity) if element.wall else 0.0
    return replace(
        base,
        reynolds=re,
        critical_reynolds=formulas.critical_reynolds(bore, passage.coil_diameter),
        velocity=mass_flow / (at.density * passage.area),
        film_coefficient=film,
        wall_temperature=outlet + flux / film,
        metal_temperature=0.5 * (inlet + outlet) + flux / film + through,
    )


def _states(elements: Sequence[Element], run: _Run, mass_flow: float, end_pressure: float) -> tuple[ElementState, ...]:
    """Element records, with the absolute pressure counted back from the end of the run."""
    pressure, states = end_pressure, []
    for element, step in zip(reversed(elements), reversed(run.steps), strict=True):
        states.append(_state(element, mass_flow, step, pressure))
        pressure += step[2]
    return tuple(reversed(states))


def solve_cooling(circuit: Circuit) -> CoolingResult:
    """Flow, drop, temperatures and margins of a water circuit.

    Steady state, uniform heat along each element, no heat to the air (safe side), no height differences. Raises
    NotConverged when no flow balances the supply. Uncertainty of the correlations: drop +-5 % straight, +-15 % in a
    helix; film coefficient +-20 %.
    """
    mass_flow, residual = _total_flow(circuit)
    if residual > 1e-6:
        raise NotConverged("the pressure balance of the water circuit", [residual], "Look for a blocked path.")
    balance = _balance(circuit, mass_flow)
    density = water(circuit.inlet_temperature).density
    back_pressure = circuit.outlet_pressure + balance.back.drop
    feed_pressure = back_pressure + max(p.drop for p in balance.paths)
    back = _states(circuit.back, balance.back, mass_flow, circuit.outlet_pressure)
    feed = _states(circuit.feed, balance.feed, mass_flow, feed_pressure)
    paths = tuple(
        PathState(path.name, m / density, run.drop, run.outlet, _states(path.elements, run, m, back_pressure))
        for path, m, run in zip(circuit.paths, balance.shares, balance.paths, strict=True)
    )
    states = (*feed, *(e for p in paths for e in p.elements), *back)
    return CoolingResult(
        circuit=circuit,
        flow=mass_flow / density,
        pressure_drop=balance.drop,
        outlet_temperature=balance.back.outlet,
        heat=circuit.heat,
        feed=feed,
        paths=paths,
        back=back,
        residual=residual,
        findings=look_over(circuit, states, balance.back.outlet),
        sources=(SOURCE, formulas.FRICTION_SOURCE, formulas.HEAT_TRANSFER_SOURCE),
    )


def with_losses(circuit: Circuit, losses: Mapping[str, float]) -> Circuit:
    """The same circuit with other losses (W) in the named elements."""

    def changed(elements: tuple[Element, ...]) -> tuple[Element, ...]:
        return tuple(replace(e, loss=losses.get(e.name, e.loss)) for e in elements)

    paths = tuple(replace(p, elements=changed(p.elements)) for p in circuit.paths)
    return replace(circuit, feed=changed(circuit.feed), paths=paths, back=changed(circuit.back))


def metal_temperature(element: Element, loss: float, flow: float, inlet_temperature: float) -> float:
    """Mean temperature (K) of the metal of one tube run at a loss (W) and a flow (m^3/s at its inlet): what its
    resistance is to be taken at. An element known only by a rated drop gives its water outlet temperature.
    """
    mass_flow = flow * water(inlet_temperature).density
    run = _run((replace(element, loss=loss),), mass_flow, inlet_temperature)
    state = _state(replace(element, loss=loss), mass_flow, run.steps[0], 101325.0)
    return run.outlet if state.metal_temperature is None else state.metal_temperature


def settle_losses(
    circuit: Circuit, loss_at: Mapping[str, Callable[[float], float]], tolerance: float = 1e-3, most: int = 60
) -> CoolingResult:
    """Solve with losses that depend on the metal temperature, loss_at[name](temperature K) -> W, until both agree
    within `tolerance` K.

    Hot copper loses more (resistance up 0.39 %/K at DC, half of that in the skin), which heats it further. Raises
    NotConverged with the last temperature steps when that runs away: the water cannot hold the coil.
    """
    temperatures = dict.fromkeys(loss_at, circuit.inlet_temperature)
    steps: list[float] = []
    for _ in range(most):
        result = solve_cooling(with_losses(circuit, {n: loss_at[n](t) for n, t in temperatures.items()}))
        found = {n: result.element(n).metal_temperature or result.element(n).outlet_temperature for n in temperatures}
        steps.append(max((abs(found[n] - t) for n, t in temperatures.items()), default=0.0))
        temperatures = found
        if steps[-1] <= tolerance:
            return result
        if not math.isfinite(steps[-1]) or max(found.values()) > 1300.0:
            break
    raise NotConverged("copper temperature and loss run away", steps, "Raise the water flow or lower the current.")
