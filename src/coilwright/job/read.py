"""Read a job file: text to tables to a checked Job, every fault named at once."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.crosscheck import SECTIONS, cross_faults
from coilwright.job.faults import section_faults, suggestion
from coilwright.job.model import Job
from coilwright.job.schema_body import Body
from coilwright.job.schema_coil import Coil
from coilwright.job.schema_process import Accept, Contact, Drive, JobNote, Joint, Point, Surroundings
from coilwright.job.values import as_written

FORMAT = 1
MAX_BYTES = 2_000_000
MAX_DEPTH = 20
MAX_ENTRIES = 500
MAX_FAULTS = 100

SINGLE: dict[str, Any] = {"job": JobNote, "surroundings": Surroundings, "coil": TypeAdapter(Coil), "drive": Drive}
LISTS: dict[str, Any] = {
    "body": Body,
    "accept": Accept,
    "point": Point,
    "joint": Joint,
    "contact": Contact,
}
# Sections other layers define: accepted as they stand, True where double brackets are needed.
LATER: dict[str, bool] = {
    "tank": False,
    "capacitor": True,
    "source": False,
    "cooling": False,
    "fixture": False,
    "varies": True,
    "seek": False,
    "machine": False,
    "workshop": False,
    "documents": False,
}
# The TOML reader takes time with the square of the length of a dotted key, so such keys are not given to it.
_LONG_KEY = re.compile(r"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){30}")
_AT_LINE = re.compile(r"\(at line (\d+), column (\d+)\)")
_PLAIN_WORDS = {
    "Cannot overwrite a value": "gives a key for the second time; keep one of the lines",
    "Cannot declare": "gives a heading for the second time; keep one, or write [[body]] for several bodies",
}
_BARE_UNIT = re.compile(r"""^\s*([\w.-]+)\s*=\s*([+-]?[\d.]+\s*[A-Za-z°µ%][^#"']*?)\s*(#.*)?$""")


def load(path: str | os.PathLike[str]) -> Job:
    """Read and check a job file; raises BadInput with one sentence per fault."""
    shown = os.fspath(path)
    try:
        place = Path(path)
        if place.is_dir():
            raise BadInput(Fault(_short(shown), f"is a folder; name the job file in it, e.g. {_short(shown)}/job.toml"))
        if not place.exists():
            raise BadInput(
                Fault(
                    _short(shown),
                    f"is not there; check the name, or write a new one with: coilwright new {_short(shown)}",
                )
            )
        if not place.is_file():
            raise BadInput(Fault(_short(shown), "is not a plain file; name a job file, e.g. job.toml"))
        size = place.stat().st_size
        if size > MAX_BYTES:
            raise BadInput(Fault(place.name, _too_long(size)))
        data = place.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(Fault(_short(shown), f"cannot be read ({reason}); check the name and the permissions")) from None
    return _parse(_decode(data, place.name), place.name, place, place.parent)


def loads(text: str, name: str = "job.toml", folder: str | os.PathLike[str] | None = None) -> Job:
    """Read and check the text of a job file; `name` stands in the sentences, drawings are looked for in `folder`."""
    if len(text) > MAX_BYTES:
        raise BadInput(Fault(name, _too_long(len(text))))
    return _parse(text.removeprefix("\ufeff"), name, None, Path(folder) if folder is not None else Path())


def from_document(
    document: dict[str, Any],
    name: str,
    path: Path | None,
    folder: Path,
    text: str,
    edits: tuple[tuple[str, Any], ...] = (),
) -> Job:
    """Check the tables of a parsed file and make the Job; raises BadInput with every fault."""
    _refuse_other_formats(document, name)
    if _deeper_than(document, MAX_DEPTH):
        raise BadInput(Fault(name, f"is nested more than {MAX_DEPTH} tables deep; a job file needs no more than five"))
    faults = _top_level_faults(document, name)
    read: dict[str, Any] = {}
    for key in dict.fromkeys((*document, *SINGLE, *LISTS)):  # in the order of the file, then what it leaves out
        if key in SINGLE:
            read[key] = _read_single(key, SINGLE[key], document, name, faults)
        elif key in LISTS:
            read[key] = _read_list(key, LISTS[key], document, name, faults)
        elif key == "material" and not _is_list_of_tables(document[key]):
            faults.append(_not_list(key, document[key], name))
    faults.extend(cross_faults(document, read, name, folder))
    if faults:
        raise BadInput(_finished(faults, name))
    return Job(
        name=name,
        path=path,
        folder=folder,
        note=read["job"],
        surroundings=read["surroundings"],
        bodies=read["body"],
        materials=tuple(document.get("material", ())),
        coil=read["coil"],
        drive=read["drive"],
        accept=read["accept"],
        points=read["point"],
        joints=read["joint"],
        contacts=read["contact"],
        later={k: document[k] for k in LATER if k in document},
        document=document,
        source_text=text,
        edits=edits,
    )


def _parse(text: str, name: str, path: Path | None, folder: Path) -> Job:
    too_deep = Fault(name, f"is nested more than {MAX_DEPTH} tables deep; a job file needs no more than five")
    if _LONG_KEY.search(text):
        raise BadInput(too_deep)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(_finished([_not_toml(str(error), text, name)], name)) from None
    except RecursionError:
        raise BadInput(too_deep) from None
    except ValueError as error:  # e.g. integers of thousands of digits
        reason = "a whole number has thousands of digits" if "digits" in str(error) else str(error)
        raise BadInput(Fault(name, f"is not TOML that can be read: {reason}; correct that line")) from None
    return from_document(document, name, path, folder, text)


def _decode(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise BadInput(
            Fault(f"{name}: line {line}", "is not UTF-8 text; save the file as UTF-8 in the editor")
        ) from None


def _not_toml(message: str, text: str, name: str) -> Fault:
    match = _AT_LINE.search(message)
    reason = _AT_LINE.sub("", message).replace("(at end of document)", "at the end of the file").strip()
    if match is None:
        return Fault(name, f"is not TOML: {reason}; texts stand in quotes, tables in [brackets]")
    number = int(match[1])
    lines = text.split("\n")
    line = lines[number - 1].strip() if number <= len(lines) else ""
    bare = _BARE_UNIT.match(line)
    if bare is not None:
        return Fault(f"{name}: line {number}", f'a value with a unit stands in quotes; write {bare[1]} = "{bare[2]}"')
    for words, sentence in _PLAIN_WORDS.items():
        if words in reason:
            return Fault(f"{name}: line {number}", f"{sentence}: {as_written(line)}")
    return Fault(
        f"{name}: line {number}",
        f"is not TOML: {reason} at column {match[2]}: {as_written(line)}; texts stand in quotes, tables in [brackets]",
    )


def _refuse_other_formats(document: Mapping[str, Any], name: str) -> None:
    """A newer format may differ anywhere, so its other faults are not worth listing."""
    number = document.get("format", FORMAT)
    if isinstance(number, int) and not isinstance(number, bool) and number > FORMAT:
        raise BadInput(
            Fault(
                f"{name}: format",
                f"is {as_written(number)}, but this version of coilwright reads format {FORMAT}; install a newer coilwright",
            )
        )


def _top_level_faults(document: Mapping[str, Any], name: str) -> list[Fault]:
    faults = []
    if "format" not in document:
        faults.append(Fault(f"{name}: format", f"is missing; write format = {FORMAT} as the first line"))
    elif document["format"] is True or document["format"] != FORMAT:
        faults.append(
            Fault(
                f"{name}: format",
                f"must be {FORMAT}, not {as_written(document['format'])}; write format = {FORMAT} as the first line",
            )
        )
    for key, value in document.items():
        if key not in SECTIONS:
            shown = key if len(key) <= 60 else key[:57] + "..."
            faults.append(Fault(f"{name}: {shown}", f"is not a known section; {suggestion(key, SECTIONS)}"))
        elif LATER.get(key) is False and not isinstance(value, dict):
            faults.append(_not_single(key, value, name))
        elif LATER.get(key) and not _is_list_of_tables(value):
            faults.append(_not_list(key, value, name))
        if len(faults) > MAX_FAULTS:
            break
    return faults


def _read_single(key: str, kind: Any, document: Mapping[str, Any], name: str, faults: list[Fault]) -> Any:
    if key not in document and key == "coil":
        return None
    value = document.get(key, {})
    if not isinstance(value, dict):
        faults.append(_not_single(key, value, name))
        return None
    try:
        return kind.validate_python(value) if isinstance(kind, TypeAdapter) else kind.model_validate(value)
    except ValidationError as error:
        faults.extend(section_faults(f"{name}: {key}", Coil if key == "coil" else kind, value, error, joint="."))
        return None


def _read_list(key: str, kind: Any, document: Mapping[str, Any], name: str, faults: list[Fault]) -> tuple[Any, ...]:
    value = document.get(key, [])
    if not _is_list_of_tables(value):
        faults.append(_not_list(key, value, name))
        return ()
    if len(value) > MAX_ENTRIES:
        faults.append(Fault(f"{name}: {key}", f"must be at most {MAX_ENTRIES} tables, not {len(value)}"))
        return ()
    read = []
    for place, table in enumerate(value, 1):
        try:
            read.append(kind.model_validate(table))
        except ValidationError as error:
            faults.extend(section_faults(f"{name}: {label(key, table, place)}", kind, table, error))
            if len(faults) > MAX_FAULTS:
                break
    return tuple(read)


def label(key: str, table: Mapping[str, Any], place: int) -> str:
    """How a sentence names one of several tables: by its name, else by its place."""
    given = table.get("name")
    return f"{key} {as_written(given)}" if isinstance(given, str) and given else f"{key} {place}"


def _is_list_of_tables(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(v, dict) for v in value)


def _not_single(key: str, value: object, name: str) -> Fault:
    return Fault(
        f"{name}: {key}", f"must be one table, not {as_written(value)}; write its keys under the heading [{key}]"
    )


def _not_list(key: str, value: object, name: str) -> Fault:
    return Fault(
        f"{name}: {key}",
        f"must be one table or several, each under its own heading [[{key}]] in double brackets, not {as_written(value)}",
    )


def _finished(faults: list[Fault], name: str) -> list[Fault]:
    """The list with an end, every sentence on one printable line whatever the file holds."""
    if len(faults) > MAX_FAULTS:
        rest = Fault(name, f"has more than {MAX_FAULTS} faults; the first {MAX_FAULTS} are listed")
        faults = [*faults[:MAX_FAULTS], rest]
    return [Fault(_printable(fault.where[:250]), _printable(fault.what)) for fault in faults]


def _printable(text: str) -> str:
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def _deeper_than(value: object, limit: int) -> bool:
    level: list[Any] = [value]
    for _ in range(limit):
        level = [
            v
            for item in level
            for v in (item.values() if isinstance(item, dict) else item)
            if isinstance(v, dict | list)
        ]
        if not level:
            return False
    return True


def _too_long(size: int) -> str:
    return f"is {size / 1e6:.1f} MB of text; a job file holds at most {MAX_BYTES / 1e6:g} MB, so this is probably another file"


def _short(path: str) -> str:
    path = _printable(path)
    return path if len(path) <= 200 else "..." + path[-197:]
