"""What a running source shows on a scope: frequency, rms, phase, true power with its skew, harmonics, envelope,
start and end.

Averages are taken under a Hann window, so that a record need not hold whole periods (leakage falls with the cube of
the number of periods; ten are plenty). Phase is of the second channel behind the first, in rad, at the fundamental.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len, rfft

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Uncertain
from coilwright.readings.records import Capture, Floats

USUAL_SKEW = 3e-9  # s between a voltage probe and a current transformer, 1 to 5 ns (common practice)
USUAL_GAIN = 0.03  # relative, of a voltage probe or current transformer (common practice)
_MOST = 2_000_000  # samples looked at in one piece


@dataclass(frozen=True)
class Electrical:
    """One stretch of voltage and current. rms values over everything; `phase` (rad, + = current lags) at the
    fundamental.

    `power` (W) is the mean of u i with the uncertainty that gain and skew leave; `power_per_skew` (W/s) says how it
    moves with skew.
    """

    frequency: float
    voltage: float
    current: float
    phase: float
    power: Uncertain
    apparent: float
    reactive: float
    power_per_skew: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Harmonics:
    """rms of each order (index 0 is the fundamental), phase (rad) against the fundamental's zero, and total
    distortion (share).
    """

    frequency: float
    rms: Floats
    phase: Floats
    distortion: float


@dataclass(frozen=True)
class Envelope:
    """Peak amplitude of the fundamental against time, one value per `window` seconds."""

    time: Floats
    amplitude: Floats
    window: float


@dataclass(frozen=True)
class Shot:
    """`start` and `end` (s) with the uncertainty of the envelope's time step; None where the record begins or ends
    inside the shot.
    """

    start: Uncertain | None
    end: Uncertain | None
    level: float


def _stretch(capture: Capture, start: float | None, stop: float | None) -> tuple[int, int]:
    first = 0 if start is None else round((start - capture.start) / capture.step)
    last = len(capture) if stop is None else round((stop - capture.start) / capture.step) + 1
    if not 0 <= first < last <= len(capture):
        end = capture.start + capture.duration
        raise BadInput(
            Fault(
                capture.origin,
                f"the stretch must lie inside the record, {capture.start:.6g} to {end:.6g} s, and not be empty",
            )
        )
    return first, min(last, first + _MOST)


def _window(count: int) -> Floats:
    weights = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(count) + 0.5) / count)
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def dominant_frequency(y: Floats, step: float) -> float:
    """Frequency (Hz) of the strongest line: spectrum peak, then refined by the phase advance between two halves."""
    count = len(y)
    if count < 16 or float(np.ptp(y)) == 0.0:
        raise BadInput(Fault("channel", f"shows nothing periodic in {count} samples"))
    padded = next_fast_len(2 * count, real=True)
    spectrum = np.abs(rfft((y - y.mean()) * np.hanning(count), padded))
    spectrum[:4] = 0.0
    rough = float(np.argmax(spectrum)) / (padded * step)
    if rough <= 0.0 or rough * step * count < 3.0:
        raise BadInput(Fault("channel", "holds fewer than three periods of anything; take a longer record"))
    for _ in range(3):
        half = count // 2
        early, late = (
            _phasor(y[:half], step, rough, 0.0),
            _phasor(y[count - half :], step, rough, (count - half) * step),
        )
        rough += float(np.angle(late / early)) / (2.0 * np.pi * (count - half) * step)
    return rough


def _phasor(y: Floats, step: float, frequency: float, at: float) -> complex:
    """Peak phasor of `frequency` in `y` whose first sample is at time `at`: y ~ Re(P e^(j w t))."""
    weights = _window(len(y))
    turn = np.exp(-2j * np.pi * frequency * (at + step * np.arange(len(y))))
    mean = float(weights @ y)
    return complex(2.0 * ((y - mean) * weights) @ turn)


def running_frequency(
    capture: Capture,
    channel: str = "1",
    window: float | None = None,
    start: float | None = None,
    stop: float | None = None,
) -> tuple[Floats, Floats]:
    """(times s, frequencies Hz) along the record, each over `window` s (default: 20 periods); nan where the channel
    is quiet.
    """
    first, last = _stretch(capture, start, stop)
    y = capture.channel(channel).values(first, last)
    centre = dominant_frequency(y, capture.step)
    count = _block(len(y), capture.step, centre, window, 20.0)
    table = y[: len(y) // count * count].reshape(-1, count)
    table = table - table.mean(axis=1, keepdims=True)
    padded = next_fast_len(2 * count, real=True)
    spectrum = np.abs(rfft(table * np.hanning(count), padded, axis=1))
    spectrum[:, :4] = 0.0
    frequency = np.argmax(spectrum, axis=1) / (padded * capture.step)
    half = count // 2
    for _ in range(3):  # refined by the phase advance between the halves of each block
        early = _row_phasors(table[:, :half], capture.step, frequency, 0.0)
        late = _row_phasors(table[:, count - half :], capture.step, frequency, (count - half) * capture.step)
        frequency = frequency + np.angle(late * np.conj(early)) / (2.0 * np.pi * (count - half) * capture.step)
    size = np.abs(early)
    frequency[size < 0.1 * size.max()] = np.nan
    times = capture.start + capture.step * (first + count * (np.arange(len(table)) + 0.5))
    return np.asarray(times, dtype=np.float64), np.asarray(frequency, dtype=np.float64)


def _row_phasors(
    table: Floats, step: float, frequency: Floats, at: float
) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    turn = np.exp(-2j * np.pi * frequency[:, None] * (at + step * np.arange(table.shape[1])))
    return np.asarray(((table * _window(table.shape[1])) * turn).sum(axis=1))


def _block(length: int, step: float, frequency: float, window: float | None, periods: float) -> int:
    wanted = periods / frequency if window is None else window
    if wanted * frequency < 3.0:
        raise BadInput(Fault("window", f"must hold at least 3 periods of {frequency:.6g} Hz, received {wanted:g} s"))
    count = round(wanted / step)
    if count < 8 or 2 * count > length:
        raise BadInput(Fault("window", f"of {wanted:g} s must fit into the record at least twice and hold 8 samples"))
    return count


def _block_phasors(
    y: Floats, step: float, frequency: float, count: int
) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    blocks = len(y) // count
    weights = _window(count)
    table = y[: blocks * count].reshape(blocks, count)
    table = table - (table @ weights)[:, None]
    turn = weights * np.exp(-2j * np.pi * frequency * step * np.arange(count))
    start = np.exp(-2j * np.pi * frequency * step * count * np.arange(blocks))
    return np.asarray(2.0 * (table @ turn) * start)


def electrical(
    capture: Capture,
    voltage: str = "1",
    current: str = "2",
    start: float | None = None,
    stop: float | None = None,
    skew: float = USUAL_SKEW,
    gain: float = USUAL_GAIN,
    inductive: bool = True,
) -> Electrical:
    """Frequency, rms, phase and true power of a voltage and a current channel.

    `skew` (s) and `gain` (relative) are the standard uncertainties of probe delay and probe gain. `inductive` says
    the load can only lag (coil, or a source run above resonance); a leading current then is reported as channels
    swapped or a probe reversed.
    """
    first, last = _stretch(capture, start, stop)
    u = capture.channel(voltage).values(first, last)
    i = capture.channel(current).values(first, last)
    where = capture.origin
    for name, wanted in ((voltage, "V"), (current, "A")):
        unit = capture.channel(name).unit
        if unit in ("V", "A") and unit != wanted:
            raise BadInput(
                Fault(where, f'channel "{name}" is in {unit} but is used as {wanted}; are the two channels swapped?')
            )
    frequency = dominant_frequency(u, capture.step)
    weights = _window(len(u))
    u, i = u - float(weights @ u), i - float(weights @ i)
    u_rms, i_rms = math.sqrt(float(weights @ (u * u))), math.sqrt(float(weights @ (i * i)))
    power = float(weights @ (u * i))
    p_u, p_i = _phasor(u, capture.step, frequency, 0.0), _phasor(i, capture.step, frequency, 0.0)
    phase = float(np.angle(p_u / p_i)) if p_i != 0.0 else 0.0
    reactive = 0.5 * abs(p_u) * abs(p_i) * math.sin(phase)
    per_skew = 2.0 * math.pi * frequency * reactive
    sigma = math.hypot(per_skew * skew, math.sqrt(2.0) * gain * power)
    findings = _electrical_findings(power, per_skew * skew, phase, inductive, skew, where)
    return Electrical(
        frequency, u_rms, i_rms, phase, Uncertain(power, sigma), u_rms * i_rms, reactive, per_skew, findings
    )


def _electrical_findings(
    power: float, by_skew: float, phase: float, inductive: bool, skew: float, where: str
) -> tuple[Finding, ...]:
    found = []
    share = 100.0 * abs(by_skew) / max(abs(power), 1e-300)
    if share > 5.0:
        found.append(
            Finding(
                "power-skew",
                "warning",
                where,
                f"{skew * 1e9:.2g} ns between the probes move the power by {share:.0f} % "
                f"at a phase of {math.degrees(phase):.1f} deg.",
                "Take power from current squared times resistance, or from the water.",
            )
        )
    if power < 0.0:
        text = "mean power comes out negative: a probe is reversed, or the load feeds back."
        found.append(
            Finding("power-negative", "serious", where, text, "Turn the current probe round and take it again.")
        )
    elif inductive and phase < -0.02:
        text = f"the current leads by {-math.degrees(phase):.1f} deg where it can only lag: two channels swapped?"
        found.append(Finding("channels-swapped", "warning", where, text, "Check which channel is the voltage."))
    return tuple(found)


def harmonics(
    capture: Capture, channel: str = "1", orders: int = 9, start: float | None = None, stop: float | None = None
) -> Harmonics:
    """Harmonics 1 to `orders` by least squares at the exact fundamental; orders above half the sampling rate are
    left out.
    """
    first, last = _stretch(capture, start, stop)
    y = capture.channel(channel).values(first, last)
    frequency = dominant_frequency(y, capture.step)
    orders = max(1, min(orders, int(0.45 / (capture.step * frequency))))
    phasors = np.array([_phasor(y, capture.step, k * frequency, 0.0) for k in range(1, orders + 1)])
    rms = np.abs(phasors) / math.sqrt(2.0)
    phase = np.angle(phasors) - np.arange(1, orders + 1) * np.angle(phasors[0])
    distortion = float(np.linalg.norm(rms[1:]) / rms[0]) if orders > 1 else 0.0
    return Harmonics(frequency, rms, np.asarray(np.angle(np.exp(1j * phase)), dtype=np.float64), distortion)


def envelope(
    capture: Capture, channel: str = "1", window: float | None = None, frequency: float | None = None
) -> Envelope:
    """Peak amplitude of the fundamental along the whole record, one value per `window` s (default: 5 periods)."""
    y = capture.channel(channel).values(0, min(len(capture), _MOST))
    centre = dominant_frequency(y, capture.step) if frequency is None else frequency
    count = _block(len(capture), capture.step, centre, window, 5.0)
    pieces = []
    chunk = max(1, _MOST // count) * count
    for at in range(
        0, len(capture) - count + 1, chunk
    ):  # piece by piece: a long record never stands in memory as float
        part = capture.channel(channel).values(at, min(at + chunk, len(capture)))
        if len(part) >= count:
            pieces.append(np.abs(_block_phasors(part, capture.step, centre, count)))
    amplitude = np.concatenate(pieces)
    times = capture.start + capture.step * count * (np.arange(len(amplitude)) + 0.5)
    return Envelope(np.asarray(times, dtype=np.float64), np.asarray(amplitude, dtype=np.float64), count * capture.step)


def find_shot(capture: Capture, channel: str = "1", threshold: float = 0.5, window: float | None = None) -> Shot:
    """Start and end of the longest stretch in which the envelope stands above `threshold` of its usual height.

    The uncertainty is the window over the root of 12; raises BadInput when the channel never rises out of its noise.
    """
    shape = envelope(capture, channel, window)
    level = float(np.percentile(shape.amplitude, 95.0))
    on = shape.amplitude > threshold * level
    edges = np.flatnonzero(np.diff(np.concatenate(([0], on.astype(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    if len(starts) == 0 or level <= 0.0:
        raise BadInput(Fault(capture.origin, f'channel "{channel}" shows no shot'))
    k = int(np.argmax(ends - starts))
    sigma = shape.window / math.sqrt(12.0)
    begin = None if starts[k] == 0 else Uncertain(_crossing(shape, int(starts[k]), threshold * level), sigma)
    end = None if ends[k] == len(on) else Uncertain(_crossing(shape, int(ends[k]), threshold * level), sigma)
    return Shot(begin, end, level)


def _crossing(shape: Envelope, after: int, level: float) -> float:
    """Where the envelope passes `level` between points after-1 and after."""
    low, high = shape.amplitude[after - 1], shape.amplitude[after]
    share = (level - low) / (high - low) if high != low else 0.5
    return float(shape.time[after - 1] + share * (shape.time[after] - shape.time[after - 1]))
