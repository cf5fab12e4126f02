"""From impedance readings: L, R, Q of a coil, C of a bank, resonance and its Q, coupling, share of the power that
reaches a part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.evidence import Uncertain
from coilwright.readings.fit import Fit, fit_curve
from coilwright.readings.records import Complexes, Floats, Sweep, TwoPort

LCR_RELATIVE = 0.005  # of |Z|, hand-held LCR meter (common practice)
LCR_INDUCTANCE = 1.5e-9  # H, what clips and leads leave (common practice)


@dataclass(frozen=True)
class CoilReading:
    """Series inductance (H), resistance (ohm) and Q at one frequency (Hz), one sigma each."""

    frequency: float
    inductance: Uncertain
    resistance: Uncertain
    q: Uncertain


@dataclass(frozen=True)
class BankReading:
    """Series capacitance (F), resistance (ohm) and loss tangent at one frequency (Hz)."""

    frequency: float
    capacitance: Uncertain
    resistance: Uncertain
    loss_tangent: Uncertain


@dataclass(frozen=True)
class Resonance:
    """A tank fitted over a sweep: `kind` "series" or "parallel", elements (H, F, ohm), resonance (Hz) and Q,
    residual as share of |Z|.
    """

    kind: str
    frequency: Uncertain
    q: Uncertain
    inductance: Uncertain
    capacitance: Uncertain
    resistance: Uncertain
    residual: float


def _at(sweep: Sweep, frequency: float) -> complex:
    """Impedance at a frequency inside the sweep, R and X each straight between neighbours in log-log where they
    keep their sign.
    """
    f = sweep.frequency
    if not f[0] <= frequency <= f[-1]:
        raise BadInput(
            Fault(
                sweep.origin,
                f"covers {f[0]:.6g} to {f[-1]:.6g} Hz, so nothing can be read at {frequency:.6g} Hz; sweep wider",
            )
        )
    k = int(np.searchsorted(f, frequency))
    if f[k] == frequency:
        return complex(sweep.impedance[k])
    share = math.log(frequency / f[k - 1]) / math.log(f[k] / f[k - 1])

    def between(low: float, high: float) -> float:
        if low * high > 0.0:
            return math.copysign(abs(low) ** (1.0 - share) * abs(high) ** share, low)
        return low + (high - low) * (frequency - float(f[k - 1])) / float(f[k] - f[k - 1])

    one, two = complex(sweep.impedance[k - 1]), complex(sweep.impedance[k])
    return complex(between(one.real, two.real), between(one.imag, two.imag))


def coil_reading(
    sweep: Sweep, frequency: float, relative: float = LCR_RELATIVE, stray: float = LCR_INDUCTANCE
) -> CoilReading:
    """L, R and Q of a coil at `frequency` (Hz). `relative` is the meter's one-sigma error of |Z|, as much along R
    as along X; `stray` (H) what the fixture adds or takes.

    The error of R is therefore `relative` of |Z|, not of R: at Q 60 a 0.5 % meter knows R to 30 %. Ring-down does
    better.
    """
    z = _at(sweep, frequency)
    if z.imag <= 0.0 or z.real <= 0.0:
        raise BadInput(
            Fault(
                sweep.origin,
                f"is no coil at {frequency:.6g} Hz: R {z.real:.4g} ohm, X {z.imag:.4g} ohm; R and X must be positive",
            )
        )
    omega = 2.0 * math.pi * frequency
    error = relative * abs(z)
    inductance = z.imag / omega
    sigma_l = math.hypot(error / omega, stray)
    q = z.imag / z.real
    sigma_q = q * math.hypot(omega * sigma_l / z.imag, error / z.real)
    return CoilReading(frequency, Uncertain(inductance, sigma_l), Uncertain(z.real, error), Uncertain(q, sigma_q))


def bank_reading(sweep: Sweep, frequency: float, relative: float = LCR_RELATIVE) -> BankReading:
    """C, series resistance and loss tangent of capacitors at `frequency` (Hz); `relative` as in coil_reading."""
    z = _at(sweep, frequency)
    if z.imag >= 0.0:
        raise BadInput(
            Fault(
                sweep.origin,
                f"is no capacitor at {frequency:.6g} Hz: its reactance is {z.imag:.4g} ohm; it must be negative",
            )
        )
    error = relative * abs(z)
    capacitance = -1.0 / (2.0 * math.pi * frequency * z.imag)
    loss = -z.real / z.imag
    return BankReading(
        frequency,
        Uncertain(capacitance, capacitance * relative),
        Uncertain(z.real, error),
        Uncertain(loss, error / abs(z.imag)),
    )


def _stack(values: Complexes) -> Floats:
    return np.concatenate([values.real, values.imag])


def fit_resonance(sweep: Sweep, kind: str | None = None) -> Resonance:
    """L, C, R of a tank from a sweep through its resonance, by least squares on the relative error of Z (or Y).

    "series": R + jwL + 1/jwC, R constant. "parallel": C across a coil L in series with R. `kind` None decides by
    whether |Z| has a dip or a peak. Uncertainties come from the residuals. Raises BadInput when the resonance is
    not inside the sweep or there are fewer than six points.
    """
    if kind not in (None, "series", "parallel"):
        raise BadInput(Fault("kind", f'must be "series" or "parallel", received {kind!r}'))
    sweep = _without_rest(sweep)
    size = np.abs(sweep.impedance)
    if len(sweep) < 6:
        raise BadInput(Fault(sweep.origin, f"has {len(sweep)} points; at least 6 through the resonance are needed"))
    dip, peak = int(np.argmin(size)), int(np.argmax(size))
    inner = range(1, len(sweep) - 1)
    if kind is None:
        kind = "series" if dip in inner else "parallel"
    centre = dip if kind == "series" else peak
    if centre not in inner:
        raise BadInput(
            Fault(sweep.origin, "does not pass through a resonance: the extreme of |Z| lies at its end; sweep wider")
        )
    y = sweep.impedance if kind == "series" else 1.0 / sweep.impedance
    omega0 = 2.0 * math.pi * float(sweep.frequency[centre])
    start = _start(sweep, y, centre, omega0, kind)
    weight = 1.0 / np.abs(y)

    def model(f: Floats, p: Floats) -> Floats:
        omega = 2.0 * np.pi * f
        # ln of resonance, ln of the reactance there, ln of the resistance: all of order one
        w0, x0, r = np.exp(p[0]) * omega0, np.exp(p[1]), np.exp(p[2])
        if kind == "series":
            z = r + 1j * x0 * (omega / w0 - w0 / omega)
            return _stack(z * weight)
        admittance = 1j * omega / (w0 * x0) + 1.0 / (r + 1j * x0 * omega / w0)
        return _stack(admittance * weight)

    found = fit_curve(model, sweep.frequency, _stack(y * weight), start)
    return _resonance(found, omega0, kind)


def _without_rest(sweep: Sweep) -> Sweep:
    """The sweep without a point at 0 Hz, with which a network analyser's file may begin, and without a short of exactly 0 ohm."""
    keep = (sweep.frequency > 0.0) & (np.abs(sweep.impedance) > 0.0)
    if keep.all():
        return sweep
    return replace(sweep, frequency=sweep.frequency[keep], impedance=sweep.impedance[keep])


def _start(sweep: Sweep, y: Complexes, centre: int, omega0: float, kind: str) -> list[float]:
    low, high = max(0, centre - 2), min(len(sweep) - 1, centre + 2)
    slope = (y[high].imag - y[low].imag) / (2.0 * np.pi * (sweep.frequency[high] - sweep.frequency[low]))
    strength = max(0.5 * omega0 * abs(float(slope)), 1e-12)
    real = max(abs(float(y[centre].real)), 1e-12)
    if kind == "series":
        return [0.0, math.log(strength), math.log(real)]
    reactance = 1.0 / strength
    return [0.0, math.log(reactance), math.log(reactance**2 * real)]


def _resonance(fit: Fit, omega0: float, kind: str) -> Resonance:
    w0, x0, r = (float(v) for v in np.exp(fit.values) * np.array([omega0, 1.0, 1.0]))
    covariance = fit.covariance

    def from_logs(value: float, powers: tuple[float, float, float]) -> Uncertain:
        p = np.array(powers)
        return Uncertain(value, value * math.sqrt(float(p @ covariance @ p)))

    return Resonance(
        kind,
        from_logs(w0 / (2.0 * math.pi), (1.0, 0.0, 0.0)),
        from_logs(x0 / r, (0.0, 1.0, -1.0)),
        from_logs(x0 / w0, (-1.0, 1.0, 0.0)),
        from_logs(1.0 / (w0 * x0), (-1.0, -1.0, 0.0)),
        from_logs(r, (0.0, 0.0, 1.0)),
        fit.spread,
    )


@dataclass(frozen=True)
class Loading:
    """What a part does to a coil: change of L and R, share of the coil power that reaches the part at the same
    current, with one sigma.
    """

    frequency: float
    inductance_change: Uncertain
    resistance_change: Uncertain
    efficiency: Uncertain


def loading(empty: CoilReading, loaded: CoilReading, repeat: float | None = None) -> Loading:
    """Efficiency 1 - R_empty / R_loaded, dL and dR of a coil with and without its part, read at the same frequency.

    `repeat` (relative to |Z|) is the scatter from one reading to the next; differences of one meter share their
    gain error, so the meter's own error counts in full only when `repeat` is left out.
    """
    if abs(empty.frequency - loaded.frequency) > 1e-3 * empty.frequency:
        raise BadInput(
            Fault(
                "loading",
                f"both readings must be at one frequency, received {empty.frequency:.6g} and {loaded.frequency:.6g} Hz",
            )
        )
    omega = 2.0 * math.pi * empty.frequency
    r0, r1 = empty.resistance, loaded.resistance
    s0, s1 = r0.sigma, r1.sigma
    l0, l1 = empty.inductance.sigma, loaded.inductance.sigma
    if repeat is not None:
        s0, s1 = (repeat * math.hypot(c.resistance.value, omega * c.inductance.value) for c in (empty, loaded))
        l0, l1 = s0 / omega, s1 / omega
    ratio = r0.value / r1.value
    return Loading(
        empty.frequency,
        Uncertain(loaded.inductance.value - empty.inductance.value, math.hypot(l0, l1)),
        Uncertain(r1.value - r0.value, math.hypot(s0, s1)),
        Uncertain(1.0 - ratio, ratio * math.hypot(s0 / r0.value, s1 / r1.value)),
    )


def efficiency_from_q(q_empty: Uncertain, q_loaded: Uncertain) -> Uncertain:
    """1 - Q_loaded/Q_empty: the same share from two ring-downs, exact when L is unchanged."""
    ratio = q_loaded.value / q_empty.value
    return Uncertain(1.0 - ratio, ratio * math.hypot(q_loaded.sigma / q_loaded.value, q_empty.sigma / q_empty.value))


def coupling_factor(pair: TwoPort, frequency: float) -> float:
    """k = |Im Z21| / sqrt(Im Z11 Im Z22) of two coils from a two-port reading at `frequency` (Hz)."""
    parts = [Sweep(pair.frequency, pair.impedance[:, a, b], pair.origin) for a, b in ((0, 0), (1, 1), (1, 0))]
    x11, x22, x21 = (_at(s, frequency).imag for s in parts)
    if x11 <= 0.0 or x22 <= 0.0:
        raise BadInput(
            Fault(
                pair.origin,
                f"both ports must be inductive at {frequency:.6g} Hz; reactances are {x11:.4g} and {x22:.4g} ohm",
            )
        )
    factor = abs(x21) / math.sqrt(x11 * x22)
    if factor >= 1.0:
        raise NotConverged(
            f"a coupling factor of {factor:.4g} is impossible", advice="Check the calibration of the analyser."
        )
    return factor


def coupling_from_short(open_secondary: CoilReading, shorted_secondary: CoilReading) -> Uncertain:
    """k = sqrt(1 - L_short/L_open), from the inductance of one coil with the other open and shorted (shorted
    winding of high Q).
    """
    ratio = shorted_secondary.inductance.value / open_secondary.inductance.value
    if not 0.0 < ratio < 1.0:
        raise BadInput(
            Fault(
                "coupling", f"shorting must lower the inductance; the ratio is {ratio:.4g}; are the readings swapped?"
            )
        )
    k = math.sqrt(1.0 - ratio)
    relative = [r.inductance.sigma / r.inductance.value for r in (open_secondary, shorted_secondary)]
    return Uncertain(k, ratio * math.hypot(*relative) / (2.0 * k))
