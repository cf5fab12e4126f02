"""The commands that ask how far things may be out: window."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import FAILS_ACCEPTANCE, folder, print_json, progress, table
from coilwright.errors import BadInput, Fault

if TYPE_CHECKING:
    from coilwright.window.limits import Tolerance
    from coilwright.window.result import WindowResult
    from coilwright.window.yields import Share

# A forecast below this yield ends with exit code 1, as a shot that fails its acceptance does.
_ENOUGH = 0.95


@dataclass(frozen=True)
class Asked:
    """The options of `window` as typed."""

    shots: int
    runs: int
    seed: int
    workers: int
    maps: Sequence[str]
    station: int | None
    readings: bool
    reshoot: int


def window(path: Path, as_json: bool, out: Path | None, asked: Asked) -> int:
    from coilwright.job import load
    from coilwright.steps.window import window as study
    from coilwright.window.effort import Effort

    job = load(path)
    target = folder(out)
    effort = Effort.asked(asked.runs, asked.reshoot, asked.workers, asked.seed)
    with progress("window", as_json) as advance:
        result = study(
            job, shots=asked.shots, effort=effort, maps=_pairs(asked.maps), station=asked.station,
            observe=asked.readings, report=advance,
        )  # fmt: skip
    written: list[Path] = []
    if target is not None:
        from coilwright.pack.window_pictures import window_pictures

        written = window_pictures(result, target)
    if as_json:
        print_json({**result.to_dict(), "files": [str(p) for p in written]})
    else:
        print(_text(result))
        if written:
            print("written: " + ", ".join(str(p) for p in written))
    return 0 if result.forecast.parts.share >= _ENOUGH else FAILS_ACCEPTANCE


def _pairs(texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    out = []
    for text in texts:
        names = [n.strip() for n in text.split(",")]
        if len(names) != 2 or not all(names):
            what = f'must name two quantities with a comma; received "{text[:60]}"; write e.g. "coil.centre,mains"'
            raise BadInput(Fault("--map", what))
        out.append((names[0], names[1]))
    return tuple(out)


def _text(result: WindowResult) -> str:
    parts = [_yield(result), _stations(result), _limits(result), _causes(result), _setting(result), _readings(result)]
    parts.append(_sampling(result))
    parts.append("\n".join(f"  {f}" for f in result.findings))
    parts.append("\n".join(["cautions", *(f"  {c}" for c in result.cautions)]))
    return "\n\n".join(p for p in parts if p)


def _share(share: Share) -> str:
    return f"{100 * share.share:.2f} % ({100 * share.low:.2f} to {100 * share.high:.2f})"


def _yield(result: WindowResult) -> str:
    found = result.forecast
    lines = [f"{result.title}: yield {_share(found.parts)} of parts, {_share(found.shots)} of whole shots"]
    lines += [f"  {100 * share:.2f} % fail: {name}" for name, share in found.by_limit.items() if share > 0.0]
    worst = max(result.errors[x.name] for x in result.study.limits if not x.guard)
    lines.append(
        f"  from {found.shots.of} virtual shots (seed {result.effort.seed}) on {result.runs} full ones; "
        f"the stand-ins miss full shots new to them by {100 * worst:.2g} % of a time or of the way to a limit (rms)"
    )
    if found.settled is not None:
        lines.append(f"  {found.settled.said}")
    return "\n".join(lines)


def _stations(result: WindowResult) -> str:
    s, found = result.stations, result.forecast
    rows = [
        (
            f"station {k + 1}",
            f"{s.powers[k]:.4g} W",
            f"{s.currents[k]:.4g} A",
            f"{100 * s.voltage_shares[k]:.2f} %",
            _time(s.start_times[k]),
            _share(found.stations[k]),
        )
        for k in range(len(s.powers))
    ]
    terminals = (
        f"terminals: {s.frequency / 1e3:.5g} kHz, {s.current:.4g} A, {s.voltage:.4g} V, {s.power:.4g} W, Q {s.q:.4g}"
    )
    return table(rows, ("as drawn, cold", "part", "coil", "volts", "start", "yield")) + "\n" + terminals


def _time(start: float | None) -> str:
    return "-" if start is None or not math.isfinite(start) else f"{start:.2f} s"


def _limits(result: WindowResult) -> str:
    rows = [(t.quantity.what, t.quantity.shown(t.quantity.nominal), *_ends(t), _interval(t)) for t in result.tolerances]
    head = ("how far it may be out", "drawn", "alone, from", "to", "all at once")
    note = f"all at once: every quantity may use {100 * result.together:.0f} % of its range at the same time"
    return table(rows, head) + "\n" + note


def _ends(t: Tolerance) -> tuple[str, str]:
    low, high = t.searched
    show = t.quantity.shown
    return (
        f"beyond {show(low)}" if t.low is None else show(t.low),
        f"beyond {show(high)}" if t.high is None else show(t.high),
    )


def _interval(t: Tolerance) -> str:
    low, high = t.together
    return f"{t.quantity.shown(low)} .. {t.quantity.shown(high)}"


def _causes(result: WindowResult) -> str:
    v = result.variance
    order = sorted(result.blame, key=lambda name: -v.total[name])
    rows = [(n, f"{100 * max(v.total[n], 0.0):.1f} %", f"{100 * result.blame[n]:.1f} %") for n in order]
    return table(rows, (f"what moves [{v.limit}]", "of its variance", "of the scrap saved if nominal"))


def _setting(result: WindowResult) -> str:
    c = result.centre
    low = "below what was looked at" if c.low is None else f"{100 * c.low:.1f} %"
    high = "above what was looked at" if c.high is None else f"{100 * c.high:.1f} %"
    place = "the least setting of the best yield is" if c.open_top else "the middle of the window is"
    return (
        f"setting of the source: as drawn all stations pass from {low} to {high} of it; {place} "
        f"{100 * c.setting:.1f} %\n  yield (limits of materials counted too) {100 * c.yield_now:.1f} % now, "
        f"{100 * c.yield_there:.1f} % there"
        + ("" if c.source_end is None else f"; the source gives no more from {100 * c.source_end:.1f} % on")
    )


def _readings(result: WindowResult) -> str:
    if not result.sights:
        return ""
    return "\n".join(
        ["what would show it (common practice for what a reading is worth)", *(f"  {s.said}" for s in result.sights)]
    )


def _sampling(result: WindowResult) -> str:
    rows = [(f"less than {100 * s.share:g} % bad", f"{s.parts}", f"{100 * s.chance:.0f} %") for s in result.sampling]
    return table(rows, ("to prove at 95 %", "good ones in a row", "chance to pass"))
