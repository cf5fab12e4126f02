"""Closed forms of the resonant circuit: pure functions, SI, rms unless a name says peak.

Sources: the relations are in every circuit-theory book; the page quoted beside a function is where a reader can look.
[Alexander] C. K. Alexander, M. N. O. Sadiku, Fundamentals of Electric Circuits, 5th ed. 2013, ch. 14 (resonance).
[Grover] F. W. Grover, Inductance Calculations, 1946 (chapter and page from memory).
"""

from __future__ import annotations

import cmath
import math
from typing import Any

import numpy as np

MU_0 = 4e-7 * math.pi


def resonance(inductance: float, capacitance: float) -> float:
    """Undamped resonance 1/(2 pi sqrt(L C)), Hz, of H and F, both > 0. [Alexander] eq. 14.23."""
    return 1.0 / (2.0 * math.pi * math.sqrt(inductance * capacitance))


def damped_ring_frequency(inductance: float, capacitance: float, resistance: float) -> float:
    """Frequency (Hz) at which a series R, L, C left alone rings: sqrt(1/LC - (R/2L)^2)/2 pi; needs R < 2 sqrt(L/C)."""
    return math.sqrt(1.0 / (inductance * capacitance) - (resistance / (2.0 * inductance)) ** 2) / (2.0 * math.pi)


def parallel_zero_phase(inductance: float, capacitance: float, resistance: float) -> float:
    """Zero-phase frequency (Hz) of a lossless C across a coil (R in series with L): sqrt(1/LC - (R/L)^2)/2 pi.

    Needs R < sqrt(L/C). [Alexander] example 14.9 shows the derivation.
    """
    return math.sqrt(1.0 / (inductance * capacitance) - (resistance / inductance) ** 2) / (2.0 * math.pi)


def capacitance_for(frequency: float, inductance: float) -> float:
    """Capacitance (F) that resonates with `inductance` (H) at `frequency` (Hz): 1/(omega^2 L)."""
    return 1.0 / ((2.0 * math.pi * frequency) ** 2 * inductance)


def quality(frequency: float, inductance: float, resistance: float) -> float:
    """Q = omega L / R of a coil with series resistance (ohm)."""
    return 2.0 * math.pi * frequency * inductance / resistance


def ring_down_time(inductance: float, resistance: float) -> float:
    """Time (s) in which the envelope of a ringing series R, L, C falls to 1/e: 2 L / R = Q/(pi f)."""
    return 2.0 * inductance / resistance


def detuned_current_ratio(loaded_q: float, relative_offset: float) -> float:
    """Current of a series circuit off its resonance over that on it, at constant voltage: 1/|1 + jQ(x - 1/x)|.

    `relative_offset` = f/f0 - 1; the usual 1/sqrt(1 + (2 Q d)^2) is its limit for small offsets.
    """
    x = 1.0 + relative_offset
    return 1.0 / math.hypot(1.0, loaded_q * (x - 1.0 / x))


def frequency_ratio_after_loss(cans: int, lost: int = 1) -> float:
    """New over old frequency when `lost` of `cans` equal parallel cans drop out: sqrt(N/(N - lost))."""
    if not 0 <= lost < cans:
        raise ValueError(f"between 0 and {cans - 1} cans of {cans} can be lost, received {lost}")
    return math.sqrt(cans / (cans - lost))


def reflected_impedance(frequency: float, mutual: float, resistance: float, inductance: float) -> complex:
    """What a shorted ring (R2, L2, ohm and H) adds to the coil it couples to by `mutual` (H): (omega M)^2/(R2 + j omega L2)."""
    omega = 2.0 * math.pi * frequency
    return (omega * mutual) ** 2 / complex(resistance, omega * inductance)


def parallel_tubes_inductance(diameter: float, centres: float, length: float = 1.0) -> float:
    """Inductance (H) of go and return round tubes with the current on their skin: mu0/pi acosh(s/d) per metre.

    `diameter` outside and `centres` distance, m, centres > diameter; high-frequency limit, ends left out.
    Source: two-wire line with proximity, e.g. J. D. Kraus, Electromagnetics (from memory); exact for perfect conductors.
    """
    return MU_0 / math.pi * math.acosh(centres / diameter) * length


def busbar_inductance(gap: float, width: float, length: float = 1.0) -> float:
    """Inductance (H) of a busbar sandwich: mu0 g/w per metre, valid for gap (facing surfaces) << width."""
    return MU_0 * gap / width * length


def square_harmonic(order: int, conduction: float = 1.0) -> float:
    """Rms of harmonic `order` of a +-1 quasi-square wave that is on for the share `conduction` of each half period.

    2 sqrt(2)/(pi n) |sin(n pi d/2)|, odd orders only (Fourier series). conduction 1 is the full square.
    """
    if order % 2 == 0:
        return 0.0
    return 2.0 * math.sqrt(2.0) / (math.pi * order) * abs(math.sin(order * math.pi * conduction / 2.0))


def matching_turns(wanted_resistance: float, tank_resistance: float) -> float:
    """Turns ratio that makes `tank_resistance` look like `wanted_resistance` (ohm): sqrt of their quotient."""
    return math.sqrt(wanted_resistance / tank_resistance)


def line_two_port(
    omega: Any, length: float, resistance: float, inductance: float, capacitance: float
) -> tuple[Any, Any, Any]:
    """(A = D, B, C) of a uniform line: cosh gl, Z0 sinh gl, sinh gl / Z0; R', L', C' per metre.

    omega (rad/s) is a scalar or an array. Source: telegrapher's equations, e.g. D. M. Pozar, Microwave Engineering,
    table 4.1 (from memory).
    """
    series = (resistance + 1j * omega * inductance) * length
    shunt = 1j * omega * capacitance * length
    square = series * shunt
    if isinstance(omega, np.ndarray):
        gamma = np.sqrt(square)
        ratio = np.where(np.abs(gamma) > 1e-4, np.sinh(gamma) / np.where(gamma == 0.0, 1.0, gamma), 1.0 + square / 6.0)
        return np.cosh(gamma), series * ratio, shunt * ratio
    root = cmath.sqrt(square)
    factor = cmath.sinh(root) / root if abs(root) > 1e-4 else 1.0 + square / 6.0
    return cmath.cosh(root), series * factor, shunt * factor


def stored_energy(capacitance: float, peak_voltage: float) -> float:
    """Energy (J) in a capacitor at its peak voltage: C V^2 / 2."""
    return 0.5 * capacitance * peak_voltage**2


def bleed_time(capacitance: float, resistance: float, peak_voltage: float, safe_voltage: float) -> float:
    """Time (s) in which a bleed resistor brings `peak_voltage` down to `safe_voltage`: R C ln(V/Vs); 0 when already below."""
    return resistance * capacitance * math.log(peak_voltage / safe_voltage) if peak_voltage > safe_voltage else 0.0
