"""Everything the window of a job says, in one object."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from coilwright.evidence import Finding
from coilwright.safety.cautions import Caution
from coilwright.window.effort import Effort
from coilwright.window.limits import Tolerance
from coilwright.window.observe import Sight
from coilwright.window.stations import StationsResult
from coilwright.window.study import Study
from coilwright.window.yields import (
    Centre,
    Map,
    VarianceShares,
    Yield,
    doubt,
    insensitive,
    proven_share,
    sample_for,
)

# Shares of scrap for which a sampling statement is written.
PROMISES = (0.05, 0.02, 0.01, 0.002)
_ROUGH_POSES = 2e-3  # of the power: what a coil out of line may be off by without a word


@dataclass(frozen=True)
class Sampling:
    """`parts` without a bad one prove less than `share` bad at 95 %; `chance` that the forecast yield passes that test."""

    share: float
    parts: int
    chance: float

    def to_dict(self) -> dict[str, float]:
        return {"less_than": self.share, "parts": self.parts, "chance_to_pass": self.chance}


@dataclass(frozen=True, eq=False)
class WindowResult:
    """The answer of `window`. `blame` and `variance` by quantity; `maps` of two quantities each; `sights` what each
    reading shows of each fault; `error_s` the rms error (s) of the stand-ins' times on fresh full runs."""

    title: str
    study: Study
    stations: StationsResult
    forecast: Yield
    blame: Mapping[str, float]
    variance: VarianceShares
    tolerances: tuple[Tolerance, ...]
    together: float
    maps: tuple[Map, ...]
    centre: Centre
    sights: tuple[Sight, ...]
    sampling: tuple[Sampling, ...]
    cautions: tuple[Caution, ...]
    findings: tuple[Finding, ...]

    @property
    def effort(self) -> Effort:
        return self.study.effort

    @property
    def runs(self) -> int:
        """Full shots behind the stand-ins."""
        return len(self.study.outcomes)

    @property
    def errors(self) -> dict[str, float]:
        """rms error of every stand-in on runs it had not seen: of ln(time) for times, of the margin for temperatures. Where
        drawn parts near a limit were shot, on the last of those."""
        off = 0.5 * doubt(self.study)
        known = {limit.name: float(e) for limit, e in zip(self.study.limits, off, strict=True)}
        return known if self.forecast.settled is None else known | dict(self.forecast.settled.error)

    def plot(self, path: Any = None) -> Any:
        """The tolerance ladder; written to `path` when given, else the figure is returned."""
        # by name, because pictures stand above the physics and are loaded only when one is asked for
        return import_module("coilwright.pack.window_pictures").ladder_picture(self, path)

    def to_dict(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "fixture": self.stations.to_dict(),
            "yield": self.forecast.to_dict(),
            "saved_by_nominal": dict(self.blame),
            "variance": self.variance.to_dict(),
            "tolerances": [t.to_dict() for t in self.tolerances],
            "together_share_of_range": self.together,
            "maps": [m.to_dict() for m in self.maps],
            "setting": self.centre.to_dict(),
            "readings": [s.to_dict() for s in self.sights],
            "sampling": [s.to_dict() for s in self.sampling],
            "error": {"rms": self.errors, "runs": self.runs},
            "seed": self.effort.seed,
            "cautions": [{"hazard": c.hazard, "text": c.text, "figure": c.figure} for c in self.cautions],
            "findings": [f.to_dict() for f in self.findings],
        }

    def __repr__(self) -> str:
        parts = self.forecast.parts
        lines = [
            f"<window of {self.title!r}: yield {100 * parts.share:.2f} % ({100 * parts.low:.2f} to {100 * parts.high:.2f} %),"
            f" {self.runs} full shots>"
        ]
        lines += [f"  {s.said}" for s in self.sights]
        return "\n".join(lines)


def sampling_of(found: Yield) -> tuple[Sampling, ...]:
    """What tests without a bad part prove, and how likely the forecast passes them."""
    share = found.parts.share
    out = []
    for promise in PROMISES:
        n = sample_for(promise)
        if proven_share(n) <= promise:
            out.append(Sampling(promise, n, share**n))
    return tuple(out)


def findings_of(
    study: Study,
    stations: StationsResult,
    found: Yield,
    variance: VarianceShares,
    middle: Centre,
    sights: tuple[Sight, ...],
) -> Iterator[Finding]:
    """What a careful engineer would say about a window."""
    outside = study.outside(found.draws, found.judged)
    if outside > 1e-3:
        text = (
            f"{100 * outside:.2g} % of the draws lie beyond what the full shots cover; their margins are extrapolated."
        )
        yield Finding("window-beyond-runs", "warning", "varies", text, "Narrow the widths or read the tails with care.")
    parts = found.parts
    if parts.high - parts.low > 0.05:
        text = f"the yield is known only between {100 * parts.low:.1f} and {100 * parts.high:.1f} %, for the stand-ins are rough."
        yield Finding("window-rough", "warning", "yield", text, "Build on more full shots (--runs).")
    if study.askew is not None:
        yield from study.model.cells.at().part.findings
        if study.askew.error > _ROUGH_POSES:
            known = f"{100 * study.askew.error:.2g} %"
            text = f"coils out of line are known to {known} of their power only: the gap is narrow for such widths."
            yield Finding("window-rough-poses", "warning", "varies", text, "Narrow the widths of sideways and tilt.")
    names = [q.what for q in study.varied]
    if "mains" in names and study.regulated:
        held = study.model.fixture.control if study.model.source is None else study.model.source.usual.tank.source.hold
        text = f"the source holds its {held}, so the mains change nothing while it can regulate."
        yield Finding("window-regulated", "note", "varies mains", text)
    spread = float(stations.powers.max() / stations.powers.min() - 1.0) if len(stations.powers) > 1 else 0.0
    if spread > 0.005:
        weak = int(np.argmin(stations.powers)) + 1
        text = (
            f"stations differ by {100 * spread:.1f} % in power as drawn; station {weak} gets least (neighbours, leads)."
        )
        yield Finding("window-unequal-stations", "note" if spread < 0.05 else "warning", "fixture", text)
    if abs(middle.setting - 1.0) > 0.02 and middle.yield_there > middle.yield_now + 1e-3:
        where = "below" if middle.setting > 1.0 else "above"
        text = (
            f"the source is set {100 * abs(middle.setting - 1.0):.0f} % {where} the best of its window; there the yield "
            f"would be {100 * middle.yield_there:.1f} % instead of {100 * middle.yield_now:.1f} %."
        )
        advice = "Set all stations together, once; a single bad station is mended at that station, not at the source."
        yield Finding("window-off-centre", "warning", "drive", text, advice)
    if middle.open_top:
        within = "" if middle.source_end is None else " within what the source can give"
        text = f"nothing asked in the acceptance says when it is too much{within}, so the window has no upper end and no middle."
        advice = "Add what too much does, e.g. a stays_below for the part."
        yield Finding("window-open", "warning", "accept", text, advice)
    yield from _source_end(study, middle)
    quiet = insensitive(study, variance)
    if quiet:
        listed = ", ".join(q.what for q in quiet)
        yield Finding("window-insensitive", "note", "varies", f"hardly matter within their widths: {listed}.")
    yield from _balance(study)
    hidden = [s for s in sights if not s.seen_at_terminals and s.power_change < -0.05]
    if hidden:
        listed = ", ".join(f"{s.fault.name} ({100 * s.power_change:+.0f} %)" for s in hidden)
        text = f"cannot be seen from the terminals: {listed}."
        advice = "Read each station: setting block, start times, pick-up loop."
        yield Finding("window-invisible", "warning", "readings", text, advice)


def _source_end(study: Study, middle: Centre) -> Iterator[Finding]:
    end, source = middle.source_end, study.model.source
    if end is None or source is None or study.table is None:
        return
    why = source.usual.respond(1.001 * end, study.table.middle, study.model.frequency).limited_by or "its full drive"
    text = f"the source gives no more from {100 * end:.0f} % of its setting on: {why}."
    if end > 1.05:
        yield Finding("window-source-end", "note", "source", text)
        return
    advice = "Scatter of coils and mains is cut off by it on one side only; give the source room or set it lower."
    yield Finding("window-source-end", "warning", "source", text, advice)


def _balance(study: Study) -> Iterator[Finding]:
    """A ring whose reactance equals its resistance takes most power, and then its thickness does not matter: with the flux
    held, P goes as R / (R^2 + X^2), whose slope in ln R is (X^2 - R^2) / (X^2 + R^2)."""
    reflected = study.model.cells.at().reflected
    if reflected.imag >= 0.0:
        return
    ratio = reflected.real / -reflected.imag
    slope = (1.0 - ratio**2) / (1.0 + ratio**2)
    if abs(slope) < 0.5:
        text = (
            f"the part's resistance is {ratio:.2g} times its reactance, near the balance at which its power does not depend "
            f"on thickness or resistivity: 1 % in resistance makes {slope:+.2f} % in power."
        )
        yield Finding("window-part-balance", "note", "part", text)
