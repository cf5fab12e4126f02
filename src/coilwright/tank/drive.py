"""The source on its tank, answered again and again as the coil's R and L change: what the coupled shot calls each step.

The network is linear, so a step is one zero-phase frequency (a few secant steps from the last one) and one scale: the
source's amplitude is the smallest that any of its limits, its full drive or the held quantity allows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.tank.chain import Chain, CoilImpedance, Flow, build_chain, coil_at, forward, impedance, winding_coil
from coilwright.tank.inputs import SourceInput, TankInput
from coilwright.tank.resonance import find_crossings, track

NO_LOCK = "no lock"
TEXTS = {
    "source current": "the source current limit ({:.4g} A)",
    "source voltage": "the source voltage limit ({:.4g} V)",
    "source power": "the source power limit ({:.4g} W)",
    "full drive": "the source at full drive ({:.4g} {})",
    "lowest frequency": "the source's lowest frequency ({:.4g} kHz)",
    "highest frequency": "the source's highest frequency ({:.4g} kHz)",
    "hard switching": "the phase: the current leads where it must lag (or lags where it must lead), so the switches turn "
    "on hard",
    NO_LOCK: "the source, which finds no resonance of the right kind in its window and stops",
}


@dataclass(frozen=True, slots=True)
class Scale:
    """How far the source is turned up: amplitude (V or A rms of the fundamental) and the code of what stopped it."""

    amplitude: float
    limiting: str


@dataclass(frozen=True, slots=True)
class DriveResponse:
    """One answer, rms. losses (W) in the order of `TankDrive.loss_names`; source_power = coil_power + sum(losses).

    limits: codes of what bites (empty when the wanted level is reached); running False: the source lost its lock and
    everything is off.
    """

    frequency: float
    coil_current: float
    coil_voltage: float
    coil_power: float
    source_voltage: float
    source_current: float
    source_power: float
    phase: float
    bank_voltage: float
    bank_current: float
    losses: tuple[float, ...]
    limits: tuple[str, ...]
    running: bool = True


def scale(
    source: SourceInput,
    unit_voltage: complex,
    unit_current: complex,
    coil: Flow,
    level: float = 1.0,
    capped: bool = True,
) -> Scale:
    """Largest amplitude allowed, from the flows at unit amplitude (1 V of a voltage-fed, 1 A of a current-fed source).

    `level` multiplies the held quantity (a programme step); with hold = "level" it is the share of full amplitude.
    capped False leaves full drive out of account (what the other limits would allow).
    """
    limits = source.limits
    power = (unit_voltage * unit_current.conjugate()).real
    wanted = source.held * level
    full = source.full_amplitude
    hold = source.hold
    if hold == "level":
        best, name = full * min(wanted, 1.0), ""
    elif hold == "power":
        best, name = math.sqrt(wanted / power), ""
    elif hold == "coil current":
        best, name = wanted / abs(coil.current), ""
    else:
        best, name = wanted / abs(coil.voltage), ""
    if capped and full < best * (1.0 - 1e-12):
        best, name = full, "full drive"
    for code, most in (
        ("source current", limits.current / abs(unit_current)),
        ("source voltage", limits.voltage / abs(unit_voltage)),
        ("source power", math.sqrt(limits.power / power)),
    ):
        if most < best * (1.0 - 1e-12):
            best, name = most, code
    return Scale(best, name)


def limit_text(code: str, source: SourceInput) -> str:
    """What a limit code means for this source, as the end of a sentence "... limited by"."""
    window = source.limits.window
    figures: dict[str, tuple[object, ...]] = {
        "source current": (source.limits.current,),
        "source voltage": (source.limits.voltage,),
        "source power": (source.limits.power,),
        "full drive": (source.full_amplitude, "A" if source.current_fed else "V"),
        "lowest frequency": (window[0] / 1e3,),
        "highest frequency": (window[1] / 1e3,),
    }
    return TEXTS[code].format(*figures.get(code, ()))


def unit_flows(chain: Chain, source: SourceInput, coil: complex, omega: float) -> tuple[complex, complex, list[Flow]]:
    """Source voltage, source current and all flows at 1 V (voltage-fed) or 1 A (current-fed)."""
    current = 1.0 + 0.0j if source.current_fed else 1.0 / impedance(chain, coil, omega)
    voltage, flows = forward(chain, coil, omega, current)
    return voltage, current, flows


def settle(
    chain: Chain, source: SourceInput, coil: CoilImpedance, guess: float | None
) -> tuple[float, tuple[str, ...]] | None:
    """Frequency (Hz) at which the source runs and the frequency limits that bite; None when it finds nothing to follow.

    With a guess the crossing is followed from there; otherwise, or when that fails, the whole window is searched, and an
    octave on either side of it for a resonance the source can come close to from inside its window.
    """
    if source.follow == "frequency" and source.frequency is not None:
        return source.frequency, ()
    low, high = source.limits.window
    tangent = math.tan(source.target_angle)
    found = track(chain, coil, guess, tangent, source.current_fed) if guess else None
    if found is None:
        crossings = find_crossings(chain, coil, (low / 2.0, high * 2.0), source.target_angle, source.current_fed)
        suited = [c.frequency for c in crossings if c.rising != source.current_fed]
        inside = [f for f in suited if low <= f <= high]
        if not suited:
            return None
        found = inside[-1] if inside else min(suited, key=lambda f: abs(math.log(f / math.sqrt(low * high))))
    if found > high:
        return high, ("highest frequency",)
    if found < low:
        return low, ("lowest frequency",)
    return found, ()


@dataclass(frozen=True, slots=True)
class Settled:
    """Frequency (Hz), flows at unit amplitude, the amplitude, and the codes of every limit that bites."""

    frequency: float
    unit_voltage: complex
    unit_current: complex
    flows: list[Flow]
    amplitude: float
    limits: tuple[str, ...]


def solve_drive(
    chain: Chain, source: SourceInput, coil: CoilImpedance, guess: float | None = None, level: float = 1.0
) -> Settled | None:
    """Frequency and amplitude at which the source runs; None when it finds nothing to follow."""
    found = settle(chain, source, coil, guess)
    if found is None:
        return None
    frequency, limits = found
    at = _evaluate(chain, source, coil, frequency, level)
    if source.regulate == "frequency" and at[3].amplitude < source.full_amplitude * (1.0 - 1e-12):
        frequency, limits = _raise_frequency(chain, source, coil, frequency, level)
        at = _evaluate(chain, source, coil, frequency, level)
        # at full amplitude by intention: what bites is what sent the frequency up, if it is not the wanted level
        unbound = scale(source, at[0], at[1], at[2][-1], level, capped=False)
        at = (*at[:3], Scale(at[3].amplitude, unbound.limiting))
    v1, i1, flows, got = at
    if got.limiting:
        limits = (*limits, got.limiting)
    phase = _angle(v1, i1)
    if (-phase if source.current_fed else phase) < -1e-9:
        limits = (*limits, "hard switching")
    return Settled(frequency, v1, i1, flows, got.amplitude, limits)


def _evaluate(
    chain: Chain, source: SourceInput, coil: CoilImpedance, frequency: float, level: float
) -> tuple[complex, complex, list[Flow], Scale]:
    v1, i1, flows = unit_flows(chain, source, coil_at(coil, frequency), 2.0 * math.pi * frequency)
    return v1, i1, flows, scale(source, v1, i1, flows[-1], level)


def _raise_frequency(
    chain: Chain, source: SourceInput, coil: CoilImpedance, lowest: float, level: float
) -> tuple[float, tuple[str, ...]]:
    """First frequency above `lowest` at which full amplitude is just allowed; the top of the window when none is.

    Steps outwards from resonance, then regula falsi with the Illinois halving on the logarithm of allowed over full.
    """
    top = source.limits.window[1]

    def excess(frequency: float) -> float:
        v1, i1, flows = unit_flows(chain, source, coil_at(coil, frequency), 2.0 * math.pi * frequency)
        return math.log(scale(source, v1, i1, flows[-1], level, capped=False).amplitude / source.full_amplitude)

    low, below, step = lowest, excess(lowest), 1e-3
    while True:
        high = min(low * (1.0 + step), top)
        above = excess(high)
        if above >= 0.0:
            break
        if high >= top:
            return top, ("highest frequency",)
        low, below, step = high, above, 1.6 * step
    side = 0
    for _ in range(100):
        middle = (low * above - high * below) / (above - below)
        value = excess(middle)
        if abs(value) < 1e-12 or high - low < 1e-13 * low:
            return middle, ()
        if value > 0.0:
            high, above, below, side = middle, value, below * (0.5 if side == 1 else 1.0), 1
        else:
            low, below, above, side = middle, value, above * (0.5 if side == -1 else 1.0), -1
    raise NotConverged("the frequency that brings the source's output down was not found", (abs(value),))


@dataclass(frozen=True)
class TankDrive:
    """A tank with its source, ready to answer. Made by `drive_for_heating`."""

    tank: TankInput
    source: SourceInput
    chain: Chain
    loss_names: tuple[str, ...]
    bank_index: int

    @property
    def middle_frequency(self) -> float:
        """A frequency (Hz) to begin with before any coil is known: the set one, or the middle of the window."""
        return self.source.frequency or math.sqrt(self.source.limits.window[0] * self.source.limits.window[1])

    def respond(
        self, coil_resistance: float, coil_inductance: float, frequency_guess: float | None = None, level: float = 1.0
    ) -> DriveResponse:
        """Frequency, currents, powers and limits for a coil of R (ohm) and L (H) taken as constant near the guess (Hz).

        Never raises for a tank out of tune: a frequency limit is named in `limits`, and when there is no resonance to
        follow the answer has running=False, no current and the limit "no lock".
        """
        coil = winding_coil(coil_resistance, coil_inductance)
        got = solve_drive(self.chain, self.source, coil, frequency_guess, level) if level > 0.0 else None
        if got is None:
            return self._off(frequency_guess or 0.0, NO_LOCK if level > 0.0 else "")
        a, v1, i1, flows = got.amplitude, got.unit_voltage, got.unit_current, got.flows
        square = a * a
        bank, last = flows[self.bank_index], flows[-1]
        return DriveResponse(
            got.frequency,
            a * abs(last.current),
            a * abs(last.voltage),
            square * last.power.real,
            a * abs(v1),
            a * abs(i1),
            square * (v1 * i1.conjugate()).real,
            _angle(v1, i1),
            a * abs(bank.voltage),
            a * abs(bank.current),
            tuple([square * flow.power.real for flow in flows[:-1]]),
            got.limits,
        )

    def _off(self, frequency: float, code: str) -> DriveResponse:
        zeros = (0.0,) * len(self.loss_names)
        return DriveResponse(frequency, *(0.0,) * 9, zeros, (code,) if code else (), running=False)

    def sentence(self, response: DriveResponse) -> str:
        """What bites, in words: "coil current limited to 310 A by the source current limit (48 A)"; "" when nothing does."""
        return limit_sentence(response.limits, response.coil_current, self.source)


def limit_sentence(limits: tuple[str, ...], coil_current: float, source: SourceInput) -> str:
    """The limits of one answer as one sentence, "" when there are none."""
    if not limits:
        return ""
    reasons = " and ".join(limit_text(code, source) for code in limits)
    return f"coil current limited to {coil_current:.4g} A by {reasons}"


def _angle(voltage: complex, current: complex) -> float:
    product = voltage * current.conjugate()
    return math.atan2(product.imag, product.real)


def drive_for_heating(tank: TankInput, source: SourceInput | None = None) -> TankDrive:
    """The tank and its source as the object whose `respond` the coupled shot calls at each step.

    Raises BadInput when there is no source.
    """
    chosen = source or tank.source
    if chosen is None:
        raise BadInput(Fault("[source]", "a tank needs a source to be driven by; add a [source] section"))
    if chosen is not tank.source:
        tank = replace(tank, source=chosen)
    chain = build_chain(tank)
    names = tuple(step.name for step in chain if step.kind != "ideal")
    return TankDrive(tank, chosen, chain, names, names.index("tank"))


def coil_value(coil: CoilImpedance, frequency: float) -> complex:
    """The coil's impedance at a frequency, checked: its resistance must be positive."""
    z = coil_at(coil, frequency)
    if not (z.real > 0.0 and math.isfinite(abs(z))):
        raise BadInput(
            Fault(
                "coil impedance",
                f"its resistance must be positive and finite, received {z:.4g} ohm at {frequency / 1e3:.4g} kHz",
            )
        )
    return z
