"""Where a tank and its source settle: frequency, currents, every component's load and margin, and which limit bites."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.tank.chain import Chain, CoilImpedance, Flow, build_chain, coil_at, impedance, winding_coil
from coilwright.tank.drive import coil_value, limit_sentence, settle, solve_drive
from coilwright.tank.inputs import Bank, Derating, SourceInput, TankInput
from coilwright.tank.resonance import find_crossings
from coilwright.tank.result import ComponentState, Crossing, OperatingPoint, RatingCheck
from coilwright.tank.stress import bank_checks


def operating_point(
    tank: TankInput,
    coil_impedance: CoilImpedance | tuple[float, float],
    unloaded: CoilImpedance | tuple[float, float] | None = None,
    level: float = 1.0,
) -> OperatingPoint:
    """Where the source in `tank` settles on a coil given as Z(frequency in Hz) in ohm, as (R, L), or as one complex number.

    One complex number is allowed only with follow = "frequency", since it says nothing about other frequencies.
    A function must answer over an octave on either side of the source's window (the search for neighbouring resonances
    goes there), so give the source a window. `unloaded`: the empty coil, for the unloaded Q. Raises BadInput when there
    is no source, when the resonance lies outside the window, or when the source cannot start; the sentence says what
    would help.
    """
    source = _source_of(tank)
    coil, empty = _as_function(coil_impedance, source), None if unloaded is None else _as_function(unloaded, source)
    chain = build_chain(tank)
    settled = settle(chain, source, coil, None)
    got = solve_drive(chain, source, coil, None, level) if settled is not None and not settled[1] else None
    if got is None:
        raise BadInput(_cannot_start(tank, chain, coil, source))
    frequency, flows, a = got.frequency, got.flows, got.amplitude
    z = coil_value(coil, frequency)
    v1, i1 = got.unit_voltage, got.unit_current
    power = a * a * (v1 * i1.conjugate()).real
    components = tuple(_state(f, a) for f in flows)
    coil_state = components[-1]
    phase = float(np.angle(v1 / i1))
    ratings = _ratings(tank, flows, a, frequency)
    crossings = find_crossings(chain, coil, _scan_window(source, frequency), 0.0, source.current_fed)
    limits = tuple(code for code in got.limits if code != "hard switching")
    point = OperatingPoint(
        frequency=frequency,
        phase=phase,
        source_voltage=a * abs(v1),
        source_current=a * abs(i1),
        source_power=power,
        coil_voltage=coil_state.voltage,
        coil_current=coil_state.current,
        coil_power=coil_state.loss,
        coil_impedance=z,
        source_impedance=v1 / i1,
        drive=a / source.full_amplitude,
        loaded_q=tank_q(tank, z, frequency),
        unloaded_q=None if empty is None else tank_q(tank, coil_at(empty, frequency), frequency),
        components=components,
        ratings=ratings,
        crossings=crossings,
        limiting=limits[-1] if limits else "",
        limited_by=limit_sentence(limits, coil_state.current, source),
        findings=(),
        energy_error=abs(power - sum(c.loss for c in components)) / power,
        longest_on_time=source.limits.longest_on_time,
    )
    object.__setattr__(point, "findings", tuple(_findings(tank, source, point)))
    return point


def impedance_curve(tank: TankInput, coil_impedance: CoilImpedance, frequencies: Any) -> Any:
    """Source-side impedance (ohm, complex, (n,)) at frequencies (Hz, (n,)), bridge resistance included."""
    f = np.atleast_1d(np.asarray(frequencies, float))
    coil = np.array([coil_at(coil_impedance, float(x)) for x in f])
    return impedance(build_chain(tank), coil, 2.0 * np.pi * f)


def tank_q(tank: TankInput, coil: complex, frequency: float) -> float:
    """Q of the ringing loop alone: reactance of coil and leads over resistance of coil, leads and tank capacitors.

    With the bank on the source side the coil is seen through the transformer, whose windings, leakage and core ring with it.
    What a ring-down shows with the bridge shorted, but for the bridge's own resistance.
    """
    omega = 2.0 * math.pi * frequency
    bank = complex(tank.bank.impedance(omega))
    ring = coil + complex(tank.lead_resistance, omega * tank.lead_inductance)
    if tank.tap is not None:
        bank += complex(tank.tap.impedance(omega))
    if tank.cable is not None and tank.cable.place == "coil":
        ring += tank.cable.length * complex(tank.cable.resistance, omega * tank.cable.inductance)
    t = tank.transformer
    if t is not None and tank.bank_side == "source":
        ring = t.ratio**2 * (ring + complex(t.coil_resistance, omega * t.coil_leakage))
        ring = 1.0 / (1.0 / ring + complex(1.0 / t.core_resistance, -1.0 / (omega * t.magnetising_inductance)))
        ring += complex(t.source_resistance, omega * t.source_leakage)
    return ring.imag / (ring.real + bank.real)


def _source_of(tank: TankInput) -> SourceInput:
    if tank.source is None:
        raise BadInput(Fault("[source]", "an operating point needs a source; add a [source] section"))
    return tank.source


def _as_function(coil: CoilImpedance | tuple[float, float], source: SourceInput) -> CoilImpedance:
    if isinstance(coil, tuple):
        return winding_coil(*coil)
    if not callable(coil) and source.follow != "frequency":
        raise BadInput(
            Fault(
                "coil impedance",
                "one complex number holds at one frequency only, but the source tracks; give "
                "(R, L) or a function of frequency",
            )
        )
    return coil


def _scan_window(source: SourceInput, frequency: float) -> tuple[float, float]:
    """An octave beyond the source's window (or round the set frequency), so that neighbours are seen too."""
    low, high = source.limits.window
    if source.limits.lowest_frequency is None and source.limits.highest_frequency is None:
        return low, high
    return min(low, frequency) / 2.0, max(high, frequency) * 2.0


def _cannot_start(tank: TankInput, chain: Chain, coil: CoilImpedance, source: SourceInput) -> Fault:
    low, high = source.limits.window
    window = f"{low / 1e3:.4g} to {high / 1e3:.4g} kHz"
    everywhere = find_crossings(chain, coil, (low / 30.0, high * 30.0), source.target_angle, source.current_fed)
    suited = [c.frequency for c in everywhere if c.rising != source.current_fed]
    if not suited:
        f = np.geomspace(low, high, 400)
        z = impedance(chain, np.array([coil_at(coil, float(x)) for x in f]), 2.0 * np.pi * f)
        angles = np.degrees(np.angle(z))
        kind = "falls through" if source.current_fed else "rises through"
        return Fault(
            "[source]",
            f"the source cannot start: between {window} the phase it sees runs from {angles.min():.3g} to "
            f"{angles.max():.3g} deg and never {kind} the {math.degrees(source.target_angle):.3g} deg it seeks; "
            "less coupling inductance or leakage, a higher tank Q, or another phase setting would help",
        )
    nearest = min(suited, key=lambda f: abs(math.log(f / math.sqrt(low * high))))
    factor = (nearest / min(max(nearest, low), high)) ** 2
    amount = tank.bank.capacitance
    middle = (nearest / math.sqrt(low * high)) ** 2
    change = "more" if factor > 1.0 else "less"
    return Fault(
        "[source]",
        f"the resonance at {nearest / 1e3:.4g} kHz lies outside the source's window of {window}; {change} "
        f"tank capacitance would help: about {amount * factor * 1e6:.4g} uF instead of {amount * 1e6:.4g} uF brings it to "
        f"the edge, {amount * middle * 1e6:.4g} uF to the middle (or other coil turns: frequency goes with 1/turns)",
    )


def _state(flow: Flow, amplitude: float) -> ComponentState:
    v, i = amplitude * abs(flow.voltage), amplitude * abs(flow.current)
    power = amplitude * amplitude * flow.power
    return ComponentState(flow.name, v, i, power.real, power.imag, v * i)


def _ratings(tank: TankInput, flows: Sequence[Flow], amplitude: float, frequency: float) -> tuple[RatingCheck, ...]:
    by_name = {f.name: f for f in flows}
    checks: list[RatingCheck] = []
    for place, bank in tank.banks():
        checks += bank_checks(place, bank, amplitude * abs(by_name[place].voltage), frequency, tank.derating)
    return tuple(checks)


def _findings(tank: TankInput, source: SourceInput, point: OperatingPoint) -> list[Finding]:
    found: list[Finding] = []
    if point.limiting:
        found.append(Finding("source-limit", "warning", "source", f"{point.limited_by}."))
    found += [f for check in point.ratings for f in _rating_findings(check)]
    found += [f for place, bank in tank.banks() for f in _unrated(place, bank, point.frequency, tank.derating)]
    found += _switching(source, point)
    found += _neighbours(source, point)
    return found


def _rating_findings(check: RatingCheck) -> list[Finding]:
    if check.used <= 1.0:
        return []
    over_maker = check.value > check.rating
    text = (
        f"{check.quantity} {check.value:.4g} is {check.value / check.rating:.0%} of the maker's {check.rating:.4g} "
        f"(allowed here: {check.derating:.0%})."
    )
    return [
        Finding(
            "capacitor-over-rating" if over_maker else "capacitor-over-derating",
            "serious" if over_maker else "warning",
            check.component,
            text,
            "Take more cans in series for voltage, in parallel for current and kvar.",
        )
    ]


def _unrated(place: str, bank: Bank, frequency: float, derating: Derating) -> list[Finding]:
    found = []
    for group in bank.groups:
        can = group.can
        curves = {"voltage": can.voltage, "current": can.current, "kvar": can.reactive_power}
        missing = [k for k, c in curves.items() if c is None]
        beyond = [k for k, c in curves.items() if c is not None and not c.covers(frequency)]
        where = f"{place}: {can.name}"
        if missing:
            found.append(
                Finding(
                    "rating-unknown",
                    "warning",
                    where,
                    f"No rating is stated for {', '.join(missing)}.",
                    "Ask its maker; above 50 kHz only the maker's curves count.",
                )
            )
        if beyond:
            found.append(
                Finding(
                    "rating-beyond-curve",
                    "warning",
                    where,
                    f"The rating of {', '.join(beyond)} is not stated at {frequency / 1e3:.4g} kHz; the nearest "
                    "point was taken.",
                )
            )
    return found


def _switching(source: SourceInput, point: OperatingPoint) -> list[Finding]:
    margin = -point.phase if source.current_fed else point.phase
    least = source.limits.least_phase
    low, high = source.limits.window
    found = []
    if margin < -1e-9:
        found.append(
            Finding(
                "hard-switching",
                "serious",
                "source",
                f"The phase is {math.degrees(margin):.3g} deg on the wrong side of resonance, so the switches turn "
                "on hard.",
                "Raise the set frequency above the resonance.",
            )
        )
    elif margin < least - 1e-9:
        found.append(
            Finding(
                "phase-margin",
                "warning",
                "source",
                f"The phase margin of {math.degrees(margin):.3g} deg is below "
                f"the {math.degrees(least):.3g} deg soft switching needs.",
                "Raise the set frequency a little.",
            )
        )
    if not low <= point.frequency <= high:
        found.append(
            Finding(
                "frequency-outside-window",
                "serious",
                "source",
                f"The set {point.frequency / 1e3:.4g} kHz lies "
                f"outside the source's {low / 1e3:.4g} to {high / 1e3:.4g} kHz.",
            )
        )
    return found


def _neighbours(source: SourceInput, point: OperatingPoint) -> list[Finding]:
    low, high = source.limits.window
    suited: list[Crossing] = [
        c for c in point.crossings if c.rising != source.current_fed and low <= c.frequency <= high
    ]
    if len(suited) < 2:
        return []
    listed = ", ".join(f"{c.frequency / 1e3:.5g}" for c in suited)
    return [
        Finding(
            "several-resonances",
            "warning",
            "source",
            f"The source may lock at any of {listed} kHz; the highest is taken.",
            "Narrow the window so that only one is left.",
        )
    ]
