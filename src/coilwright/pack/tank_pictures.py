"""Pictures of the electrical side: impedance seen by the source, source through the shot, stresses against ratings."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.heating.electrical import StartUp, TankReport
from coilwright.heating.hazards import GROUPS, stray_distances
from coilwright.pack.field_pictures import outlines
from coilwright.pack.looks import CURRENT, FAINT, GOOD, HOT, INK, save, sheet
from coilwright.pack.tank_diagram import tank_diagram, water_schematic
from coilwright.safety.exposure import applicable_levels
from coilwright.tank.chain import winding_coil
from coilwright.tank.operating import impedance_curve
from coilwright.tank.result import OperatingPoint

_SPREAD = 0.12  # frequencies shown on either side of the operating points, as a share
_LINE = 78  # letters in a line under a picture


def tank_pictures(report: TankReport, folder: Path) -> list[Path]:
    """All pictures of a report, written into `folder`."""
    written = [
        tank_diagram(report, folder / "tank.svg"),
        impedance_picture(report, folder / "impedance.png"),
        source_picture(report, folder / "source.png"),
        stress_picture(report, folder / "stress.png"),
        stray_picture(report, folder / "stray-field.png"),
    ]
    if report.start_up is not None:
        written.append(start_picture(report, report.start_up, folder / "start-up.png"))
    if report.cooling is not None:
        written.append(water_schematic(report, folder / "water.svg"))
    return written


def impedance_picture(report: TankReport, path: Path | None = None) -> Any:
    """Modulus and phase of what the source sees against frequency: cold, at the end of the shot, empty."""
    points = [("cold", report.cold, CURRENT, "-"), ("end of shot", report.hot, HOT, "--")]
    if report.empty is not None:
        points.append(("empty coil", report.empty, FAINT, "-."))
    at = [p.frequency for _, p, _, _ in points]
    frequency = np.linspace(min(at) * (1.0 - _SPREAD), max(at) * (1.0 + _SPREAD), 700)
    with sheet(7.4, 5.6, nrows=2, sharex=True) as (figure, (upper, lower)):
        for label, point, colour, dash in points:
            seen = impedance_curve(report.tank, _coil(point), frequency)
            upper.semilogy(frequency / 1e3, np.abs(seen), color=colour, ls=dash, label=label)
            lower.plot(frequency / 1e3, np.degrees(np.angle(seen)), color=colour, ls=dash)
            lower.plot([point.frequency / 1e3], [math.degrees(point.phase)], "o", color=colour, ms=6)
        lower.axhline(0.0, color=INK, lw=0.8)
        upper.set_ylabel("impedance at the source, Ω")
        for axis in (upper.yaxis.set_major_formatter, upper.yaxis.set_minor_formatter):
            axis(lambda ohm, _: f"{ohm:g}")  # powers of ten would need the mathematical text that is switched off
        lower.set(ylabel="phase, ° (positive: current lags)", xlabel="frequency, kHz (dots: where the source runs)")
        upper.set_title(f"{report.title}: what the source sees")
        upper.legend(fontsize=8)
        return save(figure, path)


def _coil(point: OperatingPoint) -> Any:
    z = point.coil_impedance
    return winding_coil(z.real, z.imag / (2.0 * math.pi * point.frequency))


def source_picture(report: TankReport, path: Path | None = None) -> Any:
    """Where the source's power goes through the shot, and its frequency."""
    trace = report.shot.trace
    source = trace.source
    with sheet(7.4, 5.2, nrows=2, sharex=True, height_ratios=(2, 1)) as (figure, (upper, lower)):
        if source is not None:
            heated = sum((b.power for b in trace.bodies.values()), start=np.zeros(len(trace.time)))
            shares = {"parts": heated, "coil and its leads": trace.coil.power - heated, **source.losses}
            shades = np.linspace(0.25, 0.9, max(len(shares) - 2, 1))
            colours = [HOT, CURRENT, *((s, s, s * 0.95) for s in shades)]
            upper.stackplot(
                trace.time, *shares.values(), labels=list(shares), colors=colours[: len(shares)], alpha=0.85
            )
            upper.plot(trace.time, source.power, color=INK, lw=1.2, label="source")
        upper.set_ylabel("power, W")
        upper.legend(fontsize=7.5, loc="upper right", framealpha=0.85, frameon=True, edgecolor="none")
        upper.set_title(f"{report.title}: where the source's power goes")
        lower.plot(trace.time, trace.coil.frequency / 1e3, color=CURRENT)
        lower.set(ylabel="frequency, kHz", xlabel="time, s", xlim=(0, trace.time[-1]))
        lower.ticklabel_format(useOffset=False)
        return save(figure, path)


def stress_picture(report: TankReport, path: Path | None = None) -> Any:
    """Every rating: how much of what this shop allows itself is used at the worst moment."""
    worst = sorted(report.worst, key=lambda r: r.used)
    with sheet(7.4, 0.5 * max(len(worst), 1) + 1.6) as (figure, axes):
        if worst:
            used = [100.0 * r.used for r in worst]
            colours = [HOT if u > 100.0 else GOOD for u in used]
            axes.barh([f"{r.component}\n{r.quantity}" for r in worst], used, color=colours, height=0.6)
            for k, u in enumerate(used):
                axes.annotate(f"{u:.0f} %", (u, k), (4, 0), textcoords="offset points", va="center", fontsize=8)
            axes.axvline(100.0, color=INK, lw=1.2)
            axes.set_xlim(0, max(115.0, 1.15 * max(used)))
        else:
            axes.text(0.5, 0.5, "no ratings given", ha="center", transform=axes.transAxes)
        axes.set_xlabel("share of the rating after derating, %, worst of the shot and the empty coil")
        axes.set_title(f"{report.title}: stress of the capacitors")
        return save(figure, path)


def start_picture(report: TankReport, start: StartUp, path: Path | None = None) -> Any:
    """The first and the last periods as a scope shows them: coil current and bank voltage."""
    with sheet(7.6, 5.0, nrows=2, ncols=2, sharey="row") as (figure, axes):
        for column, (wave, title) in enumerate(
            ((start.ring_up.wave, "switched on"), (start.ring_down, "bridge shorted"))
        ):
            time = wave.time * 1e6
            axes[0, column].plot(time, wave.coil_current, color=CURRENT, lw=0.7)
            axes[1, column].plot(time, wave.bank_voltage, color=HOT, lw=0.7)
            axes[0, column].set_title(title)
            axes[1, column].set_xlabel("time, µs")
        axes[0, 0].set_ylabel("coil current, A")
        axes[1, 0].set_ylabel("bank voltage, V")
        return save(figure, path)


def stray_picture(report: TankReport, path: Path | None = None) -> Any:
    """Contours of the coil's field at the published reference levels, half-section, at the largest current of the shot."""
    scale = _current(report) / abs(report.field.coil_current)
    frequency = report.cold.frequency
    levels = {group: applicable_levels(frequency, group)[0] for group in GROUPS}
    reach = max(
        1.3 * max((d.distance for d in stray_distances(report.field, _current(report), frequency)), default=0.3), 0.1
    )
    r, z = np.linspace(1e-4, reach, 70), np.linspace(-reach, reach, 120)
    rr, zz = np.meshgrid(r, z)
    flux = scale * np.linalg.norm(report.field.flux_density_at(np.column_stack([rr.ravel(), zz.ravel()])), axis=1)
    with sheet(5.4, 7.0) as (figure, axes):
        for (group, level), colour, dash in zip(levels.items(), (HOT, CURRENT), ("-", "--"), strict=True):
            drawn = axes.contour(
                r, z, flux.reshape(rr.shape), levels=[level.flux_density], colors=colour, linestyles=dash
            )
            axes.plot([], [], color=colour, ls=dash, label=f"{group}: {level.flux_density * 1e6:.3g} µT rms")
            axes.clabel(drawn, fmt=f"{level.flux_density * 1e6:.3g} µT", fontsize=8)
        outlines(axes, report.shot.model.scene.section, millimetres=False)
        axes.set(xlabel="r, m", ylabel="z, m", xlim=(0, reach), ylim=(-reach, reach), aspect="equal")
        axes.locator_params(axis="x", nbins=4)
        axes.set_title("field of the coil alone")
        axes.legend(fontsize=8, loc="upper right", title=f"at {frequency / 1e3:.4g} kHz", title_fontsize=8)
        axes.annotate(
            textwrap.fill(f"levels: {levels['general public'].source.citation}", _LINE)
            + "\nbusbars and machine parts not included: measure to confirm; local codes decide",
            (0.0, -0.09), xycoords="axes fraction", fontsize=7.5, va="top",
        )  # fmt: skip
        return save(figure, path)


def _current(report: TankReport) -> float:
    return float(report.shot.trace.coil.current.max())
