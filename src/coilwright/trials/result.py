"""What a trial gives back: values with intervals, how they hang together, what stays unknown, what to measure next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from coilwright.evidence import Finding, Uncertain
from coilwright.heating.result import Verdict
from coilwright.job import Job
from coilwright.safety.cautions import Caution
from coilwright.section.quad9 import Array
from coilwright.trials.calibrate import Interval
from coilwright.trials.calorimetry import SlopePower
from coilwright.trials.fit import MapFit
from coilwright.trials.further import Further
from coilwright.trials.measured import Measured
from coilwright.trials.unknowns import Unknown
from coilwright.units import ZERO_CELSIUS

NOTHING_LEARNT, STRONG = 0.8, 0.9  # posterior over prior width; correlation from which on two are hard to part
BENT = (
    1.5  # sigmas that a straight line may miss the shot by, one sigma away (at 1.0 intervals still covered, own runs)
)


@dataclass(frozen=True, eq=False)
class Fitted:
    """One unknown: before, after, its 90 % interval, and `told`: posterior over prior width (1: nothing learnt)."""

    unknown: Unknown
    after: Interval
    told: float

    def __str__(self) -> str:
        x = self.unknown
        ends = f"{x.shown(self.after.low, 3)} to {x.shown(self.after.high, 3)}"
        return f"{x.name}: {x.shown(self.after.value)} ({ends}), before {x.shown(x.nominal)}"


@dataclass(frozen=True, eq=False)
class Laid:
    """One channel: predicted (K) at its times before and after the fit, one sigma of what the unknowns leave, residual."""

    name: str
    place: str
    time: Array
    measured: Array
    before: Array
    after: Array
    sigma: Array

    @property
    def residual(self) -> Array:
        return self.measured - self.after

    @property
    def rms(self) -> tuple[float, float]:
        """Root mean square difference (K) before and after the fit."""
        before, after = (float(np.sqrt(np.mean((self.measured - x) ** 2))) for x in (self.before, self.after))
        return before, after


@dataclass(frozen=True)
class Compared:
    """An event or a reading: measured, predicted before and after the fit, SI."""

    what: str
    measured: Uncertain
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class Prediction:
    """Another setting: what was changed, the figures with intervals, the verdicts of the most probable shot.

    `curve` (time s, mean K, sigma K) of the first place measured; `passes`: share of the posterior that meets the
    acceptance, None where it has no margin in kelvin.
    """

    changes: Mapping[str, Any]
    figures: Mapping[str, Interval]
    verdicts: tuple[Verdict, ...]
    curve: tuple[Array, Array, Array]

    @property
    def title(self) -> str:
        return ", ".join(f"{k} = {v}" for k, v in self.changes.items())


@dataclass(frozen=True)
class Calorimetry:
    """Power in the part by other roads; None where the trial does not tell."""

    slope: SlopePower | None = None
    foretold: float | None = None
    water: Uncertain | None = None
    part_by_water: Uncertain | None = None
    efficiency: Uncertain | None = None
    part_by_resistance: Uncertain | None = None

    def to_dict(self) -> dict[str, Any]:
        def pair(x: Uncertain | None) -> dict[str, float] | None:
            return None if x is None else {"value": x.value, "sigma": x.sigma}

        slope = None
        if self.slope is not None:
            slope = {
                **(pair(self.slope.power) or {}), "from_s": self.slope.start, "to_s": self.slope.stop,
                "lost_W": self.slope.loss, "predicted_W": self.foretold,
            }  # fmt: skip
        return {
            "slope_power_W": slope,
            "water_power_W": pair(self.water),
            "part_power_by_water_W": pair(self.part_by_water),
            "efficiency": pair(self.efficiency),
            "part_power_by_resistance_W": pair(self.part_by_resistance),
        }


@dataclass(frozen=True, eq=False)
class TrialResult:
    """A finished comparison. `job` carries the fitted values, `correlation` (k, k) of the fitted quantities in order,
    `figures` what the trial itself came to (power in the part ...), `error_K` the coarse mesh against the next finer."""

    title: str
    measured: Measured
    fitted: tuple[Fitted, ...]
    correlation: Array
    nuisances: Mapping[str, Uncertain]
    laid: tuple[Laid, ...]
    compared: tuple[Compared, ...]
    figures: Mapping[str, Interval]
    calorimetry: Calorimetry
    predictions: tuple[Prediction, ...]
    advice: tuple[Further, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[Caution, ...]
    fit: MapFit
    job: Job
    job_text: str
    error_K: float
    runs: int

    @property
    def name(self) -> str:
        return self.measured.name

    def __getitem__(self, name: str) -> Fitted:
        """A fitted quantity by its name or its key; KeyError with those there are."""
        for f in self.fitted:
            if name in (f.unknown.name, f.unknown.key):
                return f
        raise KeyError(f"{name}; fitted are {', '.join(f.unknown.name for f in self.fitted)}")

    def plot(self, path: Any = None) -> Any:
        """Measured over predicted with band and residuals; written to `path` when given, else the figure is returned."""
        # by name, because pictures stand above the physics and are loaded only when one is asked for
        return import_module("coilwright.pack.trial_pictures").trial_picture(self, path)

    def to_dict(self) -> dict[str, Any]:
        return {
            "trial": self.measured.sheet.model_dump(mode="json", exclude_defaults=True),
            "trace": self.measured.origin,
            "fitted": {f.unknown.key: _fitted(f) for f in self.fitted},
            "correlation": {
                a.unknown.name: {b.unknown.name: float(self.correlation[i, j]) for j, b in enumerate(self.fitted)}
                for i, a in enumerate(self.fitted)
            },
            "nuisances": {k: {"value": u.value, "sigma": u.sigma} for k, u in self.nuisances.items()},
            "channels": {c.name: _channel(c, self.fit.inflation.get(c.name, 1.0)) for c in self.laid},
            "compared": {
                c.what: {"measured": c.measured.value, "sigma": c.measured.sigma, "before": c.before, "after": c.after}
                for c in self.compared
            },
            "figures": _figures(self.figures),
            "calorimetry": self.calorimetry.to_dict(),
            "predictions": [
                {
                    "changes": dict(p.changes),
                    "figures": _figures(p.figures),
                    "accept": [v.to_dict() for v in p.verdicts],
                }
                for p in self.predictions
            ],
            "further": [{"what": f.what, "bits": f.bits, "left": f.left, "best": f.best} for f in self.advice],
            "error": {"temperature_K": self.error_K},
            "runs": self.runs,
            "findings": [f.to_dict() for f in self.findings],
            "cautions": [{"hazard": c.hazard, "text": c.text, "figure": c.figure} for c in self.cautions],
        }

    def __repr__(self) -> str:
        lines = [f"<trial {self.name!r} of {self.title!r}: {len(self.laid)} channels, {self.runs} full shots>"]
        lines += [f"  {f}" for f in self.fitted]
        lines += [f"  {c.name}: off by {c.rms[0]:.1f} K before the fit, {c.rms[1]:.1f} K after" for c in self.laid]
        return "\n".join([*lines, *(f"  {f}" for f in self.findings)])


def _fitted(f: Fitted) -> dict[str, Any]:
    x = f.unknown
    return {
        "name": x.name,
        "unit": x.unit if not x.kind else _si(x),
        "before": x.nominal,
        "value": f.after.value,
        "sigma": f.after.sigma,
        "low": f.after.low,
        "high": f.after.high,
        "posterior_over_prior": f.told,
        "as_written": x.text(f.after.value, 5),
    }


def _si(x: Unknown) -> str:
    from coilwright.units import KINDS

    return KINDS[x.kind][0]


def _channel(c: Laid, inflation: float) -> dict[str, Any]:
    return {
        "place": c.place,
        "time_s": c.time,
        "measured_degC": c.measured - ZERO_CELSIUS,
        "before_degC": c.before - ZERO_CELSIUS,
        "after_degC": c.after - ZERO_CELSIUS,
        "sigma_K": c.sigma,
        "rms_before_K": c.rms[0],
        "rms_after_K": c.rms[1],
        "effective_samples": len(c.time) / inflation,
    }


def _figures(figures: Mapping[str, Interval]) -> dict[str, Any]:
    """Figures by name; kelvin become degC, the unit moves to the end of every key."""
    out: dict[str, Any] = {}
    for name, i in figures.items():
        label, _, unit = name.rpartition("_")
        shift = ZERO_CELSIUS if unit == "K" and not label.endswith("in hand") else 0.0
        tail = f"_{'degC' if shift else unit}" if unit else ""
        out[label] = {f"{key}{tail}": getattr(i, key) - shift for key in ("value", "low", "high")}
        out[label]["sigma" + (f"_{unit}" if unit else "")] = i.sigma
    return out


def findings_of(
    fitted: tuple[Fitted, ...], correlation: Array, bend: float, advice: tuple[Further, ...]
) -> list[Finding]:
    """What the trial cannot tell, what cannot be told apart, and whether intervals may be trusted."""
    out = []
    for f in fitted:
        if f.told > NOTHING_LEARNT and not f.unknown.aside:
            text = f"the trial hardly tells: its interval is {100 * f.told:.0f} % of what it was before."
            best = min(advice, key=lambda a: a.left[f.unknown.name], default=None)
            worth = best is not None and best.left[f.unknown.name] < 0.9
            say = (
                f"Most would tell: {best.what}."
                if worth and best is not None
                else "No further trial looked at would tell."
            )
            out.append(Finding("trial-tells-nothing", "warning", f.unknown.name, text, say if advice else ""))
    strong = [
        f"{fitted[j].unknown.name} with {fitted[i].unknown.name} ({correlation[i, j]:+.2f})"
        for i in range(len(fitted))
        for j in range(i)
        if abs(float(correlation[i, j])) > STRONG
    ]
    if strong:
        text = f"only combinations of these are well known: {', '.join(strong)}."
        say = "Use them together, as the fitted job does; a value fixed or measured by itself parts them."
        out.append(Finding("trial-cannot-separate", "note", "correlation", text, say))
    if bend > BENT:
        text = f"within its interval the shot bends by {bend:.1f} sigmas: the intervals are rough."
        out.append(Finding("trial-bent", "warning", "intervals", text, "Narrow the priors, or take a further trial."))
    for f in fitted:
        away = abs(f.unknown.place(f.after.value))
        if away > 3.0:
            text = f"lies {away:.1f} prior sigmas from where the job had it."
            advice_text = "Look for another cause, or say a wider prior if it may really be so far off."
            out.append(Finding("trial-against-prior", "warning", f.unknown.name, text, advice_text))
    return out
