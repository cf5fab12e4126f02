"""The command that writes paper: pack."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from coilwright.cli.console import FAILS_ACCEPTANCE, folder, print_json, progress
from coilwright.errors import BadInput, Fault


@dataclass(frozen=True)
class Asked:
    """The options of `pack` as typed."""

    out: Path
    date: str | None
    language: str | None
    rates: Path | None
    limits: bool
    filled: Path | None


def pack(path: Path, as_json: bool, asked: Asked) -> int:
    from coilwright.job import load

    job = load(path)
    target = folder(asked.out) or asked.out
    if asked.filled is not None:
        return _record(path, asked.filled, target, as_json)
    from coilwright.steps.pack import pack as write

    with progress("pack", as_json) as advance:
        result = write(
            job,
            target,
            date=asked.date,
            language=asked.language,
            rates=asked.rates,
            limits=asked.limits,
            report=advance,
        )
    if as_json:
        print_json(result.to_dict())
    else:
        print(result)
    return 0 if result.passed else FAILS_ACCEPTANCE


def _record(path: Path, filled: Path, target: Path, as_json: bool) -> int:
    """The job with the readings of a filled form, as a new file: nothing stored is overwritten."""
    from coilwright.job import load
    from coilwright.steps.pack import with_record

    job = with_record(load(path), filled)
    written = target / f"{path.stem}-handed-over.toml"
    if written.exists():
        raise BadInput(
            Fault(str(written), "exists already and is not overwritten; remove it first or name another --out")
        )
    written.write_text(job.text, encoding="utf-8")
    count = len(job.later["machine"]["reading"])
    if as_json:
        print_json({"file": str(written), "readings": count})
    else:
        print(
            f"written: {written}, the job with {count} readings under [machine]; now  coilwright line limits {written}"
        )
    return 0
