"""The job as an object: the tables of its file, frozen, values in SI."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from coilwright.job.edit import put, set_value
from coilwright.job.library import job_library
from coilwright.job.schema_body import Body
from coilwright.job.schema_coil import Helix, ListedTurns, Spiral
from coilwright.job.schema_process import Accept, Contact, Drive, JobNote, Joint, Point, Surroundings
from coilwright.materials import Library

_Item = TypeVar("_Item", Body, Point)


@dataclass(frozen=True)
class Job:
    """One job file, read and checked. Make one with `load` or `loads`; change one with `with_value`.

    Attributes are the sections of the file, values in SI and kelvin, rms. `materials` holds the job's own
    [[material]] tables as written (ask `library()` for materials), `later` the raw tables of sections that other
    layers define ([tank], [[capacitor]], [source], [cooling], [fixture], [[varies]], [seek], [machine]).
    """

    name: str
    path: Path | None
    folder: Path
    note: JobNote
    surroundings: Surroundings
    bodies: tuple[Body, ...]
    materials: tuple[Mapping[str, Any], ...]
    coil: Helix | Spiral | ListedTurns | None
    drive: Drive
    accept: tuple[Accept, ...]
    points: tuple[Point, ...]
    joints: tuple[Joint, ...]
    contacts: tuple[Contact, ...]
    later: Mapping[str, Any]
    document: Mapping[str, Any] = field(repr=False)
    source_text: str = field(repr=False, compare=False)
    edits: tuple[tuple[str, Any], ...] = field(default=(), repr=False, compare=False)

    @property
    def title(self) -> str:
        return self.note.title or self.name

    @property
    def text(self) -> str:
        """The file as text, comments kept, with the changes made by with_value."""
        text = self.source_text
        for key, value in self.edits:
            text = set_value(text, key, value)
        return text

    def library(self) -> Library:
        """The material library with the job's own [[material]] tables added."""
        return job_library(self.materials, self.name)

    def body(self, name: str) -> Body:
        """The body of that name; KeyError when there is none."""
        return _named(self.bodies, name)

    def point(self, name: str) -> Point:
        """The named point; KeyError when there is none."""
        return _named(self.points, name)

    def with_value(self, key: str, value: Any) -> Job:
        """A new, checked job with one value changed: `job.with_value("coil.centre", "13 mm")`.

        Keys are those that faults show; members of a list go by name or by place from one
        ("body.ring.centre", "accept.1.reaches"). None takes a key out. Raises BadInput when the key leads nowhere or
        the changed job has faults.
        """
        return self.with_values({key: value})

    def with_values(self, changes: Mapping[str, Any]) -> Job:
        """As with_value, for several changes checked together."""
        from coilwright.job.read import from_document  # the reader makes Jobs, so it imports this module first

        document = copy.deepcopy(dict(self.document))
        for key, value in changes.items():
            put(document, key, value)
        edits = (*self.edits, *changes.items())
        return from_document(document, self.name, self.path, self.folder, self.source_text, edits)

    def to_dict(self) -> dict[str, Any]:
        """The file as plain dictionaries and lists, values as written ("9 mm")."""
        return copy.deepcopy(dict(self.document))

    def __repr__(self) -> str:
        bodies = ", ".join(f"{b.name} ({b.material}, {b.shape.kind})" for b in self.bodies)
        coil = "no coil" if self.coil is None else f"{self.coil.winding} of {_turns(self.coil):g} turns"
        frequency = "" if self.drive.frequency is None else f" at {self.drive.frequency / 1e3:g} kHz"
        return f'Job "{self.title}": {bodies}; {coil}{frequency}'


def _turns(coil: Helix | Spiral | ListedTurns) -> float:
    return len(coil.turn) if isinstance(coil, ListedTurns) else coil.turns


def _named(items: tuple[_Item, ...], name: str) -> _Item:
    for item in items:
        if item.name == name:
            return item
    raise KeyError(f'"{name}" is not in the job; known are {", ".join(i.name for i in items) or "none"}')
