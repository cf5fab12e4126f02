"""The material library: bundled files, a user's own file and a job's own tables behind one `get`."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from coilwright.errors import BadInput, Fault
from coilwright.materials.material import Material
from coilwright.materials.reading import material_name, read_material, read_sources

FAMILIES: Final = (
    "coppers", "precious", "steels", "stainless", "magnetic", "refractory", "light_and_soft", "resistance_alloys",
    "solders_and_brazes", "glasses", "ceramics", "plastics_and_fluids",
)  # fmt: skip
USER_FILE: Final = "materials.toml"
LARGEST_FILE: Final = 2_000_000  # bytes
Provider = Callable[[], Material]


@dataclass(frozen=True)
class Library:
    """Materials by name. Names and aliases are compared without case and with single spaces.

    `entries` maps the compared form of each name and alias to (name as written, how to get it).
    """

    entries: Mapping[str, tuple[str, Provider]] = field(repr=False)

    def get(self, name: str) -> Material:
        """The material called `name` (or by an alias). Raises BadInput that names the nearest matches."""
        entry = self.entries.get(_compared(name))
        if entry is None:
            raise BadInput(Fault("", self._unknown(name)))
        return entry[1]()

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and _compared(name) in self.entries

    def __len__(self) -> int:
        return len(self.names())

    def names(self) -> list[str]:
        """Every material once, by its own name, in alphabetical order."""
        return sorted({name for name, _ in self.entries.values()}, key=str.lower)

    def with_tables(self, tables: Iterable[Mapping[str, Any]], file: str = "") -> Library:
        """A library that also knows the given [[material]] tables (plain dicts, values as texts with units).

        A table may say `like` of a library name or of an earlier table, and replaces a library material of its name.
        Raises BadInput with the faults of all tables; `file` is the file name the sentences begin with.
        """
        return self._extended(list(tables), {}, file)

    def _extended(self, tables: list[Any], sources: Mapping[str, Any], file: str) -> Library:
        entries = dict(self.entries)
        faults: list[Fault] = []
        seen: set[str] = set()
        for number, table in enumerate(tables, start=1):
            try:
                name = material_name(table, number, file)
                if _compared(name) in seen:
                    where = f'{file}: material "{name}"' if file else f'material "{name}"'
                    raise BadInput(Fault(where, "is given twice; keep one of the tables"))
                seen.add(_compared(name))
                made = read_material(table, Library(entries).get, sources, file=file, number=number)
            except BadInput as error:
                faults.extend(error.faults)
                continue
            for key in (made.name, *made.aliases):
                entries[_compared(key)] = (made.name, lambda made=made: made)  # type: ignore[misc]
        if faults:
            raise BadInput(faults)
        return Library(entries)

    def _unknown(self, name: str) -> str:
        near = difflib.get_close_matches(_compared(name), list(self.entries), n=3, cutoff=0.5)
        words = [key for key in self.entries if _compared(name) and _compared(name) in key]
        found = list(dict.fromkeys(self.entries[key][0] for key in [*near, *words]))[:4]
        quoted = " or ".join(f'"{known}"' for known in found)
        hint = f"did you mean {quoted}?" if found else "see `coilwright materials` for the list"
        return f'"{name[:60]}" is not a material of the library; {hint}'


def library(user_file: Path | None = None) -> Library:
    """The bundled materials, with those of a user's own TOML file added or put in their place.

    Without `user_file` the file `materials.toml` in the user's configuration folder is read if it exists. Raises BadInput
    with every fault of that file.
    """
    base = _bundled()
    if user_file is None:
        import platformdirs

        user_file = Path(platformdirs.user_config_path("coilwright")) / USER_FILE
        if not user_file.is_file():
            return base
    return _with_file(base, user_file)


def _with_file(base: Library, path: Path) -> Library:
    where = path.name
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise BadInput(Fault(where, f"must be a text of at most {LARGEST_FILE // 1_000_000} MB; it is larger"))
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise BadInput(
            Fault(str(path), f"cannot be read ({error.strerror}); check the name of the materials file")
        ) from error
    except UnicodeDecodeError as error:
        raise BadInput(Fault(where, "is not a text in UTF-8; save it again as UTF-8")) from error
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise BadInput(Fault(where, f"is not valid TOML: {str(error)[:200]}")) from error
    except RecursionError as error:
        raise BadInput(Fault(where, "is nested too deeply to be a materials file")) from error
    strangers = [key for key in document if key not in ("material", "sources", "format")]
    if strangers:
        raise BadInput(
            [
                Fault(
                    f"{where}: {key[:60]}",
                    "is not known here; a materials file holds [[material]] tables and [sources]",
                )
                for key in strangers
            ]
        )
    tables = document.get("material", [])
    if not isinstance(tables, list):
        raise BadInput(Fault(f"{where}: material", "must be written [[material]], with double brackets"))
    return base._extended(tables, read_sources(document.get("sources", {}), where), where)


@lru_cache(maxsize=1)
def _bundled() -> Library:
    """Names and aliases of the bundled files by a line scan; a family is parsed when one of its materials is asked for."""
    entries: dict[str, tuple[str, Provider]] = {}
    for family in FAMILIES:
        for block in _text(family).split("[[material]]")[1:]:
            name = re.search(r'^name = "(.*)"$', block, re.MULTILINE)
            aliases = re.search(r"^aliases = \[(.*)\]$", block, re.MULTILINE)
            if name is None:
                continue
            for key in (name[1], *re.findall(r'"([^"]*)"', aliases[1] if aliases else "")):
                entries[_compared(key)] = (name[1], lambda family=family, name=name[1]: _material(family, name))  # type: ignore[misc]
    return Library(entries)


@lru_cache(maxsize=256)
def _material(family: str, name: str) -> Material:
    tables, sources = _family(family)
    return read_material(tables[name], _bundled().get, sources, file=f"{family}.toml", strict=True)


@lru_cache(maxsize=32)
def _family(family: str) -> tuple[dict[str, Mapping[str, Any]], Mapping[str, Any]]:
    document = tomllib.loads(_text(family))
    sources = read_sources(document["sources"], f"{family}.toml")
    return {table["name"]: table for table in document["material"]}, sources


@lru_cache(maxsize=32)
def _text(family: str) -> str:
    return (files("coilwright.materials") / "data" / f"{family}.toml").read_text(encoding="utf-8")


def _compared(name: str) -> str:
    return " ".join(name.lower().split())
