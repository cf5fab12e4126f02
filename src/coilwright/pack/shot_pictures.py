"""Pictures of a shot: temperature against time with the acceptance, and the electrical trace."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from coilwright.heating.result import ShotResult, Verdict
from coilwright.pack.looks import CURRENT, FAINT, GOOD, HOT, INK, save, series, sheet
from coilwright.units import ZERO_CELSIUS


def temperature_picture(shot: ShotResult, path: Path | None = None) -> Any:
    """Coldest to hottest band and mean of every body, the acceptance limits, and the charge where there is one."""
    with sheet(7.6, 5.0) as (figure, axes):
        _bodies(axes, shot)
        for verdict in shot.verdicts:
            _limit(axes, verdict, float(shot.trace.time[-1]))
        axes.set(xlabel="time, s", ylabel="temperature, °C", xlim=(0, shot.trace.time[-1]))
        axes.set_title(f"{shot.title}: {'passes' if shot.passed else 'FAILS'}", color=INK if shot.passed else HOT)
        low, high = axes.get_ylim()
        axes.set_ylim(max(low, 0.0), high + 0.12 * (high - low))  # room for the legend above the highest limit
        lines = [*axes.get_lines(), *_charge(axes, shot)]
        named = [line for line in lines if not str(line.get_label()).startswith("_")]
        axes.legend(named, [line.get_label() for line in named], loc="upper left", fontsize=8, ncols=3)
        return save(figure, path)


def _bodies(axes: Any, shot: ShotResult) -> None:
    time = shot.trace.time
    for n, (name, body) in enumerate(shot.trace.bodies.items()):
        look = series(n)
        axes.plot(time, body.mean - ZERO_CELSIUS, label=f"{name}, mean", **look)
        low, high = body.minimum - ZERO_CELSIUS, body.maximum - ZERO_CELSIUS
        axes.fill_between(time, low, high, color=look["color"], alpha=0.18, linewidth=0)
    for n, (name, temperature) in enumerate(shot.trace.points.items()):
        axes.plot(time, temperature - ZERO_CELSIUS, lw=1.0, label=name, **series(len(shot.trace.bodies) + n))


def _limit(axes: Any, verdict: Verdict, end: float) -> None:
    """A reach-by corner or a ceiling, drawn in the colour of its outcome."""
    colour = GOOD if verdict.met else HOT
    details = verdict.details
    if "reaches_degC" in details:
        limit, deadline = float(details["reaches_degC"]), float(details["within_s"] or end)  # type: ignore[arg-type]
        axes.plot([0, deadline], [limit, limit], color=colour, lw=1.0)
        axes.plot([deadline, deadline], [0.0, limit], color=colour, lw=1.0)
        # from the left: the curve is still far below the line there
        axes.annotate(f"{verdict.body}: {limit:.0f} °C by {deadline:g} s", (0.0, limit), (6, 4),
                      textcoords="offset points", fontsize=7.5, color=colour)  # fmt: skip
    elif "stays_below_degC" in details:
        limit = float(details["stays_below_degC"])  # type: ignore[arg-type]
        axes.axhline(limit, color=colour, lw=1.0, ls=(0, (2, 2)))
        axes.annotate(f"{verdict.body} below {limit:.0f} °C", (end, limit), (-4, 4),
                      textcoords="offset points", ha="right", fontsize=7.5, color=colour)  # fmt: skip


def _charge(axes: Any, shot: ShotResult) -> list[Any]:
    """Burnt shares on an axis of their own at the right; returns the lines for the legend."""
    fired = {n: b.charge_fired for n, b in shot.trace.bodies.items() if b.charge_fired is not None}
    if not fired:
        return []
    right = axes.twinx()
    right.grid(False)
    right.spines["right"].set_visible(True)
    right.set(ylim=(0, 105), ylabel="charge fired, %")
    look = {"color": INK, "lw": 1.2, "ls": (0, (1, 1))}
    return [
        right.plot(shot.trace.time, 100.0 * burnt, label=f"{name}, charge fired", **look)[0]
        for name, burnt in fired.items()
    ]


def electrical_picture(shot: ShotResult, path: Path | None = None) -> Any:
    """Coil current, voltage, power and the loaded resistance and inductance through the shot."""
    time, coil = shot.trace.time, shot.trace.coil
    watt, power = (1e3, "kW") if float(coil.power.max()) >= 1e3 else (1.0, "W")
    rows = (
        ((coil.current, "current, A", CURRENT), (coil.voltage, "voltage, V", INK)),
        ((coil.power / watt, f"coil power, {power}", HOT), (coil.frequency / 1e3, "frequency, kHz", FAINT)),
        ((coil.resistance * 1e3, "resistance, mΩ", HOT), (coil.inductance * 1e9, "inductance, nH", CURRENT)),
    )
    with sheet(7.6, 6.2, nrows=3, sharex=True) as (figure, axes):
        for left, pair in zip(axes, rows, strict=True):
            right = left.twinx()
            right.grid(False)
            right.spines["right"].set_visible(True)
            for side, (values, label, colour), dash in zip((left, right), pair, ("-", "--"), strict=True):
                side.plot(time, values, color=colour, ls=dash)
                side.set_ylabel(label, color=colour)
                _roomy(side, values)
        axes[0].set_title(f"{shot.title}: at the coil terminals, rms")
        axes[-1].set_xlabel("time, s")
        axes[-1].set_xlim(0, time[-1])
        return save(figure, path)


def _roomy(axes: Any, values: Any) -> None:
    """Keep a nearly constant quantity from being blown up into noise: show at least 2 % of its size."""
    low, high = float(values.min()), float(values.max())
    room = max(high - low, 0.02 * max(abs(low), abs(high)), 1e-12)
    middle = 0.5 * (low + high)
    axes.set_ylim(middle - 0.6 * room, middle + 0.6 * room)
