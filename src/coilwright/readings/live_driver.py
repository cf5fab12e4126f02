"""The driver table: which commands an instrument is asked with. Built in, or a TOML file of the user's own."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from coilwright.errors import BadInput, Fault

Meaning = Literal["Ls", "Rs", "Lp", "Rp", "Cs", "Cp", "Q", "D", "Z", "phase", "X", "f", "-"]
Sample = Literal["int8", "uint8", "int16", "uint16", "real32", "real64", "text"]
Command = Annotated[str, Field(max_length=500)]
Seconds = Annotated[float, Field(gt=0.0, le=600.0)]


class _Driver(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    prepare: tuple[Command, ...] = ()
    error: Command = ""
    timeout: Seconds = 5.0


class LcrDriver(_Driver):
    """How an LCR meter is asked; `answer` says what its numbers are."""

    kind: Literal["lcr"]
    frequency: Command = ""
    measure: Command
    answer: tuple[Meaning, ...]


class ScopeDriver(_Driver):
    """How a scope is asked; `scale` and `offset` are numbers or queries for them."""

    kind: Literal["scope"]
    channels: Annotated[tuple[str, ...], Field(min_length=1, max_length=64)]
    data: Command
    sample: Sample
    order: Literal["big", "little"] = "big"
    step: Command
    start: Command = ""
    scale: float | Command = 1.0
    offset: float | Command = 0.0
    unit: str = ""


Driver = LcrDriver | ScopeDriver
_KINDS: Mapping[str, type[LcrDriver | ScopeDriver]] = {"lcr": LcrDriver, "scope": ScopeDriver}


def driver(kind: str, named: str | Path | None = None) -> Driver:
    """The driver for an instrument of `kind` ("lcr" or "scope").

    `named` is a table of the built-in file, a TOML file with one table, or "file.toml:table". Raises BadInput.
    """
    if kind not in _KINDS:
        raise BadInput(Fault("--as", f'must be lcr or scope for a live reading; received "{kind[:40]}"'))
    text = str(named or kind)
    place, _, table = text.partition(".toml:")
    if text.endswith(".toml") or table:
        file = Path(f"{place}.toml" if table else text)
        return _of_file(file, table or None, kind)
    built_in = tomllib.loads((files("coilwright.readings") / "live_drivers.toml").read_text(encoding="utf-8"))
    if text not in built_in:
        what = f"is no built-in driver; there are {', '.join(built_in)}, or name a file of your own that ends in .toml"
        raise BadInput(Fault(f'driver "{text[:60]}"', what))
    return _checked(built_in[text], f'driver "{text}"', kind)


def _of_file(file: Path, table: str | None, kind: str) -> Driver:
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BadInput(Fault(str(file), "is not there; give the path of a driver file")) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(Fault(str(file), f"is not TOML: {error}")) from None
    fitting = [n for n, t in tables.items() if isinstance(t, dict) and t.get("kind") == kind]
    name = table or (fitting[0] if len(fitting) == 1 else None)
    if name is None or name not in tables:
        what = (
            f'must hold one table with kind = "{kind}", or say which, e.g. {file.name}:NAME; it has {", ".join(tables)}'
        )
        raise BadInput(Fault(str(file), what))
    return _checked(tables[name], f"{file}: [{name}]", kind)


def _checked(raw: Any, where: str, kind: str) -> Driver:
    try:
        return _KINDS[kind].model_validate(raw)
    except ValidationError as error:
        faults = []
        for e in error.errors():
            key = ".".join(str(part) for part in e["loc"])
            faults.append(
                Fault(f"{where}: {key}", f"{e['msg'][:1].lower()}{e['msg'][1:]}; see live_drivers.toml for the keys")
            )
        raise BadInput(faults) from None
