"""What a temperature trace tells: pick-up glitches, event times, slopes, cooling rates, and what a wrong emissivity
does to it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Source, Uncertain
from coilwright.readings.fit import fit_curve
from coilwright.readings.records import Floats, Temperatures

SECOND_RADIATION_CONSTANT = 1.438776877e-2  # m K, c2 = h c / k (exact in the SI of 2019)
WIEN_SOURCE = Source(
    "differential of Wien's law, dT/T = (lambda T / c2) d(eps)/eps, good to 1 % while lambda T < 3.1e-3 m K"
)
MAD_TO_SIGMA = 1.4826
_PAIR_SCATTER = 1.08  # of a sample against the median of five pair means, in sigmas of one sample: sqrt(1 + pi/20)


@dataclass(frozen=True)
class Cleaned:
    """A trace with its glitches found: `good` marks what to keep; `temperature` has nan in place of the rest;
    `noise` is the one-sigma scatter of the good samples (K).
    """

    time: Floats
    temperature: Floats
    good: NDArray[np.bool_]
    noise: float
    findings: tuple[Finding, ...]


def mask_glitches(trace: Temperatures, channel: str | None = None, width: int = 5, limit: float = 5.0) -> Cleaned:
    """Find samples that stand off their neighbours, as radio-frequency pick-up on a thermocouple does.

    A sample is masked when it lies more than `limit` robust sigmas (and 2 K) off what `width` samples on either
    side foretell together, and off what the samples before and those after foretell alone: a corner in the trace
    (power off) is no glitch. Pick-up that lasts longer than `width` samples looks like a temperature: the steps at
    its ends are reported, not mended.
    """
    time, values = trace.time, trace.channel(channel)
    if len(values) <= 2 * width:
        raise BadInput(
            Fault(trace.origin, f"needs at least {2 * width + 1} samples to tell glitches, has {len(values)}")
        )
    off, one_sided = _stand_off(values, width)
    noise = MAD_TO_SIGMA / _PAIR_SCATTER * float(np.median(np.abs(off - np.median(off))))
    least = max(limit * noise, 2.0)
    good = (np.abs(off) <= least) | (one_sided <= least)
    where = channel or next(iter(trace.channels))
    findings = []
    if not good.all():
        worst = float(np.max(np.abs(off[~good])))
        findings.append(
            Finding(
                "pick-up-masked",
                "note",
                where,
                f"{int((~good).sum())} of {len(values)} samples stand off by up to {worst:.0f} K and are left out.",
                "Twist and screen the thermocouple, or read it just after switch-off.",
            )
        )
    findings += _steps(time, values, good, noise, where)
    return Cleaned(time, np.where(good, values, np.nan), good, noise, tuple(findings))


def _stand_off(values: Floats, width: int) -> tuple[Floats, Floats]:
    """(sample minus the median of the means of pairs on either side, least distance from the two one-sided
    forecasts).
    """
    reach = 2 * width
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    count = len(values)

    def shifted(k: int) -> Floats:
        return padded[reach + k : reach + k + count]

    steps = range(1, width + 1)
    between = np.median([0.5 * (shifted(-k) + shifted(k)) for k in steps], axis=0)
    before = np.median([2.0 * shifted(-k) - shifted(-2 * k) for k in steps], axis=0)
    after = np.median([2.0 * shifted(k) - shifted(2 * k) for k in steps], axis=0)
    return values - between, np.minimum(np.abs(values - before), np.abs(values - after))


def _steps(time: Floats, values: Floats, good: NDArray[np.bool_], noise: float, where: str) -> list[Finding]:
    """Sudden lasting steps: heat cannot do that, pick-up switched with the power can."""
    t, v = time[good], values[good]
    change = np.diff(v) * (float(np.median(np.diff(t))) / np.diff(t))  # a masked sample must not look like a step
    usual = float(np.median(np.abs(change)))
    limit = max(8.0 * MAD_TO_SIGMA * usual, 6.0 * noise, 10.0)
    local = np.median(np.lib.stride_tricks.sliding_window_view(np.pad(change, 2, mode="reflect"), 5), axis=1)
    steps = np.flatnonzero(np.abs(change - local) > limit)
    if len(steps) == 0:
        return []
    listed = ", ".join(f"{change[k]:+.0f} K at {t[k + 1]:.3g} s" for k in steps[:4])
    advice = "If they fall together with power on or off, believe only the readings without power."
    return [Finding("pick-up-step", "warning", where, f"{len(steps)} sudden steps: {listed}.", advice)]


@dataclass(frozen=True)
class Crossing:
    """When the trace passes `level` (K): `time` s, `rising` or falling."""

    level: float
    time: Uncertain
    rising: bool


def crossings(clean: Cleaned, levels: Sequence[float], span: int = 7) -> tuple[Crossing, ...]:
    """Every passage of the given levels (K), each timed by a straight line through `span` samples around it.

    The uncertainty is that of the line's fit; passages closer together than `span` samples (noise round the level)
    count once.
    """
    t, v = clean.time[clean.good], clean.temperature[clean.good]
    found = []
    for level in levels:
        above = v >= level
        last = -span
        for k in np.flatnonzero(above[1:] != above[:-1]):
            if k - last < span:
                continue
            last = int(k)
            low = max(0, int(k) - span // 2)
            part = slice(low, min(len(v), low + span))
            line = _line(t[part], v[part], clean.noise)
            slope = line[1].value
            if slope == 0.0:
                continue
            centre = float(t[part].mean())
            at = centre + (level - line[0].value) / slope
            sigma = math.hypot(line[0].sigma / slope, (at - centre) * line[1].sigma / slope)
            # the line may not put the passage outside the samples it was seen between
            at = min(max(at, float(t[part][0])), float(t[part][-1]))
            found.append(Crossing(float(level), Uncertain(at, abs(sigma)), slope > 0.0))
    return tuple(sorted(found, key=lambda c: c.time.value))


def _line(t: Floats, v: Floats, noise: float) -> tuple[Uncertain, Uncertain]:
    """(value at the mean time, slope) of a straight line; the scatter is at least that of the whole trace."""
    if len(t) < 3:
        raise BadInput(Fault("trace", f"needs at least 3 good samples for a slope, has {len(t)}"))
    x = t - t.mean()
    spread = float(x @ x)
    slope = float(x @ v) / spread
    mean = float(v.mean())
    left = v - mean - slope * x
    sigma = max(noise, math.sqrt(float(left @ left) / (len(t) - 2)))
    return Uncertain(mean, sigma / math.sqrt(len(t))), Uncertain(slope, sigma / math.sqrt(spread))


def slope(clean: Cleaned, start: float, stop: float) -> Uncertain:
    """Mean rate (K/s) between two times (s), straight line through the good samples."""
    inside = clean.good & (clean.time >= start) & (clean.time <= stop)
    if int(inside.sum()) < 3:
        raise BadInput(
            Fault("slope", f"needs at least 3 good samples between {start:g} and {stop:g} s, has {int(inside.sum())}")
        )
    return _line(clean.time[inside], clean.temperature[inside], clean.noise)[1]


def rate_at(clean: Cleaned, temperature: float, falling: bool = True, band: float = 30.0) -> Uncertain:
    """Rate (K/s) while the trace passes `temperature` (K) for the first time in the given direction; a parabola
    over +- `band` K.
    """
    passes = [c for c in crossings(clean, [temperature]) if c.rising != falling]
    if not passes:
        way = "falls" if falling else "rises"
        raise BadInput(Fault("trace", f"never {way} through {temperature - 273.15:.0f} degC"))
    at = passes[0].time.value
    t, v = clean.time[clean.good], clean.temperature[clean.good]
    centre = int(np.argmin(np.abs(t - at)))
    low = high = centre
    while low > 0 and abs(v[low - 1] - temperature) <= band:
        low -= 1
    while high < len(t) - 1 and abs(v[high + 1] - temperature) <= band:
        high += 1
    low, high = max(0, min(low, centre - 2)), min(len(t) - 1, max(high, centre + 2))
    x, y = t[low : high + 1] - at, v[low : high + 1]
    if len(x) < 4:
        raise BadInput(Fault("trace", f"has too few good samples around {temperature - 273.15:.0f} degC; log faster"))
    start = [temperature, float(np.polyfit(x, y, 1)[0]), 0.0]
    fit = fit_curve(lambda s, p: p[0] + p[1] * s + p[2] * s * s, x, y, start, sigma=max(clean.noise, 1e-6))
    return fit.of(1)


def emissivity_error(temperature: float, wavelength: float, relative: float) -> float:
    """Error (K) of a one-colour pyrometer at `temperature` (K) and `wavelength` (m) when the emissivity set is
    `relative` too high.

    The reading falls below the truth: negative result for positive `relative`. Wien's law; small errors.

    >>> round(emissivity_error(1273.15, 1.0e-6, 0.1), 1)
    -11.3
    """
    if temperature <= 0.0 or wavelength <= 0.0:
        raise BadInput(
            Fault(
                "emissivity",
                f"needs a temperature and a wavelength above zero, received {temperature:g} and {wavelength:g}",
            )
        )
    return -wavelength * temperature**2 / SECOND_RADIATION_CONSTANT * relative


def with_emissivity(reading: float, wavelength: float, was: float, should_be: float) -> float:
    """True temperature (K) behind a one-colour `reading` (K) taken with emissivity `was` where `should_be` holds
    (Wien's law).

    1/T = 1/T_reading + (lambda/c2) ln(should_be/was).
    """
    for label, value in (("was", was), ("should_be", should_be)):
        if not 0.0 < value <= 1.0:
            raise BadInput(Fault(label, f"must be an emissivity between 0 and 1, received {value:g}"))
    return 1.0 / (1.0 / reading + wavelength / SECOND_RADIATION_CONSTANT * math.log(should_be / was))
