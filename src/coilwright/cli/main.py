"""The `coilwright` program: one command per verb of the job. Heavy imports happen inside the commands."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from coilwright.cli import line, records, trial
from coilwright.cli.console import Exit, guarded
from coilwright.collector import none_at_the_end

JobFile = Annotated[Path, typer.Argument(help="the job file", metavar="JOB", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="print one JSON object on stdout and nothing else")]
OutFolder = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="write pictures and files here", show_default=False)
]

app = typer.Typer(
    name="coilwright",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="From an enquiry to a service call: the computation behind made-to-order induction heating.",
)


@app.callback(invoke_without_command=True)
def root(
    version: Annotated[bool, typer.Option("--version", help="print the version and leave", is_eager=True)] = False,
) -> None:
    if version:
        import coilwright

        print(coilwright.__version__)
        raise typer.Exit(0)


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="the job file to write", show_default=False)],
    like: Annotated[str, typer.Option("--like", metavar="KIND", help="what it is about")] = "ring-through-glass",
    as_json: AsJson = False,
) -> None:
    """Write an annotated job file to start from."""
    from coilwright.cli import jobs

    guarded(as_json, lambda: jobs.new(file, like, as_json))


@app.command()
def check(job: JobFile, as_json: AsJson = False, out: OutFolder = None) -> None:
    """Read the job, draw its section, say what looks doubtful."""
    from coilwright.cli import jobs

    guarded(as_json, lambda: jobs.check(job, as_json, out))


@app.command()
def quick(job: JobFile, as_json: AsJson = False, out: OutFolder = None) -> None:
    """The hand calculation: energy, skin depth, frequency, power, supply."""
    from coilwright.cli import jobs

    guarded(as_json, lambda: jobs.quick(job, as_json, out))


@app.command()
def field(
    job: JobFile,
    as_json: AsJson = False,
    out: OutFolder = None,
    fine: Annotated[bool, typer.Option("--fine", help="finer meshes (slower, for a last look)")] = False,
) -> None:
    """The cold field: L, R, Q with and without the part, power in every body."""
    from coilwright.cli import compute

    guarded(as_json, lambda: compute.field(job, as_json, out, fine))


@app.command()
def heat(
    job: JobFile,
    as_json: AsJson = False,
    out: OutFolder = None,
    every: Annotated[
        str | None, typer.Option("--every", metavar="TIME", help='report the trace at this interval, e.g. "0.1 s"')
    ] = None,
    shots: Annotated[int, typer.Option("--shots", min=1, max=50, help="shots in a row on the same part")] = 1,
    pause: Annotated[str, typer.Option("--pause", metavar="TIME", help="cooling time between shots")] = "60 s",
    watch: Annotated[
        str | None, typer.Option("--watch", metavar="TIME", help="look on for this long after switch-off")
    ] = None,
    fine: Annotated[bool, typer.Option("--fine", help="finer meshes and steps")] = False,
) -> None:
    """The shot: temperatures, charge, electrical trace, verdict against the acceptance."""
    from coilwright.cli import compute

    guarded(as_json, lambda: compute.heat(job, as_json, out, compute.Shots(every, shots, pause, watch, fine)))


@app.command()
def tank(job: JobFile, as_json: AsJson = False, out: OutFolder = None) -> None:
    """Capacitors, resonance, currents, stresses, source match, leads, water, cautions."""
    from coilwright.cli import machine

    guarded(as_json, lambda: machine.tank(job, as_json, out))


@app.command()
def window(
    job: JobFile,
    as_json: AsJson = False,
    out: OutFolder = None,
    shots: Annotated[
        int, typer.Option("--shots", min=100, max=2_000_000, help="virtual shots of all stations")
    ] = 100_000,
    runs: Annotated[
        int, typer.Option("--runs", min=0, max=5000, help="full shots to build on (0: as many as needed)")
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", min=0, help="of everything that is drawn")] = 1,
    workers: Annotated[int, typer.Option("--workers", min=1, max=256, help="processes for the full shots")] = 2,
    maps: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="A,B", help="a map of two quantities; may be repeated", show_default=False),
    ] = None,
    station: Annotated[
        int | None, typer.Option("--station", min=1, help="where faults are looked at", show_default=False)
    ] = None,
    readings: Annotated[bool, typer.Option("--readings/--no-readings", help="what readings show of faults")] = True,
    reshoot: Annotated[
        int, typer.Option("--reshoot", min=-1, help="most full shots of drawn parts in doubt (-1: and every failure)")
    ] = 200,
) -> None:
    """How far may each thing be out: yield, limits, causes of scrap, what would show a fault."""
    from coilwright.cli import study

    asked = study.Asked(shots, runs, seed, workers, maps or (), station, readings, reshoot)
    guarded(as_json, lambda: study.window(job, as_json, out, asked))


@app.command()
def seek(
    job: JobFile,
    as_json: AsJson = False,
    out: OutFolder = None,
    evaluations: Annotated[
        int, typer.Option("--evaluations", min=0, max=100_000, help="points to look at (0: as the job file says)")
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", min=0, help="of everything that is drawn")] = 1,
    workers: Annotated[int, typer.Option("--workers", min=1, max=256, help="processes for the shots")] = 2,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", metavar="ADDRESS", help="a dask scheduler instead", show_default=False),
    ] = None,
    points: Annotated[int, typer.Option("--points", min=1, max=100, help="most points of the front to show")] = 12,
    resume: Annotated[bool, typer.Option("--resume", help="carry on the search in --out; refuse when there is none")] = False,
) -> None:
    """Look for a better coil, frequency and tank within the bounds of [seek]."""
    from coilwright.cli import search

    asked = search.Asked(evaluations, seed, workers, scheduler, points, resume)
    guarded(as_json, lambda: search.seek(job, as_json, out, asked))


@app.command()
def bench(
    job: Annotated[
        Path | None, typer.Argument(metavar="[JOB]", help="a job file, or a folder of jobs", show_default=False)
    ] = None,
    port: Annotated[int | None, typer.Option("--port", help="where to listen (default: the first free from 8470)")] = None,
    host: Annotated[str, typer.Option("--host", help="let other machines in at this address; needs --token")] = "127.0.0.1",
    token: Annotated[
        str, typer.Option("--token", envvar="COILWRIGHT_TOKEN", help="what a browser must bring", show_default=False)
    ] = "",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="open it in the browser")] = True,
) -> None:
    """The local page: move the coil and watch."""
    from coilwright.cli import bench as page

    guarded(False, lambda: page.bench(job, host, port, token, browser))


@app.command()
def pack(
    job: JobFile,
    as_json: AsJson = False,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="where the pack goes")] = Path("out/pack"),
    date: Annotated[str | None, typer.Option("--date", metavar="DAY", help='of the documents, "2025-03-31"')] = None,
    language: Annotated[
        str | None, typer.Option("--language", metavar="CODE", help="of the operator's card: en, de, fr, es, pl")
    ] = None,
    rates: Annotated[
        Path | None, typer.Option("--rates", metavar="FILE", help="rates for the price, .toml or .csv", show_default=False)
    ] = None,
    limits: Annotated[bool, typer.Option("--limits/--no-limits", help="limits of readings, some seconds of shots")] = True,
    filled: Annotated[
        Path | None,
        typer.Option("--filled", metavar="FORM", help="read a filled hand-over form back into the job", show_default=False),
    ] = None,
) -> None:
    """The build pack: one PDF from offer to operator's card, drawings, tables, hand-over form."""
    from coilwright.cli import pack as paper

    guarded(as_json, lambda: paper.pack(job, as_json, paper.Asked(out, date, language, rates, limits, filled)))


@app.command()
def materials(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="one material in full", show_default=False)] = None,
    as_json: AsJson = False,
    out: OutFolder = None,
) -> None:
    """The library of materials with the source of every curve."""
    from coilwright.cli import jobs

    guarded(as_json, lambda: jobs.materials(name, as_json, out))


@app.command()
def demo(
    as_json: AsJson = False,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="where the pictures go")] = Path("out/demo"),
) -> None:
    """The main job on the built-in examples, pictures included."""
    from coilwright.cli import compute

    guarded(as_json, lambda: compute.demo(as_json, out))


@app.command()
def reading(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="[FILE...]", help="files of an instrument", show_default=False)
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--as", metavar="KIND", help="scope, lcr, analyser or temperature")
    ] = None,
    frequency: Annotated[
        str | None, typer.Option("--frequency", metavar="F", help="where L, R and Q are taken")
    ] = None,
    modes: Annotated[int | None, typer.Option("--rings", min=1, help="fit so many decaying rings to a capture")] = None,
    channel: Annotated[
        list[str] | None, typer.Option("--channel", metavar="NAME", help="voltage first, then current")
    ] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="of temperatures, where the file does not say")] = None,
    live: Annotated[
        str | None, typer.Option("--live", metavar="ADDRESS", help="ask an instrument on the bench (VISA address)")
    ] = None,
    listing: Annotated[bool, typer.Option("--instruments", help="list the instruments that answer")] = False,
    driver: Annotated[str | None, typer.Option("--driver", metavar="FILE", help="a driver file of your own")] = None,
    save: Annotated[Path | None, typer.Option("--save", metavar="FILE", help="where a live reading is kept")] = None,
    job: Annotated[str | None, typer.Option("--job", metavar="NAME", help="a kept job that it belongs to")] = None,
    store: Annotated[str | None, typer.Option("--store", metavar="PLACE", envvar="COILWRIGHT_STORE")] = None,
    backend: Annotated[str, typer.Option("--backend", metavar="NAME", help='of PyVISA, e.g. "@py"')] = "",
    as_json: AsJson = False,
) -> None:
    """What files of a scope, LCR meter, network analyser or thermometer say: f, Q, L, R, power, temperatures."""
    from coilwright.cli import instruments

    bench_side = instruments.Live(live, listing, driver, save, job, store, backend)
    guarded(
        as_json,
        lambda: instruments.read(files or (), kind, frequency, modes, channel or (), unit, as_json, bench_side),
    )


app.command(name="trial")(trial.trial_command)
app.command(name="keep")(records.keep)
app.command(name="find")(records.find)
app.add_typer(records.app, name="store")
app.add_typer(line.app, name="line")
app.command(name="why")(line.why_command)


def main(arguments: list[str] | None = None) -> None:
    """Entry point of the console script."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # small matrices: threads cost more than they bring
        os.environ.setdefault(name, "1")
    _plain_output()
    none_at_the_end()
    try:
        app(args=arguments, prog_name="coilwright")
    except Exit as leave:
        sys.exit(leave.code)


def _plain_output() -> None:
    """Print degree signs and ohms wherever the terminal's encoding is."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


if __name__ == "__main__":
    main()
