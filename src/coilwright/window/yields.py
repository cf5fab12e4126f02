"""From the stand-ins of a study to what a card can say: yield, causes of scrap, limits, maps, the middle of the window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from scipy.special import betaincinv

from coilwright.errors import BadInput, Fault
from coilwright.section.quad9 import Array, BoolArray, IntArray
from coilwright.window.quantities import VariedQuantity, named
from coilwright.window.settle import Settled, settle
from coilwright.window.study import ON_TIME, Draws, Judged, Report, Study

_BLAMED = 4_000  # shots with scrap looked at for causes
SETTING = "setting"
TOO_LITTLE, GOOD, TOO_MUCH = 0, 1, 2


def binomial_interval(good: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact two-sided interval of a share: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404.

    20 of 100 at 95 %: 12.7 to 29.2 %.
    """
    if not 0 <= good <= n or n < 1:
        raise BadInput(Fault("binomial_interval", f"needs 0 <= good <= n with n >= 1; received {good} of {n}"))
    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if good == 0 else float(betaincinv(good, n - good + 1, tail))
    high = 1.0 if good == n else float(betaincinv(good + 1, n - good, 1.0 - tail))
    return low, high


def proven_share(n: int, bad: int = 0, confidence: float = 0.95) -> float:
    """Share of bad parts that `bad` of `n` proves not to be exceeded, one-sided: 1 - (1 - confidence)^(1/n) for none bad
    (near 3/n, the rule of three: J. A. Hanley, A. Lippman-Hand, JAMA 249 (1983) 1743)."""
    if bad >= n:
        return 1.0
    return float(betaincinv(bad + 1, n - bad, confidence))


def sample_for(share: float, confidence: float = 0.95) -> int:
    """Parts without a bad one that prove less than `share` bad. 5 %: 59 parts."""
    if not 0.0 < share < 1.0:
        raise BadInput(Fault("sample_for", f"needs a share between 0 and 1; received {share:g}"))
    return int(np.ceil(np.log(1.0 - confidence) / np.log(1.0 - share) - 1e-12))


@dataclass(frozen=True)
class Share:
    """A share of good parts with its binomial interval (95 %), widened by what the stand-ins may be wrong."""

    good: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.good / self.of

    def to_dict(self) -> dict[str, Any]:
        return {"good": self.good, "of": self.of, "yield": self.share, "low": self.low, "high": self.high}


@dataclass(frozen=True, eq=False)
class Yield:
    """`stations`: each station's; `parts`: all stations together; `shots`: whole shots without a bad part. `settled`: how full
    shots of drawn parts settled what was in doubt, None where none were asked for."""

    stations: tuple[Share, ...]
    parts: Share
    shots: Share
    by_limit: Mapping[str, float]
    judged: Judged
    draws: Draws
    settled: Settled | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "parts": self.parts.to_dict(),
            "shots": self.shots.to_dict(),
            "stations": [{"station": k, **s.to_dict()} for k, s in enumerate(self.stations, 1)],
            "scrap_by_limit": dict(self.by_limit),
            "settled": None if self.settled is None else self.settled.to_dict(),
        }


def doubt(study: Study) -> Array:
    """(limits,) how far the stand-ins may be off: twice the rms of their errors on fresh runs."""
    known = np.isfinite(study.errors)
    if not known.any():
        return np.zeros(len(study.limits))
    square = np.sum(np.where(known, study.errors, 0.0) ** 2, axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.asarray(2.0 * np.sqrt(square), dtype=np.float64)


def forecast(study: Study, shots: int = 100_000, setting: float = 1.0, on_time: float | None = None) -> Yield:
    """Seeded draws of `shots` shots of all stations, judged; every interval spans the binomial one at margins moved by
    the doubt of the stand-ins either way."""
    draws = study.draw(shots, study.effort.seed + 10)
    study.check_clearances(draws)
    judged = study.judge(draws, setting, on_time, guards=False)
    return _counted(study, draws, judged, doubt(study)[study.counts])


def settled(study: Study, found: Yield, most: int, report: Report | None = None) -> Yield:
    """A forecast at the usual setting and on-time with every verdict in doubt settled by at most `most` full shots of drawn
    parts (-1: every failure shot besides). Raises NotConverged."""
    judged, off, said = settle(study, found.draws, found.judged, doubt(study), most, report)
    return replace(_counted(study, found.draws, judged, off), settled=said)


def _counted(study: Study, draws: Draws, judged: Judged, off: Array) -> Yield:
    margins = judged.margins[..., study.counts]
    good, worse, better = (np.all(margins >= shift, axis=-1) for shift in (0.0 * off, off, -off))
    stations = tuple(_share(good[:, k], worse[:, k], better[:, k]) for k in range(good.shape[1]))
    by_limit = {study.limits[int(c)].name: float(np.mean(margins[..., i] < 0.0)) for i, c in enumerate(study.counts)}
    parts = _share(good, worse, better)
    whole = _share(good.all(axis=1), worse.all(axis=1), better.all(axis=1))
    return Yield(stations, parts, whole, by_limit, judged, draws)


def _share(good: BoolArray, worse: BoolArray, better: BoolArray) -> Share:
    """Share of one or, (shots, stations), of several draws per shot. Parts of one shot share mains and surroundings, so
    that they say less than as many independent ones: the interval is that of the number of independent draws with the
    same scatter (design effect: L. Kish, Survey Sampling (1965), sec. 8.2)."""
    low = _interval(worse)[0]
    high = _interval(better)[1]
    return Share(int(good.sum()), good.size, low, high)


def _interval(good: BoolArray) -> tuple[float, float]:
    n, p = good.size, float(good.mean())
    if good.ndim == 1 or p in (0.0, 1.0):
        effective = n if good.ndim == 1 else len(good)
    else:
        scatter = float(np.var(good.mean(axis=1), ddof=1)) / len(good)
        effective = int(np.clip(p * (1.0 - p) / max(scatter, 1e-300), 1.0, n))
    return binomial_interval(round(p * effective), effective)


def blame(study: Study, found: Yield) -> dict[str, float]:
    """Per quantity, the share of scrap that would have been good with that quantity at its nominal value.

    Shares need not add to one: a part may be saved by either of two, or by neither alone.
    """
    bad = np.logical_not(found.judged.good(study.counts))
    rows = np.flatnonzero(bad.any(axis=1))[:_BLAMED]
    if not len(rows):
        return {q.what: 0.0 for q in study.varied}
    draws, was = found.draws.only(rows), bad[rows]
    out = {}
    for q in study.varied:
        saved = study.judge(draws.with_nominal(q), guards=False).good(study.counts)
        out[q.what] = float(np.mean(saved[was]))
    return out


@dataclass(frozen=True, eq=False)
class VarianceShares:
    """Sobol indices of the margin of one limit at one station: `alone` (first order) and `total`, by quantity.

    `deviation` of the margin itself.
    """

    limit: str
    station: int
    alone: Mapping[str, float]
    total: Mapping[str, float]
    deviation: float

    def to_dict(self) -> dict[str, Any]:
        rows = {k: {"alone": self.alone[k], "total": self.total[k]} for k in self.alone}
        return {"limit": self.limit, "station": self.station, "shares": rows}


def middle_station(study: Study) -> int:
    """Station (from 0) that stands for the others in limits and maps: one in the middle."""
    return (study.model.fixture.stations - 1) // 2


def variance_shares(study: Study, limit: int | None = None, samples: int = 2048) -> VarianceShares:
    """Which quantity moves the margin: I. M. Sobol's indices as estimated by A. Saltelli et al., Comput. Phys. Commun. 181
    (2010) 259, through scipy. Only this station varies; the others stay nominal. Default: the limit nearest to failing.
    """
    which = nearest_limit(study) if limit is None else limit
    station = middle_station(study)

    def margin(x: Array) -> Array:
        draws = at_station(study, {q.what: x[k] for k, q in enumerate(study.varied)}, x.shape[1], station)
        return np.asarray(study.judge(draws, station=station).margins[:, 0, which])

    names = [q.what for q in study.varied]
    some = study.draw(4000, study.effort.seed + 3)
    spread = float(np.std(study.judge(some, station=station).margins[:, 0, which]))
    if len(names) == 1:  # the estimate wants two quantities; one alone moves everything there is to move
        alone = total = {names[0]: float(spread > 0.0)}
    else:
        from scipy import stats  # a third of a second: on first use only

        # scipy asks of a distribution only that it has ppf, which a quantity has
        found = stats.sobol_indices(
            func=margin, n=samples, dists=cast(Any, list(study.varied)), rng=np.random.default_rng(study.effort.seed)
        )
        alone = dict(zip(names, (float(v) for v in np.ravel(found.first_order)), strict=True))
        total = dict(zip(names, (float(v) for v in np.ravel(found.total_order)), strict=True))
    return VarianceShares(study.limits[which].name, station + 1, alone, total, spread)


def nearest_limit(study: Study) -> int:
    """Place of the limit that fails first: least mean margin per deviation at any station."""
    m = study.judge(study.draw(2000, study.effort.seed + 3)).margins
    ratio = (m.mean(axis=0) / np.maximum(m.std(axis=0), 1e-12)).min(axis=0)
    return int(study.counts[int(np.argmin(ratio[study.counts]))])


def at_station(study: Study, values: Mapping[str, Array], n: int, station: int) -> Draws:
    """Draws in which one station (and what all share) has these values (n,), all else nominal."""
    out = {}
    stations = study.model.fixture.stations
    for q in study.varied:
        given = values.get(q.what)
        if given is None:
            out[q.what] = np.full((n, 1), q.nominal)
        elif q.per_station:
            out[q.what] = np.full((n, stations), q.nominal)
            out[q.what][:, station] = given
        else:
            out[q.what] = np.asarray(given, dtype=float).reshape(n, 1)
    return Draws(out, n)


@dataclass(frozen=True, eq=False)
class Map:
    """Least margins (ny, nx) of the limits failed by too little and by too much heat, and what they mean (0 too little, 1
    good, 2 too much), over two quantities at one station."""

    across: str
    up: str
    x: Array
    y: Array
    too_little: Array
    too_much: Array
    outcome: IntArray
    station: int

    def to_dict(self) -> dict[str, Any]:
        return {
            "across": self.across, "up": self.up, "x": self.x.tolist(), "y": self.y.tolist(),
            "outcome": self.outcome.tolist(), "station": self.station,
        }  # fmt: skip


def two_quantities(study: Study, across: str, up: str, n: int = 60) -> Map:
    """Pass region over two of the varied quantities, or over "setting" (of the source) and "drive.on_time"."""
    if across == up:
        raise BadInput(Fault("map", f'needs two different quantities; received "{across}" twice'))
    axes = [_axis(study, name, n) for name in (across, up)]
    xx, yy = (a.ravel() for a in np.meshgrid(*axes))
    station = middle_station(study)
    values, setting, time = {}, np.ones(n * n), None
    for name, v in ((across, xx), (up, yy)):
        if name == SETTING:
            setting = v
        elif name == ON_TIME:
            time = v
        else:
            values[name] = v
    judged = study.judge(at_station(study, values, n * n, station), setting, time, station=station)
    margins = judged.margins[:, 0]
    much = np.array([x.too_much for x in study.limits])
    little = margins[:, ~much].min(axis=1, initial=np.inf)
    hot = margins[:, much].min(axis=1, initial=np.inf)
    outcome = np.where(little < 0.0, TOO_LITTLE, np.where(hot < 0.0, TOO_MUCH, GOOD))
    shape = (n, n)
    return Map(
        across,
        up,
        axes[0],
        axes[1],
        little.reshape(shape),
        hot.reshape(shape),
        outcome.reshape(shape),
        station + 1,
    )


def _axis(study: Study, name: str, n: int) -> Array:
    if name == SETTING:
        low, high = study.box[0]
        level = study.judge(study.nominal()).level[0, middle_station(study)]
        return np.linspace(np.exp(low) / level, np.exp(high) / level, n + 2)[1:-1]
    if name == ON_TIME:
        if not study.timed_on:
            raise BadInput(Fault("map", "needs a single on_time; this job has a programme of steps"))
        return np.linspace(study.box[1, 0], study.box[1, 1], n)
    return np.linspace(*named(study.varied, name).range, n)


@dataclass(frozen=True, eq=False)
class Centre:
    """The window of the source's setting (1 = as it is). `setting`: the middle of the settings at which the yield is
    within a thousandth of its best; `low`, `high`: settings between which the nominal shot passes at every station
    (None where the study did not reach the end); `yield_now`, `yield_there`; `curve` (settings, yields). `open_top`:
    nothing that was asked is failed by too much heat within what was looked at, so that there is no middle: `setting` is
    then the least one within a thousandth of the best yield. `source_end`: the setting from which on the job's own
    source gives no more, None beyond what was looked at; nothing is looked at beyond it."""

    setting: float
    low: float | None
    high: float | None
    yield_now: float
    yield_there: float
    curve: tuple[Array, Array]
    open_top: bool
    source_end: float | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "setting": self.setting, "low": self.low, "high": self.high,
            "open_top": self.open_top, "source_end": self.source_end,
            "yield_now": self.yield_now, "yield_there": self.yield_there,
        }  # fmt: skip


def centre(study: Study, shots: int = 2000) -> Centre:
    """Where to put the source's setting: the middle of the window and not its edge. Guards (melting, strain of the glass)
    count here as scrap, since they close the window on the side of too much."""
    low, high = np.exp(study.box[0]) * np.array([1.02, 0.98])
    most = np.inf if study.table is None else study.table.most
    source_end = float(most) if most < high else None
    high = min(high, max(most, 1.05 * low))
    settings = np.linspace(low, high, 41)
    draws = study.draw(shots, study.effort.seed + 20)
    yields = np.array([np.mean(np.all(study.judge(draws, s).margins >= 0.0, axis=-1)) for s in settings])
    best = yields >= yields.max() - 1e-3
    first = int(np.flatnonzero(best)[0])
    last = first + int(np.argmin(np.append(best[first:], False))) - 1
    open_top = last == len(settings) - 1
    there = settings[first] if open_top else 0.5 * (settings[first] + settings[last])
    nominal = study.judge(study.nominal(len(settings)), settings).margins.min(axis=(1, 2)) >= 0.0
    inside = np.flatnonzero(nominal)
    ends = (None, None) if not len(inside) else (
        None if inside[0] == 0 else float(settings[inside[0]]),
        None if inside[-1] == len(settings) - 1 else float(settings[inside[-1]]),
    )  # fmt: skip
    share = [float(np.mean(np.all(study.judge(draws, s).margins >= 0.0, axis=-1))) for s in (1.0, there)]
    return Centre(float(there), ends[0], ends[1], share[0], share[1], (settings, yields), open_top, source_end)


def insensitive(study: Study, shares: VarianceShares) -> list[VariedQuantity]:
    """Quantities that hardly matter: less than a hundredth of the variance, interactions included."""
    return [q for q in study.varied if shares.total[q.what] < 0.01]


def scrap_under(
    study: Study, station: int, here: float, others: float, shots: int = 2000, heat: Array | None = None
) -> tuple[float, float]:
    """(share of bad parts at a station from 1, share of all parts) when its power changes by `here` and that of the others
    by `others` (relative), everything else varying as usual. `heat` (limits,): what the sides of its part see over the
    mean, where the fault is a coil out of line."""
    stations = study.model.fixture.stations
    factor = np.full(stations, np.sqrt(max(1.0 + others, 0.0)))
    factor[station - 1] = np.sqrt(max(1.0 + here, 0.0))
    side = np.ones((stations, len(study.limits)))
    if heat is not None:
        side[station - 1] = heat
    judged = study.judge(study.draw(shots, study.effort.seed + 30), guards=False, factor=factor, side=side)
    bad = np.logical_not(judged.good(study.counts))
    return float(bad[:, station - 1].mean()), float(bad.mean())
