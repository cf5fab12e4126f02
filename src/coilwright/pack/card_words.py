"""The words of the operator's card in the languages of the tables beside this file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

LANGUAGES: Final = ("en", "de", "fr", "es", "pl")


class Words:
    """The table of one language; a missing key is a KeyError that names table and key."""

    def __init__(self, language: str) -> None:
        self.language = language
        self._table = _table(language)

    @property
    def decimal_mark(self) -> str:
        return str(self["decimal_mark"])

    def __getitem__(self, key: str) -> str:
        return self.look("card", key)

    def hazard(self, name: str) -> str:
        """What to do about a hazard, by its name in safety.cautions."""
        return self.look("hazard", name)

    def reading(self, name: str) -> str:
        """A reading, by its name in line.machine."""
        return self.look("reading", name)

    def look(self, part: str, key: str) -> str:
        """The entry `key` of the table `part`."""
        found = self._table.get(part, {}).get(key)
        if found is None:
            raise KeyError(f"words/{self.language}.toml has no [{part}] {key}")
        return str(found)

    def keys(self) -> set[tuple[str, str]]:
        """(part, key) of every entry."""
        return {(part, key) for part, table in self._table.items() for key in table}


@cache
def _table(language: str) -> Mapping[str, Any]:
    return tomllib.loads((files("coilwright.pack") / "words" / f"{language}.toml").read_text(encoding="utf-8"))
