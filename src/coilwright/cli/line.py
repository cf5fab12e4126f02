"""The commands about a machine in use: line add, line show, line rehearse, why."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from coilwright.cli.console import folder, guarded, print_json, table

if TYPE_CHECKING:
    from coilwright.line.watch import Watch
    from coilwright.line.why import Answer, Ranked

AsJson = Annotated[bool, typer.Option("--json", help="print one JSON object on stdout and nothing else")]
Store = Annotated[
    str,
    typer.Option(
        "--store", metavar="FILE", envvar="COILWRIGHT_STORE", help="the shot log: a file, or a database address"
    ),
]
Machine = Annotated[str | None, typer.Option("--machine", metavar="NAME", help="which machine, when there are several")]
JobFile = Annotated[Path, typer.Argument(help="the job file", metavar="JOB", show_default=False)]
OutFolder = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="write pictures and files here", show_default=False)
]
_STORE = "shots.db"

app = typer.Typer(no_args_is_help=True, help="The shot log of a machine: add to it, look at it, rehearse a fault.")


@app.command()
def add(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="a log file of the machine (CSV)", show_default=False)],
    mapping: Annotated[
        Path, typer.Option("--map", metavar="FILE", help="TOML that names the columns", show_default=False)
    ],
    store: Store = _STORE,
    as_json: AsJson = False,
) -> None:
    """Read a log file; doubtful rows are kept aside with the reason. Reading it twice changes nothing."""
    guarded(as_json, lambda: _add(log, mapping, store, as_json))


@app.command()
def listen(
    address: Annotated[str, typer.Argument(metavar="ADDRESS", help="mqtt://host:port/topic", show_default=False)],
    mapping: Annotated[
        Path, typer.Option("--map", metavar="FILE", help="TOML that names the keys", show_default=False)
    ],
    store: Store = _STORE,
    during: Annotated[
        str | None, typer.Option("--for", metavar="TIME", help='how long, e.g. "10 min" (default: until stopped)')
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take shots as a machine publishes them over MQTT; acknowledged only when they are in the store to stay."""
    guarded(as_json, lambda: _listen(address, mapping, store, during, as_json))


@app.command()
def show(store: Store = _STORE, machine: Machine = None, out: OutFolder = None, as_json: AsJson = False) -> None:
    """Charts and tests: stations, trays, lots, shifts, drift, the day it changed."""
    guarded(as_json, lambda: _show(store, machine, out, as_json))


@app.command()
def aside(
    store: Store = _STORE,
    most: Annotated[int, typer.Option("--most", min=1, max=100_000, help="how many, the latest first")] = 20,
    as_json: AsJson = False,
) -> None:
    """Rows and messages that were not taken, word for word, with the reason."""
    guarded(as_json, lambda: _aside(store, most, as_json))


@app.command()
def summarise(
    days: Annotated[float, typer.Option("--days", help="shots older than this become sums", show_default=False)],
    store: Store = _STORE,
    machine: Machine = None,
    look: Annotated[bool, typer.Option("--look", help="only say what would be done")] = False,
    as_json: AsJson = False,
) -> None:
    """Keep old shots as sums by hour and drop them singly; charts and tests go on over both."""
    guarded(as_json, lambda: _summarise(store, days, machine, look, as_json))


@app.command()
def rehearse(
    job: JobFile,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="where the files go")] = Path("out/rehearsal"),
    seed: Annotated[int, typer.Option("--seed", min=0, help="the same seed makes the same case")] = 1,
    fault: Annotated[str | None, typer.Option("--fault", metavar="KEY", help="which fault (default: drawn)")] = None,
    station: Annotated[int | None, typer.Option("--station", min=1, help="at which station")] = None,
    size: Annotated[float | None, typer.Option("--size", help="how large, in the unit of that fault")] = None,
    trays: Annotated[int, typer.Option("--trays", min=5, max=200_000, help="trays counted with the fault")] = 60,
    as_json: AsJson = False,
) -> None:
    """Make a practice case from the job's own model: a log, its map, readings, and the answer in a file apart."""
    guarded(as_json, lambda: _rehearse(job, out, as_json, seed, fault, station, size, trays))


@app.command()
def limits(job: JobFile, as_json: AsJson = False) -> None:
    """Green, amber and red of every reading of the hand-over record, and what the record lacks."""
    guarded(as_json, lambda: _limits(job, as_json))


@app.command()
def record(job: JobFile, as_json: AsJson = False) -> None:
    """The hand-over record beside the model: what agrees, what does not, what is still to be read."""
    guarded(as_json, lambda: _record(job, as_json))


@app.command()
def move(
    job: JobFile,
    station: Annotated[int, typer.Option("--station", min=1, help="whose coil is moved")] = 1,
    back: Annotated[str, typer.Option("--back", metavar="LENGTH", help="how far, away from the part")] = "1 mm",
    as_json: AsJson = False,
) -> None:
    """Move one coil on purpose: the steps, what every reading ought to do, and what the record says it did."""
    guarded(as_json, lambda: _move(job, station, back, as_json))


def why_command(
    job: JobFile,
    readings: Annotated[
        Path | None,
        typer.Option("--readings", metavar="FILE", help="TOML with readings and tallies", show_default=False),
    ] = None,
    store: Annotated[
        str | None,
        typer.Option("--store", metavar="FILE", help="take the tally from this shot log", show_default=False),
    ] = None,
    machine: Machine = None,
    out: OutFolder = None,
    as_json: AsJson = False,
) -> None:
    """Which cause explains these readings and tallies, how surely, and what to measure next."""
    guarded(as_json, lambda: _why(job, readings, store, machine, out, as_json))


def _add(log: Path, mapping: Path, store: str, as_json: bool) -> int:
    from coilwright.steps.shot_log import line_add

    got = line_add(log, mapping, store)
    if as_json:
        print_json(got.to_dict())
        return 0
    print(f"{got.file}: {got.rows} rows read, {got.written} new shots of {got.machine}, {got.known} known before")
    for reason, number in sorted(got.aside.items()):
        print(f"  set aside: {number} {reason}")
    return 0


def _listen(address: str, mapping: Path, store: str, during: str | None, as_json: bool) -> int:
    from coilwright.cli.console import say
    from coilwright.steps.shot_log import line_listen

    with _until(during) as stop:
        got = line_listen(address, mapping, store, stop=stop, say=say)
    if as_json:
        print_json(got.to_dict())
        return 0
    h = got.heard
    print(f"{got.address}: {h.messages} messages, {h.written} new shots of {got.machine}, {h.known} known before")
    for reason, number in sorted(h.aside.items()):
        print(f"  set aside: {number} {reason}")
    return 0


def _aside(store: str, most: int, as_json: bool) -> int:
    from coilwright.steps.shot_log import line_aside

    found = line_aside(store, most)
    if as_json:
        print_json(found.to_dict())
        return 0
    print("set aside: " + (", ".join(f"{n} {reason}" for reason, n in found.numbers.items()) or "nothing"))
    for r in found.rows:
        print(f"  row {r.row} {r.why} ({r.reason}):\n    {r.text}")
    return 0


def _summarise(store: str, days: float, machine: str | None, look: bool, as_json: bool) -> int:
    from coilwright.steps.shot_log import line_summarise

    done = line_summarise(store, days, machine, look)
    if as_json:
        print_json({"machines": [x.to_dict() for x in done]})
        return 0
    for x in done:
        print(x)
    return 0


@contextmanager
def _until(during: str | None) -> Iterator[Callable[[], bool]]:
    """Whether it is time to stop: after `during`, on Ctrl+C, or when the system asks; never in the middle of a shot."""
    import signal
    import threading
    import time

    from coilwright.cli.compute import time_given

    end = math.inf if during is None else time.monotonic() + time_given("--for", during)
    asked = threading.Event()
    before = {}
    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGINT, signal.SIGTERM):
            before[number] = signal.signal(number, lambda *_: asked.set())
    try:
        yield lambda: asked.is_set() or time.monotonic() > end
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _show(store: str, machine: str | None, out: Path | None, as_json: bool) -> int:
    from coilwright.cli.compute import list_files
    from coilwright.steps.line import line_show

    target = folder(out)
    found = line_show(store, machine)
    written: list[Path] = []
    if target is not None:
        from coilwright.pack.line_pictures import watch_pictures

        written = watch_pictures(found, target)
    if as_json:
        print_json(found.to_dict() | {"files": [str(p) for p in written]})
    else:
        print(_watch_text(found))
        list_files(written)
    return 0


def _watch_text(w: Watch) -> str:
    rows = [
        (str(k), str(n), str(b), f"{100 * b / n:.2f} %", f"{p:.2g}")
        for k, n, b, p in zip(w.stations.keys, w.stations.tried, w.stations.bad, w.against_rest, strict=True)
    ]
    head = ("station", "tried", "bad", "share", "p of being so bad by chance (Holm)")
    return "\n".join([f"machine {w.machine}", *(f"  {s}" for s in w.said), "", table(rows, head)])


def _limits(path: Path, as_json: bool) -> int:
    from coilwright.job import load
    from coilwright.steps.line import line_limits

    found = line_limits(load(path))
    if as_json:
        print_json(found.to_dict())
        return 0
    rows = [x.row for x in found.limits if not x.alike]
    print(table(rows, ("reading", "station", "when", "amber", "red", "can be seen")))
    if found.missing:
        print("\nthe hand-over record lacks:")
        print("\n".join(f"  {m}" for m in found.missing))
    return 0


def _record(path: Path, as_json: bool) -> int:
    from coilwright.job import load
    from coilwright.steps.line import line_record

    found = line_record(load(path))
    if as_json:
        print_json(found.to_dict())
        return 0
    print(f"the source holds the {found.control}; {found.gain}")
    if found.rows:
        rows = [
            (r.what, str(r.station or "whole"), f"{r.measured:.6g}", f"{r.sigma:.2g}",
             "" if r.predicted is None else f"{r.predicted:.6g}", r.against,
             "" if r.apart is None else f"{r.apart:+.1f}" + ("" if r.agrees else " look"))
            for r in found.rows
        ]  # fmt: skip
        print(table(rows, ("reading, SI", "station", "measured", "+-", "predicted", "by the", "apart, sigma")))
    if found.lacking:
        print("\nthe record lacks:\n" + "\n".join(f"  {m}" for m in found.lacking))
    return 0


def _move(path: Path, station: int, back: str, as_json: bool) -> int:
    from coilwright.errors import BadInput, Fault
    from coilwright.job import load
    from coilwright.steps.line import line_move
    from coilwright.units import UnitFault, parse

    try:
        length = parse(back, "length")
    except UnitFault as fault:
        raise BadInput(Fault("--back", str(fault))) from None
    step = line_move(load(path), station, length)
    if as_json:
        print_json(step.to_dict())
        return 0
    print("\n".join(f"{n}. {text}" for n, text in enumerate(step.steps, 1)))
    rows = [
        (s.what, f"{100 * math.expm1(s.predicted):+.2f} %", f"{100 * s.sigma:.2f} %", "yes" if s.seen else "no",
         "" if s.measured is None else f"{100 * math.expm1(s.measured):+.2f} %",
         "" if s.gain is None else f"{s.gain:.2f} +- {s.gain_sigma:.2f}")
        for s in step.rows
    ]  # fmt: skip
    print("\n" + table(rows, ("reading", "predicted", "+-", "can be seen", "measured", "times the model")))
    print(f"\n{step.gain}\n\nto fill in:\n\n{step.to_fill_in}\n\ncautions")
    print("\n".join(f"  {c}" for c in step.cautions))
    return 0


def _rehearse(path: Path, out: Path, as_json: bool, seed: int, fault: str | None, station: int | None,
              size: float | None, trays: int) -> int:  # fmt: skip
    from coilwright.job import load
    from coilwright.steps.line import line_rehearse

    target = folder(out) or out
    got = line_rehearse(load(path), target, seed=seed, fault=fault, station=station, size=size, trays=trays)
    if as_json:
        print_json(got.to_dict())
    else:
        print("written: " + ", ".join(str(f) for f in got.files))
        print(f"work from the first three; what was wrong stands in {got.files[-1].name}")
    return 0


def _why(path: Path, readings: Path | None, store: str | None, machine: str | None, out: Path | None, as_json: bool) -> int:
    from coilwright.cli.compute import list_files
    from coilwright.job import load
    from coilwright.steps.line import service_files, service_visit

    target = folder(out)
    visit = service_visit(load(path), readings, store, machine)
    written = [] if target is None else service_files(visit, target)
    if as_json:
        print_json(visit.answer.to_dict() | {"files": [str(p) for p in written]})
    else:
        print(_answer_text(visit.answer))
        list_files(written)
    return 0


def _size_text(r: Ranked) -> str:
    if r.size is None:
        return ""
    low, middle, high = r.size
    return f"{middle:.2g} ({low:.2g} to {high:.2g}) {r.unit}"


def _answer_text(a: Answer) -> str:
    from coilwright.line.machine import READINGS

    out = [a.said, ""]
    rows = [(f"{100 * r.probability:.0f} %", r.name, _size_text(r)) for r in a.ranked if r.probability > 0.005]
    out.append(table(rows, ("likely", "cause", "size, 90 % interval")))
    top = a.ranked[0]
    for title, lines in (("for", top.speaks_for), ("against", top.speaks_against)):
        out += [f"  speaks {title} the first: {line}" for line in lines]
    if a.told != "nothing":
        out += ["", f"do: {top.remedy}"]
        if top.look_for:
            out.append(f"look for: {top.look_for}")
        out.append(f"scrap now about {100 * a.scrap_now:.2g} %, after the correction about {100 * a.scrap_after:.2g} %")
    if a.next:
        ask = [
            (n.what, READINGS[n.what].asked, f"{n.bits:.2f} bit", f"{n.minutes:g} min", f"{n.rate:.3f} bit/min")
            for n in a.next
        ]
        out += ["", table(ask, ("next reading", "what it is", "tells", "takes", "rate"))]
    out += [""] + [f"warning: {w}" for w in a.warnings]
    out += ["cautions", *(f"  {c}" for c in a.cautions)]
    return "\n".join(out)
