"""The commands about what is kept: keep, find, and store show|coil|capacitor|machine|export|backup|restore."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from coilwright.cli.console import guarded, print_json, table
from coilwright.cli.record_texts import above_zero, amount, cans_text, coils_text, day, like_text, measured, needed
from coilwright.errors import BadInput, Fault

if TYPE_CHECKING:
    from coilwright.store.opening import Store

AsJson = Annotated[bool, typer.Option("--json", help="print one JSON object on stdout and nothing else")]
Place = Annotated[
    str | None,
    typer.Option(
        "--store", metavar="PLACE", envvar="COILWRIGHT_STORE", show_default=False,
        help="a file or postgresql://user@host/name (default: store.db in your data folder)",
    ),
]  # fmt: skip
JobFile = Annotated[Path, typer.Argument(help="the job file", metavar="JOB", show_default=False)]
Replace = Annotated[bool, typer.Option("--replace", help="give up what stands there now")]

app = typer.Typer(no_args_is_help=True, help="What is kept between sessions: look, add, copy, put back.")


def keep(
    job: JobFile,
    name: Annotated[str | None, typer.Option("--as", metavar="NAME", help="its name (default: the title)")] = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="why this version")] = "",
    same: Annotated[bool, typer.Option("--same", help="this file is the next version of the job of that name")] = False,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Keep this job file in the store; the same text is not kept twice."""

    def work(store: Store) -> int:
        from coilwright.job import load
        from coilwright.steps import store as steps

        kept = steps.keep(load(job), store, name=name, note=note, same=same)
        if as_json:
            print_json(kept.to_dict())
        else:
            said = "kept as" if kept.new else "is the same text as"
            print(f'{job} {said} version {kept.version.number} of "{kept.version.job}"')
            if kept.lacks:
                print(f"it will not be found by mass, depths or power, since it cannot be computed: {kept.lacks}")
        return 0

    _with_store(as_json, place, work)


def find(
    what: Annotated[list[str] | None, typer.Argument(metavar="[JOB] [WORDS]", show_default=False)] = None,
    mass: Annotated[str | None, typer.Option("--mass", metavar="MASS", help='of the parts, e.g. "12 g"')] = None,
    depths: Annotated[
        float | None, typer.Option("--depths", metavar="NUMBER", help="size of the part in skin depths, hot")
    ] = None,
    winding: Annotated[str | None, typer.Option("--winding", metavar="KIND", help="helix, spiral or turns")] = None,
    power: Annotated[str | None, typer.Option("--power", metavar="POWER", help='into the parts, e.g. "1.5 kW"')] = None,
    frequency: Annotated[str | None, typer.Option("--frequency", metavar="FREQUENCY", help='e.g. "100 kHz"')] = None,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Look up kept jobs like a job file, like figures, or with words of a title."""

    def work(store: Store) -> int:
        from coilwright.job import load
        from coilwright.steps.store import find as look

        files = [w for w in what or [] if w.endswith(".toml") or Path(w).is_file()]
        if len(files) > 1:
            raise BadInput(Fault("find", f"takes one job file to compare with; received {', '.join(files)}"))
        words = " ".join(w for w in what or [] if w not in files)
        wanted = {
            "mass_kg": amount(mass, "mass", "--mass"), "depths": above_zero(depths, "--depths"), "winding": winding,
            "power_W": amount(power, "power", "--power"),
            "frequency_Hz": amount(frequency, "frequency", "--frequency"),
        }  # fmt: skip
        if winding not in (None, "helix", "spiral", "turns"):
            raise BadInput(Fault("--winding", f'must be helix, spiral or turns; received "{winding}"'))
        asked = {k: v for k, v in wanted.items() if v is not None}
        found = look(store, load(files[0]) if files else None, asked, words)
        if as_json:
            print_json({"like": [f.to_dict() for f in found]})
        else:
            print(like_text(found))
        return 0

    _with_store(as_json, place, work, made=False)


@app.command()
def show(
    name: Annotated[str | None, typer.Argument(metavar="JOB", help="one job in full", show_default=False)] = None,
    version: Annotated[int | None, typer.Option("--version", min=1, help="which version (default: the newest)")] = None,
    text: Annotated[bool, typer.Option("--text", help="print the job file itself")] = False,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """What the store holds, or one job with its versions, trials and what they taught."""

    def work(store: Store) -> int:
        if name is None:
            return _overview(store, as_json)
        found = store.job(name, version)
        if text:
            print(found.text, end="")
            return 0
        return _one_job(store, found.job, as_json)

    _with_store(as_json, place, work, made=False)


@app.command()
def coil(
    name: Annotated[
        str | None, typer.Argument(metavar="COIL", help="what is written on it", show_default=False)
    ] = None,
    job: Annotated[Path | None, typer.Option("--job", metavar="JOB", help="the design", show_default=False)] = None,
    inductance: Annotated[
        str | None, typer.Option("--inductance", metavar="VALUE", help='e.g. "0.42 uH ± 2 nH"')
    ] = None,
    resistance: Annotated[
        str | None, typer.Option("--resistance", metavar="VALUE", help='e.g. "12 mohm ± 3 %"')
    ] = None,
    frequency: Annotated[
        str | None, typer.Option("--frequency", metavar="FREQUENCY", help="at which they were read")
    ] = None,
    loaded: Annotated[bool, typer.Option("--loaded", help="read with the parts in place (cold)")] = False,
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="instrument, conditions")] = "",
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Coils as built: add what an LCR meter read, beside what the design says there; without readings, list them."""

    def work(store: Store) -> int:
        from coilwright.job import load
        from coilwright.steps import store as steps
        from coilwright.store.records import CoilReading, as_table

        if name is None or not (inductance or resistance or frequency):
            found = store.coils() if name is None else (store.coil(name),)
        else:
            (henry, henry_sigma), (ohm, ohm_sigma) = (
                measured(inductance, "inductance", "--inductance"), measured(resistance, "resistance", "--resistance")
            )  # fmt: skip
            hertz = needed(frequency, "frequency", "--frequency")
            reading = CoilReading(hertz, henry, ohm, henry_sigma, ohm_sigma, "loaded" if loaded else "empty", how=how)
            design = None if job is None else load(job)
            kept = None if design is None else steps.keep(design, store).version
            found = (steps.measured_coil(store, name, reading, design, kept),)
        if as_json:
            print_json({"coils": [as_table(c) for c in found]})
        else:
            print(
                coils_text(found) or "no coils yet; add one with  coilwright store coil NAME --job JOB --inductance ..."
            )
        return 0

    _with_store(as_json, place, work)


@app.command()
def capacitor(
    name: Annotated[str | None, typer.Argument(metavar="CAPACITOR", help="its marking", show_default=False)] = None,
    stock: Annotated[
        Path | None, typer.Option("--stock", metavar="FILE", help="put those of a stock file on the shelf")
    ] = None,
    count: Annotated[int | None, typer.Option("--count", min=0, help="how many lie there now")] = None,
    capacitance: Annotated[
        str | None, typer.Option("--capacitance", metavar="VALUE", help='as measured, "0.325 uF ± 1 nF"')
    ] = None,
    resistance: Annotated[
        str | None, typer.Option("--resistance", metavar="VALUE", help='in series, as measured, "2 mohm"')
    ] = None,
    frequency: Annotated[
        str | None, typer.Option("--frequency", metavar="FREQUENCY", help="at which they were read")
    ] = None,
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="instrument, conditions")] = "",
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="write the shelf as a stock file")] = None,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Capacitors on the shelf: take over a stock file, add what was measured, write the shelf as a stock file."""

    def work(store: Store) -> int:
        from coilwright.steps.store import shelve
        from coilwright.store.records import CanReading, as_table
        from coilwright.store.shelf import stock_csv

        if stock is not None:
            shelve(store, stock)
        if capacitance or resistance or frequency or count is not None:
            if name is None:
                raise BadInput(
                    Fault("store capacitor", "needs the marking of the capacitor that was counted or measured")
                )
            reading = None
            if capacitance or resistance or frequency:
                farad, farad_sigma = measured(capacitance, "capacitance", "--capacitance")
                ohm, ohm_sigma = (
                    (None, None) if resistance is None else measured(resistance, "resistance", "--resistance")
                )
                hertz = needed(frequency, "frequency", "--frequency")
                reading = CanReading(hertz, farad, farad_sigma, ohm, ohm_sigma, how)
            _shelf_entry(store, name, reading, count)
        found = store.cans() if name is None else (store.can(name),)
        if out is not None:
            if out.exists():
                raise BadInput(Fault(str(out), "exists already and is not overwritten; choose another name"))
            out.write_text(stock_csv(found), encoding="utf-8")
        if as_json:
            print_json({"capacitors": [as_table(c) for c in found]})
        else:
            print(cans_text(found) or "no capacitors yet; add them with  coilwright store capacitor --stock FILE")
        return 0

    _with_store(as_json, place, work)


@app.command()
def machine(
    name: Annotated[str, typer.Argument(metavar="MACHINE", help="as in the shot log", show_default=False)],
    job: Annotated[
        Path | None, typer.Argument(metavar="[JOB]", help="take the hand-over from its [machine]", show_default=False)
    ] = None,
    model: Annotated[bool, typer.Option("--model", help="keep what the model says beside it (takes a while)")] = False,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Hand-overs of a machine: what it read when it was right; with a job file, keep its [machine] as one."""

    def work(store: Store) -> int:
        from coilwright.job import load
        from coilwright.steps.store import hand_over
        from coilwright.store.records import as_table

        if job is not None:
            hand_over(store, name, load(job), model=model)
        found = store.hand_overs(name)
        if as_json:
            print_json({"machine": name, "hand_overs": [as_table(h) for h in found]})
            return 0
        for h in found:
            print(f"{name}: hand-over kept {day(h.when)}" + (f', job "{h.job}" version {h.version}' if h.job else ""))
            rows = [(r.what, str(r.station or "whole"), r.condition, r.state, f"{r.value:.5g}", f"{r.sigma:.2g}",
                     "" if r.predicted is None else f"{r.predicted:.5g}") for r in h.readings]  # fmt: skip
            print(table(rows, ("reading", "station", "", "", "value (SI)", "one sigma", "model")))
        return 0

    _with_store(as_json, place, work)


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="a new folder", show_default=False)],
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Write everything as plain files (TOML, CSV, JSON) that anyone can read without this program."""

    def work(store: Store) -> int:
        return _copied(as_json, "written", str(folder), store.export(folder))

    _with_store(as_json, place, work, made=False)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="e.g. backup.zip", show_default=False)],
    replace: Replace = False,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Write the whole store into one checked file, while others go on using it."""

    def work(store: Store) -> int:
        return _copied(as_json, "written", str(file), store.back_up(file, replace=replace).rows)

    _with_store(as_json, place, work, made=False)


@app.command()
def restore(
    source: Annotated[Path, typer.Argument(metavar="BACKUP", help="a back-up, or an export", show_default=False)],
    replace: Replace = False,
    place: Place = None,
    as_json: AsJson = False,
) -> None:
    """Put a back-up or an export into the store; checked first, and nothing is given up unless you say --replace."""

    def work() -> int:
        from coilwright.store.backup import restore as put_back

        done = put_back(place, source, replace=replace)
        return _copied(as_json, "put back into", done.path, done.rows)

    guarded(as_json, work)


def _with_store(as_json: bool, place: str | None, work: Callable[[Store], int], made: bool = True) -> None:
    """Run `work` on the open store; without `made` a store that is not there yet is not made by looking into it."""

    def run() -> int:
        from coilwright.store.database import exists
        from coilwright.store.opening import open_store

        if not made and not exists(place):
            what = "there is no store yet; keep a job first:  coilwright keep JOB"
            raise BadInput(Fault(place or "store", what))
        with open_store(place) as store:
            return work(store)

    guarded(as_json, run)


def _copied(as_json: bool, said: str, where: str, rows: Any) -> int:
    filled = {k.replace("_", " "): n for k, n in rows.items() if n}
    if as_json:
        print_json({"path": where, "rows": dict(rows)})
    else:
        print(f"{said} {where}: " + (", ".join(f"{n} {k}" for k, n in sorted(filled.items())) or "an empty store"))
    return 0


def _overview(store: Store, as_json: bool) -> int:
    jobs, coils, cans, machines = store.jobs(), store.coils(), store.cans(), store.machines()
    if as_json:
        listed = [{"name": j.name, "kept_s": j.when, "versions": j.versions, "trials": j.trials} for j in jobs]
        print_json({
            "store": store.place, "jobs": listed, "coils": [c.name for c in coils],
            "capacitors": [c.name for c in cans], "machines": list(machines),
        })  # fmt: skip
        return 0
    print(store.place)
    rows = [(j.name, str(j.versions), str(j.trials), day(j.when)) for j in jobs]
    print(table(rows, ("job", "versions", "trials", "first kept")) if rows else "no jobs yet")
    for label, names in (
        ("coils", [c.name for c in coils]),
        ("capacitors", [c.name for c in cans]),
        ("machines", machines),
    ):
        if names:
            print(f"{label}: {', '.join(names)}")
    return 0


def _one_job(store: Store, name: str, as_json: bool) -> int:
    from coilwright.store.records import as_table

    versions, trials, taught = store.versions_of(name), store.trials_of(name), store.fitted_of(name)
    if as_json:
        listed = [{k: v for k, v in as_table(x).items() if k not in ("text", "job")} for x in versions]
        print_json({
            "job": name, "versions": listed, "trials": [as_table(t) for t in trials],
            "fitted": [as_table(f) for f in taught], "readings": [as_table(r) for r in store.readings_of(name)],
        })  # fmt: skip
        return 0
    print(name)
    print(
        table(
            [(str(v.number), day(v.when), " / ".join(v.note.splitlines())) for v in versions],
            ("version", "kept", "note"),
        )
    )
    if trials:
        rows = [(str(t.number), day(t.when), t.coil, "" if t.gap_m is None else f"{1e3 * t.gap_m:g} mm", t.outcome)
                for t in trials]  # fmt: skip
        print("\n" + table(rows, ("trial", "run", "coil", "gap", "outcome")))
    if taught:
        rows2 = [(f.key, f.value, f.uncertainty, f"trial {f.trial}", "" if f.written_to is None else f"version {f.written_to}")
                 for f in taught]  # fmt: skip
        print("\n" + table(rows2, ("taught", "value", "±", "by", "written to")))
    return 0


def _shelf_entry(store: Store, name: str, reading: Any, count: int | None) -> None:
    """A reading and a new count of capacitors on the shelf; a marking that is new takes the measured value as its own."""
    from dataclasses import replace

    from coilwright.store.records import CanRecord

    there = next((c for c in store.cans() if c.name == name.strip()), None)
    if there is None and reading is None:
        store.can(name)  # says that it is unknown
    elif there is None:
        store.put_can(CanRecord(name, 1 if count is None else count, reading.capacitance, readings=(reading,)))
    else:
        readings = () if reading is None else (reading,)
        store.put_can(replace(there, count=there.count if count is None else count, readings=readings))
