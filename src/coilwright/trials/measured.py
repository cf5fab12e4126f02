"""What a trial measured, ready to be compared: glitches masked, time counted from power on, uncertainties stated."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Uncertain
from coilwright.job import Job
from coilwright.job.faults import suggestion
from coilwright.readings.records import Temperatures
from coilwright.readings.temperature import read_temperature
from coilwright.readings.thermal import MAD_TO_SIGMA, mask_glitches
from coilwright.section.quad9 import Array, BoolArray
from coilwright.trials.sheet import EVENTS, TrialSheet

USUAL_ERROR = (
    3.0  # K, one sigma of a welded type K thermocouple and its logger at temperature (common practice, no source)
)
_MOST = 3000  # samples of a channel kept: more tell nothing, their noise hangs together
_MASKABLE = 11  # shorter traces are taken as they are
_FEWEST = 4
_LEAST_RISE = 8.0  # K the trace must move by to say anything


@dataclass(frozen=True, eq=False)
class Channel:
    """One column laid against one place of the model. `time` s after power on, `kelvin`, `noise` K of one sample."""

    name: str
    place: str
    time: Array
    kelvin: Array
    noise: float
    left_out: int = 0


@dataclass(frozen=True)
class Datum:
    """One further thing measured: an event (s) or an electrical reading (SI). `where` a body or place, `limit` in K."""

    what: str
    value: float
    sigma: float
    where: str = ""
    at: float = 0.0
    limit: float | None = None

    def __str__(self) -> str:
        return f"{self.what} {self.where}".strip()


@dataclass(frozen=True, eq=False)
class Measured:
    """`start`: the moment of power on in the trace, with what it may be off. `error` K: all readings together at the top."""

    sheet: TrialSheet
    channels: tuple[Channel, ...]
    data: tuple[Datum, ...]
    start: Uncertain
    error: float
    origin: str
    findings: tuple[Finding, ...] = ()

    @property
    def name(self) -> str:
        return self.sheet.trial.name

    @property
    def end(self) -> float:
        """Last moment (s after power on) that any channel saw."""
        return max(float(c.time[-1]) for c in self.channels)

    @property
    def top(self) -> float:
        """Highest temperature measured (K)."""
        return max(float(c.kelvin.max()) for c in self.channels)


@dataclass(frozen=True)
class TraceOptions:
    """How to read the trace; what is None comes from the sheet or is found. `columns`: name in the file -> place."""

    columns: Mapping[str, str] | None = None
    unit: str | None = None
    start: float | None = None
    error: float | None = None


def read_trace(path: Path, sheet: TrialSheet, options: TraceOptions) -> Temperatures:
    """The columns of the trace that are asked for (all, when none are). Raises BadInput."""
    columns = options.columns or sheet.trace.columns
    unit = options.unit or sheet.trace.unit
    return read_temperature(path, list(columns) or None, sheet.trace.time_column, unit=unit)


def measured(
    trace: Temperatures, job: Job, sheet: TrialSheet, known: Sequence[str], options: TraceOptions | None = None
) -> Measured:
    """Trace and sheet against the places of a job. Raises BadInput with one sentence.

    `job` is the job as the trial was run, `known` the places that its model can read. Channels are cleaned of pick-up,
    cut at power on and thinned.
    """
    options = options or TraceOptions()
    places = _places(trace, dict(options.columns or sheet.trace.columns), job, known)
    cleaned: dict[str, tuple[Array, Array, float]] = {}
    findings: list[Finding] = []
    for name in places:
        time, kelvin, noise, told = _clean(trace, name)
        cleaned[name] = (time, kelvin, noise)
        findings += told
    start, told = _start(cleaned, sheet, options.start, trace.origin)
    findings += told
    channels = tuple(
        _channel(name, places[name], *cleaned[name], start.value, len(trace.time), trace.origin) for name in places
    )
    _must_move(channels, trace.origin)
    findings += _short(channels, job, trace.origin)
    error = options.error or sheet.trace.error or USUAL_ERROR
    return Measured(sheet, channels, data_of(sheet, job, known), start, error, trace.origin, tuple(findings))


def _places(trace: Temperatures, columns: Mapping[str, str], job: Job, known: Sequence[str]) -> dict[str, str]:
    """Place in the model for every column that is used."""
    if columns:
        for name, place in columns.items():
            if place not in known:
                what = f'stands for "{place[:60]}", which is no body of {job.name} and no point within one'
                what += f"; {suggestion(place, known)}"
                raise BadInput(Fault(f'{trace.origin}: column "{name}"', what))
        return dict(columns)
    same = {name: name for name in trace.channels if name in known}
    if same:
        return same
    if len(trace.channels) == 1:
        work = [b.name for b in job.bodies if b.role == "work"]
        points = [p.name for p in job.points if p.name in known]
        only = points[0] if len(points) == 1 else work[0] if len(work) == 1 else None
        if only is not None:
            return {next(iter(trace.channels)): only}
    named = ", ".join(trace.channels)
    first = next(iter(trace.channels))
    what = f"has the columns {named}, none of them named after a place of {job.name} ({', '.join(known)}); "
    raise BadInput(Fault(trace.origin, f'{what}say which is which, e.g. --column "{first}={next(iter(known))}"'))


def _clean(trace: Temperatures, name: str) -> tuple[Array, Array, float, tuple[Finding, ...]]:
    values = trace.channel(name)
    if len(values) < _FEWEST:
        raise BadInput(
            Fault(trace.origin, f'column "{name}" has {len(values)} samples; a trial needs at least {_FEWEST}')
        )
    if len(values) < _MASKABLE:
        return trace.time, values, USUAL_ERROR, ()
    clean = mask_glitches(trace, name)
    good = _readmitted(values, clean.good, clean.noise)
    t, v = trace.time[good], values[good]
    # a quiet logger prints whole kelvins: the rounding is noise too
    steps = np.abs(np.diff(v))
    grain = float(steps[steps > 0.0].min()) if np.any(steps > 0.0) else 0.0
    return t, v, max(clean.noise, grain / math.sqrt(12.0), 0.05), _told(clean.findings, int((~good).sum()), len(values))


def _readmitted(values: Array, good: BoolArray, noise: float) -> BoolArray:
    """Masked samples between the good ones before and after come back: a charge that fires jumps, pick-up stands out."""
    places = np.flatnonzero(good)
    out = good.copy()
    for k in np.flatnonzero(~good):
        after = int(np.searchsorted(places, k))
        near = [values[places[j]] for j in (after - 1, after) if 0 <= j < len(places)]
        out[k] = len(near) == 2 and min(near) - 3.0 * noise <= values[k] <= max(near) + 3.0 * noise
    return out


def _told(findings: tuple[Finding, ...], masked: int, of: int) -> tuple[Finding, ...]:
    """The findings of the cleaning with the count that remains."""
    out = []
    for f in findings:
        if f.code != "pick-up-masked":
            out.append(f)
        elif masked:
            out.append(replace(f, text=f"{masked} of {of} samples stand off their neighbours and are left out."))
    return tuple(out)


def _start(
    cleaned: Mapping[str, tuple[Array, Array, float]], sheet: TrialSheet, asked: float | None, origin: str
) -> tuple[Uncertain, tuple[Finding, ...]]:
    """Power on in the trace's own time: as told, else where the first channel begins to climb."""
    told = asked if asked is not None else sheet.trace.start
    first = next(iter(cleaned.values()))[0]
    if told is not None:
        if told >= float(first[-1]):
            what = f"power on at {told:g} s must lie within the trace, which ends at {first[-1]:g} s"
            raise BadInput(Fault(origin, what))
        usual = sheet.trace.start_uncertainty
        return Uncertain(told, max(usual if usual is not None else 0.05, 1e-3)), ()
    found = [_climb(*c) for c in cleaned.values()]
    onsets = [f for f in found if f is not None]
    if not onsets:
        return Uncertain(float(first[0]), max(0.05, float(np.median(np.diff(first))))), ()
    best = min(onsets, key=lambda f: f.value)
    text = f"power on is taken at {best.value:.3g} s of the trace, where it begins to climb (± {best.sigma:.2g} s)."
    advice = "Say it with --start when you know it."
    return best, (Finding("trial-start-found", "note", origin, text, advice),)


def _climb(time: Array, kelvin: Array, noise: float) -> Uncertain | None:
    """Onset of the rise: straight line through the first tenth of the climb, run back to the flat beginning.

    None when the trace has no flat beginning: then its first sample is power on.
    """
    lead = max(3, len(time) // 50)
    base = float(np.median(kelvin[:lead]))
    spread = max(noise, MAD_TO_SIGMA * float(np.median(np.abs(kelvin[:lead] - base))))
    rise = float(kelvin.max()) - base
    if rise < 12.0 * spread:
        return None
    high = np.flatnonzero(kelvin > base + max(6.0 * spread, 0.02 * rise))
    k = int(high[0])
    if k <= lead:
        return None
    top = int(np.flatnonzero(kelvin > base + max(12.0 * spread, 0.10 * rise))[0])
    part = slice(max(k - 1, 0), max(top, k + 2) + 1)
    slope, height = np.polyfit(time[part] - time[k], kelvin[part], 1)
    step = float(np.median(np.diff(time)))
    if slope <= 0.0:
        return None
    at = float(time[k] + (base - height) / slope)
    return Uncertain(at, max(step, spread / slope, 0.05 * (float(time[top]) - at)))


def _channel(
    name: str, place: str, time: Array, kelvin: Array, noise: float, start: float, of: int, origin: str
) -> Channel:
    after = time >= start
    t, v = time[after] - start, kelvin[after]
    if len(t) < _FEWEST:
        what = f'column "{name}" has {len(t)} samples after power on at {start:g} s; a trial needs at least {_FEWEST}'
        raise BadInput(Fault(origin, what))
    every = -(-len(t) // _MOST)
    return Channel(name, place, t[::every], v[::every], noise, of - len(time))


def _must_move(channels: Sequence[Channel], origin: str) -> None:
    moved = max(float(np.ptp(c.kelvin)) for c in channels)
    least = max(_LEAST_RISE, *(6.0 * c.noise for c in channels))
    if moved < least:
        what = f"moves by {moved:.1f} K only, which is within its noise: it tells nothing about a shot"
        raise BadInput(Fault(origin, f"{what}; is it the right column, and does it cover the shot?"))


def _short(channels: Sequence[Channel], job: Job, origin: str) -> tuple[Finding, ...]:
    end, shot = max(float(c.time[-1]) for c in channels), job.drive.shot_time
    if shot is None:
        return ()
    if end < 0.1 * shot:
        what = f"ends {end:.3g} s after power on, the shot lasts {shot:g} s; a trial must see at least a tenth of it"
        raise BadInput(Fault(origin, f"{what}; if the shot was shorter, say so: [changes] drive.on_time, or --changed"))
    if end < 0.98 * shot:
        text = f"the trace ends {end:.3g} s after power on, before the shot does ({shot:g} s)."
        return (Finding("trial-trace-short", "warning", origin, text, "Log on until the part has cooled."),)
    return ()


def data_of(sheet: TrialSheet, job: Job, known: Sequence[str]) -> tuple[Datum, ...]:
    """Events and readings of the sheet that the model can foretell. Raises BadInput naming what it cannot."""
    out: list[Datum] = []
    charged = [b.name for b in job.bodies if b.charge is not None]
    work = [b.name for b in job.bodies if b.role == "work"]
    for n, e in enumerate(sheet.event, 1):
        if e.what not in EVENTS or e.what == "power off":
            continue  # for the record only
        where = f"trial sheet: event {n}"
        if e.what.startswith("charge"):
            body = e.where or (charged[0] if charged else "")
            if body not in charged:
                raise BadInput(
                    Fault(where, f'"{e.what}" needs a body with a charge; {job.name} has {charged or "none"}')
                )
            out.append(Datum(e.what, e.at, e.sigma, body))
        else:
            place = e.where or (work[0] if work else "")
            if place not in known:
                raise BadInput(Fault(where, f'"{place[:60]}" is no place of {job.name}; {suggestion(place, known)}'))
            out.append(Datum("reaches", e.at, e.sigma, place, limit=e.temperature))
    for r in sheet.reading:
        if r.sigma <= 0.0:
            raise BadInput(Fault(f'trial sheet: reading "{r.what}"', "needs an uncertainty above zero"))
        out.append(Datum(r.what, r.amount, r.sigma, at=r.at))
    return tuple(out)
