"""Ring-down of a tank: frequency and Q of one or several decaying sinusoids, with uncertainty.

The start comes from a matrix pencil on the demodulated, thinned-out record (Hua and Sarkar, IEEE Trans. Acoust. 38
(1990) 814), the result from least squares on the samples themselves: y = c + sum_k exp(-d_k t) (a_k cos 2 pi f_k t
+ b_k sin 2 pi f_k t), Q_k = pi f_k / d_k. Uncertainties are one sigma, from the residuals, for noise that is
independent from sample to sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len, rfft
from scipy.linalg import hankel, lstsq, svd

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.evidence import Finding, Uncertain
from coilwright.readings.fit import Fit, fit_curve
from coilwright.readings.records import Capture, Channel, Complexes, Floats

_PENCIL_SAMPLES = 400
_MOST_FITTED = 100_000
_PIECE = 4_000_000
_PER_CYCLE = 10.0  # samples per period kept when a long record is averaged down


@dataclass(frozen=True)
class Mode:
    """One decaying sinusoid. `frequency` Hz is the damped one, `q` = pi f / decay, `amplitude` (peak, channel unit)
    and `phase` (rad, of the cosine) at the start of the window.
    """

    frequency: Uncertain
    decay: Uncertain
    q: Uncertain
    amplitude: Uncertain
    phase: float


@dataclass(frozen=True)
class RingDown:
    """Modes, strongest first, and how well they explain the record: `spread` is the residual standard deviation
    (channel unit), `window` the (start, end) s that was fitted.
    """

    modes: tuple[Mode, ...]
    offset: Uncertain
    spread: float
    samples: int
    window: tuple[float, float]
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        listed = "; ".join(f"{m.frequency} Hz, Q {m.q}" for m in self.modes)
        return f"RingDown({listed}; residual {self.spread:.3g}, {len(self.findings)} findings)"


def ring_down(
    capture: Capture, channel: str = "1", modes: int = 1, start: float | None = None, stop: float | None = None
) -> RingDown:
    """Fit `modes` decaying sinusoids to a channel between `start` and `stop` (s, at most eight million samples;
    default: from the largest swing to the end of the record or until the ringing is lost in the noise).

    Needs at least three periods and four samples per period. Raises BadInput for a window too short or a channel at
    rest, NotConverged when no decaying oscillation is found.
    """
    if modes < 1:
        raise BadInput(Fault("modes", f"must be at least 1, received {modes}"))
    name = capture.channel(channel).name
    first, last = _window(capture, channel, start, stop)
    y = capture.channel(channel).values(first, min(last, first + 2 * _PIECE))
    if len(y) < 8 * modes + 8 or float(np.ptp(y)) == 0.0:
        raise BadInput(
            Fault(
                capture.origin, f'channel "{name}" shows no ringing in the window of {len(y)} samples; choose another'
            )
        )
    step = capture.step
    t0 = capture.start + first * step
    guess = _poles(y - y.mean(), step, modes)
    if start is None and stop is None:
        keep = _until_noise(y, step, guess)
        y = y[:keep]
        guess = _poles(y - y.mean(), step, modes)
    stop_time = t0 + (len(y) - 1) * step
    y, step, shift = _thinned(y, step, max(abs(g.imag) for g in guess) / (2.0 * math.pi))
    fit = _fit(y, step, shift, guess)
    found = tuple(sorted((_mode(fit, k) for k in range(modes)), key=lambda m: -m.amplitude.value))
    _judge(found, stop_time - t0, name, capture.origin)
    return RingDown(found, fit.of(0), fit.spread, len(y), (t0, stop_time), _findings(y, step, shift, fit, found, name))


def _window(capture: Capture, channel: str, start: float | None, stop: float | None) -> tuple[int, int]:
    count = len(capture)
    for label, value in (("start", start), ("stop", stop)):
        if value is not None and not capture.start <= value <= capture.start + capture.duration:
            end = capture.start + capture.duration
            raise BadInput(
                Fault(label, f"must lie inside the record, {capture.start:.6g} to {end:.6g} s, received {value:g} s")
            )
    if start is not None:
        first = round((start - capture.start) / capture.step)
    else:
        first = _largest_swing(capture.channel(channel))
    last = count if stop is None else round((stop - capture.start) / capture.step) + 1
    return first, last


def _largest_swing(channel: Channel) -> int:
    """Sample farthest from the resting level, found piece by piece so that a long record never stands in memory as
    float.
    """
    rest = float(np.median(channel.values(0, _PIECE)))
    best, where = -1.0, 0
    for at in range(0, len(channel), _PIECE):
        away = np.abs(channel.values(at, at + _PIECE) - rest)
        k = int(np.argmax(away))
        if away[k] > best:
            best, where = float(away[k]), at + k
    return where


def _spectrum_peak(y: Floats, step: float) -> float:
    size = min(len(y), 1 << 20)
    window = np.hanning(2 * size)[size:]  # falling half: a ring-down carries most at its start
    padded = next_fast_len(4 * size, real=True)
    spectrum = np.abs(rfft(y[:size] * window, padded))
    spectrum[:6] = 0.0  # what is left of the mean
    return float(np.argmax(spectrum)) / (padded * step)


def _poles(y: Floats, step: float, modes: int) -> list[complex]:
    """Poles -d + j 2 pi f of the strongest modes."""
    centre = _spectrum_peak(y, step)
    if centre <= 0.0:
        raise NotConverged("no oscillation found in the record", advice="Choose the window by hand.")
    block = max(1, len(y) // _PENCIL_SAMPLES)
    # stay fast enough to tell the mode from its mirror image at minus twice the centre
    block = min(block, max(1, int(0.25 / (centre * step))) if modes > 1 else max(block, 1))
    count = min(len(y) // block, 2 * _PENCIL_SAMPLES)
    turn = np.exp(-2j * np.pi * centre * step * np.arange(count * block))
    blocks = (y[: count * block] * turn).reshape(count, block)
    base: Complexes = np.asarray(blocks.mean(axis=1), dtype=complex)
    poles = _pencil(base, modes if block * step * centre > 0.75 else 2 * modes)
    rates = np.log(poles) / (block * step) + 2j * np.pi * centre
    strength = _strength(base, poles, count)
    ranked = [r for _, r in sorted(zip(strength, rates, strict=True), key=lambda pair: -pair[0]) if r.imag > 0.0]
    decaying = [complex(min(r.real, -1e-3 * abs(r.imag) / (2 * math.pi) * 1e-3), r.imag) for r in ranked]
    if len(decaying) < modes:
        raise NotConverged(f"found {len(decaying)} modes, not {modes}", advice="Ask for fewer modes.")
    return decaying[:modes]


def _pencil(base: Complexes, order: int) -> Complexes:
    length = len(base)
    pencil = length // 3
    matrix = hankel(base[: length - pencil], base[length - pencil - 1 :])
    _, _, rows = svd(matrix, full_matrices=False)
    signal = rows[:order].T
    shifted, *_ = lstsq(signal[:-1], signal[1:])
    return np.asarray(np.linalg.eigvals(shifted), dtype=np.complex128)


def _strength(base: Complexes, poles: Complexes, count: int) -> Floats:
    powers = poles[None, :] ** np.arange(count)[:, None]
    weights, *_ = lstsq(powers, base)
    return np.asarray(np.abs(weights) ** 2 * np.sum(np.abs(powers) ** 2, axis=0), dtype=np.float64)


def _until_noise(y: Floats, step: float, guess: list[complex]) -> int:
    """Samples until the slowest mode has fallen to e^-4 of its start (2 %): beyond that only noise and digitising
    steps remain.
    """
    slowest = min(-g.real for g in guess)
    cycles = 6.0 * 2.0 * math.pi / min(abs(g.imag) for g in guess)
    return int(min(len(y), max(4.0 / slowest, cycles) / step + 1))


def _thinned(y: Floats, step: float, frequency: float) -> tuple[Floats, float, float]:
    """Average neighbouring samples of a very long record; frequency and decay are untouched. Returns samples, step,
    first time.
    """
    block = int(min(len(y) / _MOST_FITTED, 1.0 / (frequency * step * _PER_CYCLE)))
    if block < 2:
        return y, step, 0.0
    count = len(y) // block
    return y[: count * block].reshape(count, block).mean(axis=1), step * block, 0.5 * (block - 1) * step


def _fit(y: Floats, step: float, shift: float, guess: list[complex]) -> Fit:
    time = _times(y, step, shift)
    start = [0.0]
    basis = [np.ones_like(time)]
    for g in guess:
        basis += [np.exp(g.real * time) * np.cos(g.imag * time), np.exp(g.real * time) * np.sin(g.imag * time)]
    weights, *_ = np.linalg.lstsq(np.stack(basis, axis=1), y, rcond=None)
    start[0] = float(weights[0])
    for k, g in enumerate(guess):
        start += [g.imag / (2.0 * math.pi), -g.real, float(weights[1 + 2 * k]), float(weights[2 + 2 * k])]
    return fit_curve(_model, time, y, start, jacobian=_jacobian)


def _times(y: Floats, step: float, shift: float) -> Floats:
    return np.asarray(shift + step * np.arange(len(y)), dtype=np.float64)


def _model(time: Floats, p: Floats) -> Floats:
    total = np.full_like(time, p[0])
    for f, d, a, b in p[1:].reshape(-1, 4):
        turn = 2.0 * np.pi * f * time
        total += np.exp(-d * time) * (a * np.cos(turn) + b * np.sin(turn))
    return np.asarray(total)


def _jacobian(time: Floats, p: Floats) -> Floats:
    columns = [np.ones_like(time)]
    for f, d, a, b in p[1:].reshape(-1, 4):
        turn = 2.0 * np.pi * f * time
        fall = np.exp(-d * time)
        cosine, sine = fall * np.cos(turn), fall * np.sin(turn)
        columns += [2.0 * np.pi * time * (b * cosine - a * sine), -time * (a * cosine + b * sine), cosine, sine]
    return np.stack(columns, axis=1)


def _mode(fit: Fit, k: int) -> Mode:
    at = 1 + 4 * k
    f, d, a, b = (float(v) for v in fit.values[at : at + 4])
    part = fit.covariance[at : at + 4, at : at + 4]
    q = math.pi * f / d
    q_slope = np.array([q / f, -q / d, 0.0, 0.0])
    size = math.hypot(a, b)
    size_slope = np.array([0.0, 0.0, a / size, b / size])
    return Mode(
        fit.of(at),
        fit.of(at + 1),
        Uncertain(q, math.sqrt(float(q_slope @ part @ q_slope))),
        Uncertain(size, math.sqrt(float(size_slope @ part @ size_slope))),
        math.atan2(-b, a),
    )


def _judge(modes: tuple[Mode, ...], duration: float, name: str, where: str) -> None:
    for mode in modes:
        if mode.decay.value <= 0.0 or mode.frequency.value <= 0.0:
            raise NotConverged(
                f'channel "{name}" does not decay at {mode.frequency.value:.6g} Hz',
                advice="Let the window start after switch-off.",
            )
        if duration * mode.frequency.value < 3.0:
            raise BadInput(
                Fault(
                    where,
                    f"the window holds {duration * mode.frequency.value:.1f} periods, at least 3 are needed; choose a longer one",
                )
            )


def _findings(
    y: Floats, step: float, shift: float, fit: Fit, modes: tuple[Mode, ...], name: str
) -> tuple[Finding, ...]:
    found = []
    residual = y - _model(_times(y, step, shift), fit.values)
    half_period = max(1, round(0.5 / (modes[0].frequency.value * step)))
    lagged = (
        float(residual[:-half_period] @ residual[half_period:]) / max(fit.rss, 1e-300) if half_period < len(y) else 0.0
    )
    if abs(lagged) > max(0.1, 4.0 / math.sqrt(len(y))):
        found.append(
            Finding(
                "residual-structured",
                "warning",
                name,
                f"what the fit leaves over still rings (correlation {lagged:+.2f} over half a period); trust Q less.",
                "Ask for one more mode, or start the window later.",
            )
        )
    for mode in modes:
        if mode.q.sigma > 0.1 * mode.q.value:
            text = f"Q at {mode.frequency.value:.6g} Hz is known to {100.0 * mode.q.sigma / mode.q.value:.0f} % only."
            found.append(Finding("q-uncertain", "warning", name, text, "Take a longer or larger record."))
    return tuple(found)
