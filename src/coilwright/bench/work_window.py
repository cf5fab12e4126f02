"""The window as a study: yield, tolerances, causes, readings, setting."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import Report
from coilwright.job import Job
from coilwright.pack.tables import Table
from coilwright.pack.window_pictures import window_pictures
from coilwright.steps.window import window
from coilwright.window.effort import Effort
from coilwright.window.limits import Tolerance
from coilwright.window.result import WindowResult

_LEAST = Effort(fresh=6, refine=6, reshoot=0)

_TOLERANCES = ("quantity", "drawn", "alone, from", "to", "all at once, from", "to ")


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Run it; pictures go into the folder."""
    effort = _effort(settings)
    result = window(
        job,
        shots=int(settings.get("shots", 100_000)),
        effort=effort,
        observe=bool(settings.get("readings", True)),
        report=lambda share: report(0.95 * share, "full shots" if share < 0.7 else "virtual shots"),
    )
    report(0.96, "drawing")
    parts = result.forecast.parts
    return shown(
        f"yield {100 * parts.share:.2f} % of parts ({100 * parts.low:.2f} to {100 * parts.high:.2f} %)",
        lines=_lines(result),
        tables=_tables(result),
        pictures=drawn(window_pictures, result, folder),
        cautions=result.cautions,
        findings=result.findings,
    )


def _effort(settings: dict[str, Any]) -> Effort:
    """How thorough; so many full shots to build on as were typed are those of the command with as many --runs."""
    usual, kind = Effort(), str(settings.get("effort"))
    workers, seed, runs = min(2, os.cpu_count() or 1), int(settings.get("seed", 1)), int(settings.get("runs", 0))
    if runs:
        return Effort.asked(runs, 0 if kind == "small" else usual.reshoot, workers, seed)
    least, most = _LEAST, Effort(fresh=2 * usual.fresh, refine=2 * usual.refine, reshoot=2 * usual.reshoot)
    return replace({"small": least, "large": most}.get(kind, usual), workers=workers, seed=seed)


def _lines(result: WindowResult) -> Iterator[str]:
    found, c = result.forecast, result.centre
    whole = found.shots
    yield (
        f"{100 * whole.share:.2f} % of whole shots are good ({100 * whole.low:.2f} to {100 * whole.high:.2f} %), from "
        f"{whole.of} virtual shots (seed {result.effort.seed}) on {result.runs} full ones."
    )
    if found.settled is not None:
        yield found.settled.said
    place = "the least setting of the best yield is" if c.open_top else "the middle of the window is"
    yield (
        f"Setting of the source: {place} {100 * c.setting:.1f} % of the one drawn; yield {100 * c.yield_now:.1f} % now, "
        f"{100 * c.yield_there:.1f} % there."
    )
    yield f"Every quantity may use {100 * result.together:.0f} % of its range at the same time."


def _tables(result: WindowResult) -> Iterator[Table]:
    s, found, v = result.stations, result.forecast, result.variance
    stations = [
        (
            f"{k + 1}", float(s.powers[k]), float(s.currents[k]), 100.0 * float(s.voltage_shares[k]), _seconds(s.start_times[k]),
            100.0 * y.share, 100.0 * y.low, 100.0 * y.high,
        )
        for k, y in enumerate(found.stations)
    ]  # fmt: skip
    head = (
        "station", "power in the part, cold [W]", "coil current [A rms]", "share of the volts [%]", "start [s]", "yield [%]",
        "from [%]", "to [%]",
    )  # fmt: skip
    yield table("stations", "Yield by station", head, stations)
    failing = [(name, 100.0 * share) for name, share in found.by_limit.items() if share > 0.0]
    yield table("failures", "What fails", ("limit", "parts that fail it [%]"), failing)
    yield table("tolerances", "How far each thing may be out", _TOLERANCES, [_tolerance(t) for t in result.tolerances])
    order = sorted(result.blame, key=lambda name: -v.total[name])
    causes = [(n, 100.0 * max(v.total[n], 0.0), 100.0 * result.blame[n]) for n in order]
    moved = ("quantity", f"of the variance of {v.limit} [%]", "of the scrap saved if nominal [%]")
    yield table("causes", "What moves the result", moved, causes)
    shows = [(sight.said,) for sight in result.sights]
    yield table(
        "readings",
        "What would show it",
        ("fault and reading",),
        shows,
        "What a reading is worth: common practice, no source.",
    )
    proofs = [(f"less than {100 * x.share:g} % bad", x.parts, 100.0 * x.chance) for x in result.sampling]
    yield table(
        "sampling", "How many parts prove it", ("to prove at 95 %", "good ones in a row", "chance to pass [%]"), proofs
    )


def _tolerance(t: Tolerance) -> tuple[str, ...]:
    show, (low, high) = t.quantity.shown, t.searched
    ends = (
        f"beyond {show(low)}" if t.low is None else show(t.low),
        f"beyond {show(high)}" if t.high is None else show(t.high),
    )
    return (t.quantity.what, show(t.quantity.nominal), *ends, show(t.together[0]), show(t.together[1]))


def _seconds(start: float | None) -> float | None:
    return None if start is None or not math.isfinite(start) else float(start)
