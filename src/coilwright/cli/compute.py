"""The commands that solve something: field, heat, demo."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import FAILS_ACCEPTANCE, folder, print_json, progress, table
from coilwright.errors import BadInput, Fault
from coilwright.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from coilwright.field.look import CheckResult
    from coilwright.field.report import FieldReport
    from coilwright.heating.result import ShotResult

# What the demonstration runs: the main job and a hardened pin, both with invented data.
DEMO_KINDS = ("ring-through-glass", "bar-in-coil")


def field(path: Path, as_json: bool, out: Path | None, fine: bool) -> int:
    from coilwright.job import load
    from coilwright.steps.field import field as solve

    job = load(path)
    target = folder(out)
    with progress("field", as_json):
        report = solve(job, level="fine" if fine else "normal")
    written = _field_files(report, target) if target else []
    if as_json:
        print_json({**report.to_dict(), "files": [str(p) for p in written]})
    else:
        print(_field_text(report))
        list_files(written)
    return 0


def _field_text(report: FieldReport) -> str:
    result = report.result
    lines = [
        f"{report.scene.job.title}: field at {result.frequency / 1e3:.4g} kHz, {abs(result.coil_current):.4g} A rms"
    ]
    rows = []
    for name, reading in (("with the part", result.loaded), ("empty", result.unloaded)):
        if reading is not None:
            inductance = f"{reading.inductance * 1e9:.2f} nH"
            rows.append((f"coil, {name}", inductance, f"{reading.resistance * 1e3:.4g} mohm", f"Q {reading.q:.1f}"))
    if report.leads.inductance:
        leads = report.leads
        rows.append(("leads", f"{leads.inductance * 1e9:.1f} nH", f"{leads.resistance * 1e3:.3g} mohm", ""))
    if rows:
        lines += [table(rows), ""]
    powers = [(name, f"{p:.4g} W") for name, p in result.body_powers.items()]
    powers.append(("coil itself", f"{result.coil_power:.4g} W"))
    lines.append(table(powers, ("power in", "")))
    if math.isfinite(result.efficiency):
        lines.append(f"efficiency {100 * result.efficiency:.1f} % (power in the work over all power)")
    if result.points:
        at = [(n, f"{abs(b[0]) * 1e3:.4g} mT", f"{abs(b[1]) * 1e3:.4g} mT") for n, b in result.points.items()]
        lines += ["", table(at, ("point", "B_r", "B_z"))]
    if result.error is not None and math.isfinite(result.error.largest):
        lines.append(f"estimated error at most {100 * result.error.largest:.2g} %")
    lines.append(f"power balance {result.power_mismatch:.1e}, current balance {result.current_mismatch:.1e}")
    return "\n".join(lines + [f"  {f}" for f in report.findings])


def _field_files(report: FieldReport, target: Path) -> list[Path]:
    from coilwright.pack.field_pictures import field_picture
    from coilwright.pack.vtu import field_vtu

    written = [field_picture(report, target / "field.png"), field_picture(report, target / "field.svg")]
    if report.result.body_powers:
        written.append(field_vtu(report, target / "field.vtu"))
    return written


@dataclass(frozen=True)
class Shots:
    """The options of `heat` as typed."""

    every: str | None
    shots: int
    pause: str
    watch: str | None
    fine: bool


def heat(path: Path, as_json: bool, out: Path | None, asked: Shots) -> int:
    from coilwright.job import load
    from coilwright.steps.heat import heat as shoot

    job = load(path)
    every = None if asked.every is None else time_given("--every", asked.every)
    pause = time_given("--pause", asked.pause)
    watch = 0.0 if asked.watch is None else time_given("--watch", asked.watch)
    target = folder(out)
    results: list[ShotResult] = []
    for number in range(asked.shots):
        title = "heat" if asked.shots == 1 else f"shot {number + 1} of {asked.shots}"
        with progress(title, as_json) as advance:
            last = results[-1] if results else None
            done = shoot(job, every=every, after=last, pause=pause, watch=watch, fine=asked.fine, report=advance)
            results.append(done)
    several = asked.shots > 1
    written = [p for n, r in enumerate(results, 1) for p in _shot_files(r, target, n if several else 0)]
    if as_json:
        data = results[-1].to_dict()
        if several:
            data["shots"] = [r.to_dict() for r in results]
        print_json({**data, "files": [str(p) for p in written]})
    else:
        for number, result in enumerate(results, 1):
            if several:
                print(f"shot {number}")
            print(_shot_text(result))
        list_files(written)
    return 0 if all(r.passed for r in results) else FAILS_ACCEPTANCE


def _shot_files(result: ShotResult, target: Path | None, number: int) -> list[Path]:
    if target is None:
        return []
    from coilwright.pack.field_pictures import temperature_map
    from coilwright.pack.shot_pictures import electrical_picture, temperature_picture
    from coilwright.pack.vtu import shot_vtu

    tail = f"-{number}" if number else ""
    return [
        temperature_picture(result, target / f"heat{tail}.png"),
        electrical_picture(result, target / f"electrical{tail}.png"),
        temperature_map(result, target / f"temperature-map{tail}.png"),
        shot_vtu(result, target / f"heat{tail}.vtu"),
    ]


def _shot_text(result: ShotResult) -> str:
    trace, coil = result.trace, result.trace.coil
    lines = [f"{result.title}: {'PASS' if result.passed else 'FAIL'}"]
    for verdict in result.verdicts:
        lines.append(f"  {'ok ' if verdict.met else 'NO '} {verdict.said}")
    rows = [
        (
            name,
            f"{body.mean[-1] - ZERO_CELSIUS:.0f} degC",
            f"{body.maximum.max() - ZERO_CELSIUS:.0f} degC",
            f"{body.power[0]:.4g} W",
            f"{body.power.max():.4g} W",
        )
        for name, body in trace.bodies.items()
    ]
    rows += [
        (f"at {name}", f"{at[-1] - ZERO_CELSIUS:.0f} degC", f"{at.max() - ZERO_CELSIUS:.0f} degC", "", "")
        for name, at in trace.points.items()
    ]
    lines += ["", table(rows, ("body", "mean at end", "hottest", "power at start", "most"))]
    on = coil.current > 0.0
    if on.any():
        lines.append("")
        large = float(coil.power.max()) >= 1e3
        for label, values, scale, unit in (
            ("coil current", coil.current, 1.0, "A"),
            ("coil voltage", coil.voltage, 1.0, "V"),
            ("coil power", coil.power, 1e-3 if large else 1.0, "kW" if large else "W"),
            ("frequency", coil.frequency, 1e-3, "kHz"),
        ):
            low, high = float(values[on].min()) * scale, float(values[on].max()) * scale
            span = f"{low:.4g}" if high - low < 5e-4 * high else f"{low:.4g} to {high:.4g}"
            lines.append(f"  {label}: {span} {unit}")
    energy, error = result.energy, result.error
    lost = energy.radiated + energy.convected + energy.led_away
    lines.append(
        f"  energy: {energy.induced:.4g} J induced, {energy.stored:.4g} J stored, {lost:.4g} J lost on the way"
    )
    if energy.charge:
        lines.append(f"  the charge gave {energy.charge:.3g} J")
    if error.temperature_K is not None:
        when = "" if error.time_s is None else f", times within {error.time_s:.2g} s"
        lines.append(f"  estimated error: temperatures within {error.temperature_K:.2g} K{when}")
    lines.append(f"  {result.steps} steps, {result.field_solves} field solves; {_balances(result)}")
    return "\n".join(lines + [f"  {f}" for f in result.findings])


def _balances(result: ShotResult) -> str:
    return (
        f"energy account closes to {abs(result.energy.imbalance):.0e}, power balance {result.error.power_balance:.0e}"
    )


def demo(as_json: bool, out: Path) -> int:
    """The getter ring through the glass and the hardened pin, from their job files to pictures."""
    from coilwright.job import loads, template
    from coilwright.steps.check import check
    from coilwright.steps.field import field as solve
    from coilwright.steps.heat import heat as shoot

    told: dict[str, object] = {}
    for kind in DEMO_KINDS:
        target = folder(out / kind)
        if target is None:
            continue
        job = loads(template(kind), f"{kind}.toml")
        (target / "job.toml").write_text(template(kind), encoding="utf-8")
        files = section_files(check(job), target)
        report = solve(job)
        files += _field_files(report, target)
        with progress(kind, as_json) as advance:
            result = shoot(job, report=advance)
        files += _shot_files(result, target, 0)
        if as_json:
            told[kind] = {"field": report.to_dict(), "heat": result.to_dict(), "files": [str(p) for p in files]}
        else:
            print(f"\n== {kind} (invented data)\n{_field_text(report)}\n\n{_shot_text(result)}")
            print(f"pictures and job file: {target}")
    if as_json:
        print_json(told)
    return 0


def section_files(result: CheckResult, target: Path) -> list[Path]:
    from coilwright.pack.section_picture import section_picture

    return [section_picture(result, target / f"section.{ending}") for ending in ("svg", "png")]


def time_given(option: str, text: str) -> float:
    from coilwright.units import UnitFault, parse

    try:
        value = parse(text, "time")
    except UnitFault as fault:
        raise BadInput(Fault(option, str(fault))) from None
    if value <= 0.0:
        raise BadInput(Fault(option, f'must be a time above 0; received "{text}"; write e.g. "0.1 s"'))
    return value


def list_files(written: list[Path]) -> None:
    if written:
        print("written: " + ", ".join(str(p) for p in written))
