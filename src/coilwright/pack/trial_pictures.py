"""Pictures of a trial: measured over predicted with band and residuals, correlations, other settings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from coilwright.pack.looks import CURRENT, FAINT, HOT, INK, save, series, sheet
from coilwright.trials.calibrate import NORMAL_90
from coilwright.trials.result import Laid, TrialResult
from coilwright.units import ZERO_CELSIUS

_CORRELATION_MAP = "PuOr"  # two hues that the colour-blind tell apart, light in the middle


def trial_pictures(result: TrialResult, target: Path) -> list[Path]:
    """All pictures of a trial as PNG in a folder."""
    out = [trial_picture(result, target / "trial.png"), correlation_picture(result, target / "trial-correlation.png")]
    if result.predictions:
        out.append(prediction_picture(result, target / "trial-predictions.png"))
    return out


def trial_picture(result: TrialResult, path: Path | None = None) -> Any:
    """Measured samples, the prediction before and after the fit with its 90 % band, and what is left."""
    with sheet(7.6, 5.8, nrows=2, sharex=True, height_ratios=(3, 1)) as (figure, (upper, lower)):
        for n, c in enumerate(result.laid):
            _channel(upper, lower, c, n, len(result.laid))
        for seen in result.compared:
            if seen.what.startswith(("charge", "reaches")):
                upper.axvline(seen.measured.value, color=INK, lw=0.8, ls=(0, (2, 2)))
                upper.annotate(seen.what, (seen.measured.value, 0.98), (3, 0), xycoords=("data", "axes fraction"),
                               textcoords="offset points", fontsize=7.5, va="top", rotation=90)  # fmt: skip
        upper.set(ylabel="temperature, °C", xlim=(0, max(float(c.time[-1]) for c in result.laid)))
        upper.set_title(f"{result.title}: trial {result.name}")
        upper.legend(loc="lower right", fontsize=8)
        lower.axhline(0.0, color=INK, lw=0.8)
        lower.set(xlabel="time after power on, s", ylabel="measured less\nfitted, K")
        return save(figure, path)


def _channel(upper: Any, lower: Any, c: Laid, n: int, of: int) -> None:
    look = series(n)
    tail = f" ({c.name} on {c.place})" if of > 1 else ""
    upper.plot(c.time, c.before - ZERO_CELSIUS, color=FAINT, lw=1.4, ls="--", label=f"predicted beforehand{tail}")
    after, reach = c.after - ZERO_CELSIUS, NORMAL_90 * c.sigma
    upper.fill_between(c.time, after - reach, after + reach, color=look["color"], alpha=0.25, linewidth=0)
    upper.plot(c.time, after, color=look["color"], lw=1.6, label=f"fitted, with 90 % band{tail}")
    upper.plot(c.time, c.measured - ZERO_CELSIUS, ".", color=INK if n == 0 else look["color"], ms=2.2, alpha=0.7,
               label=f"measured{tail or f', {c.name} on {c.place}'}")  # fmt: skip
    lower.fill_between(c.time, -reach, reach, color=look["color"], alpha=0.25, linewidth=0)
    lower.plot(c.time, c.residual, ".", color=look["color"], ms=2.2)
    # one wild sample must not flatten the rest
    tall = max(float(np.quantile(np.abs(c.residual), 0.99)), float(reach.max())) * 1.25
    low, high = lower.get_ylim() if n else (-tall, tall)
    lower.set_ylim(min(low, -tall), max(high, tall))


def correlation_picture(result: TrialResult, path: Path | None = None) -> Any:
    """How the fitted quantities hang together, and how much of each prior the trial has taken away."""
    names = [f.unknown.name for f in result.fitted]
    count = len(names)
    with sheet(5.4 + 0.6 * count, 2.4 + 0.45 * count, ncols=2, width_ratios=(1.3, 1.0)) as (figure, (left, right)):
        shown = left.imshow(result.correlation, cmap=_CORRELATION_MAP, vmin=-1.0, vmax=1.0, aspect="auto")
        left.grid(False)
        for i in range(count):
            for j in range(count):
                value = float(result.correlation[i, j])
                red, green, blue, _ = shown.to_rgba(value)
                colour = "#ffffff" if 0.3 * red + 0.6 * green + 0.1 * blue < 0.5 else INK
                left.text(j, i, f"{value:+.2f}", ha="center", va="center", fontsize=8, color=colour)
        left.set_xticks(range(count), names, rotation=35, ha="right")
        left.set_yticks(range(count), names)
        left.set_title("correlation after the trial")
        told = [100.0 * f.told for f in result.fitted]
        right.barh(range(count), told, color=[HOT if f.told > 0.8 else CURRENT for f in result.fitted], height=0.6)
        for k, share in enumerate(told):
            inside = share > 75.0
            right.text(share + (-2 if inside else 2), k, f"{share:.0f} %", va="center", ha="right" if inside else "left",
                       fontsize=8, color="#ffffff" if inside else INK)  # fmt: skip
        right.set_yticks([])
        right.set(
            ylim=(count - 0.5, -0.5), xlim=(0, 105), xlabel="of its interval before the trial, % (orange: hardly told)"
        )
        right.grid(axis="y", visible=False)
        right.set_title("left of the interval")
        return save(figure, path)


def prediction_picture(result: TrialResult, path: Path | None = None) -> Any:
    """The first place measured under every other setting asked for, with its 90 % band."""
    place = result.laid[0].place
    with sheet(7.6, 4.4) as (figure, axes):
        for n, p in enumerate(result.predictions):
            time, mean, sigma = p.curve
            look = series(n)
            axes.plot(time, mean - ZERO_CELSIUS, label=p.title, **look)
            low, high = mean - NORMAL_90 * sigma - ZERO_CELSIUS, mean + NORMAL_90 * sigma - ZERO_CELSIUS
            axes.fill_between(time, low, high, color=look["color"], alpha=0.22, linewidth=0)
        last = max(float(p.curve[0][-1]) for p in result.predictions)
        axes.set(xlabel="time, s", ylabel=f"{place}, °C", xlim=(0, last))
        axes.set_title(f"{result.title}: foretold after trial {result.name}")
        axes.legend(loc="best", fontsize=8)
        return save(figure, path)
