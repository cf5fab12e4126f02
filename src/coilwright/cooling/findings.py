"""What a careful engineer would say about a solved water circuit."""

from __future__ import annotations

from collections.abc import Iterable

from coilwright.cooling.formulas import LAMINAR_LIMIT
from coilwright.cooling.inputs import Circuit, Limits
from coilwright.cooling.result import ElementState
from coilwright.cooling.water import dew_point
from coilwright.evidence import Finding, Severity
from coilwright.units import ZERO_CELSIUS


def _celsius(value: float) -> str:
    return f"{value - ZERO_CELSIUS:.0f} degC"


def _hot(where: str, outlet: float, limits: Limits) -> Finding | None:
    if outlet <= limits.outlet:
        return None
    severity: Severity = "serious" if outlet > limits.scale else "warning"
    reason = f"usual practice stays below {_celsius(limits.outlet)}"
    if severity == "serious":
        reason = "scale will settle in the bore"
    text = f"water leaves at {_celsius(outlet)}; {reason}."
    return Finding("water-hot", severity, where, text, "Raise the flow or split the path.")


def _boiling(state: ElementState, limits: Limits) -> Finding | None:
    margin = state.boiling_margin
    if margin >= limits.boiling_margin:
        return None
    severity: Severity = "serious" if margin <= 0.0 else "warning"
    place = "the wetted wall" if state.wall_temperature is not None else "the water"
    boils = f"({_celsius(state.boiling_temperature)} at the local pressure)"
    text = f"{place} comes within {margin:.0f} K of boiling {boils}."
    if margin <= 0.0:
        text = f"{place} would be {-margin:.0f} K above boiling {boils}: steam, then a burnt tube."
    return Finding("boiling-margin", severity, state.name, text, "Raise the flow, the back pressure or the bore.")


def _element(state: ElementState, limits: Limits) -> Iterable[Finding | None]:
    yield _boiling(state, limits)
    re = state.reynolds
    # in a helix the flow stays laminar far above 2300, but its cross-currents cool the wall well: no finding there
    if state.loss > 0.0 and re is not None and re < LAMINAR_LIMIT:
        text = f"the flow is laminar (Re {re:.0f} below {LAMINAR_LIMIT:.0f}), so the wall is poorly cooled."
        yield Finding("flow-laminar", "warning", state.name, text, "Raise the flow or take a smaller bore.")
    if state.velocity is not None and state.velocity > limits.velocity:
        yield Finding(
            "velocity-high",
            "warning",
            state.name,
            f"water runs at {state.velocity:.1f} m/s; above {limits.velocity:g} m/s it wears copper and costs drop.",
            "Take a larger bore or parallel paths.",
        )


def look_over(circuit: Circuit, states: Iterable[ElementState], outlet: float) -> tuple[Finding, ...]:
    """Findings of a solved circuit: water-hot, boiling-margin, flow-laminar, velocity-high, below-dew-point."""
    found: list[Finding | None] = [_hot("outlet", outlet, circuit.limits)]
    for state in states:
        if state.loss > 0.0 and state.outlet_temperature > outlet + 0.5:  # a branch hotter than the mixture
            found.append(_hot(state.name, state.outlet_temperature, circuit.limits))
        found.extend(_element(state, circuit.limits))
    if circuit.room is not None:
        dew = dew_point(circuit.room.temperature, circuit.room.humidity)
        if circuit.inlet_temperature < dew:
            found.append(
                Finding(
                    "below-dew-point",
                    "warning",
                    "inlet",
                    f"water at {_celsius(circuit.inlet_temperature)} is below the room's dew point, {_celsius(dew)}: "
                    "coil, capacitors and live parts will drip.",
                    f"Keep the water above {_celsius(dew + 2.0)}.",
                )
            )
    return tuple(f for f in found if f is not None)
