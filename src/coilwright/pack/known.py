"""How every value of a job is known: told, measured, guessed, or left out so that a usual one stands in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from coilwright.pack.contents import PackContents
from coilwright.units import ZERO_CELSIUS

_SECTIONS: Final = ("surroundings", "body", "material", "drive", "joint", "contact")
_LONGEST: Final = 300  # letters of one value; outlines of many corners stand in the drawing
_SKIPPED: Final = ("name", "role", "source", "kind")


@dataclass(frozen=True)
class Known:
    """One value: the key of the file, the value as written, and how it is known."""

    key: str
    value: str
    how: str


def known_values(contents: PackContents) -> tuple[Known, ...]:
    """All values about the part and its surroundings, in the order of the file, then the usual ones."""
    d = contents.documents
    marks = {**dict.fromkeys(d.guessed, "guessed"), **dict.fromkeys(d.measured, "measured")}
    out = []
    for key, value in _flat(contents.job.to_dict()):
        short = value if len(value) <= _LONGEST else f"{value[:_LONGEST]} …"
        out.append(Known(key, short, marks.get(key, "told")))
    return (*out, *_usual(contents))


def _flat(document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for section in _SECTIONS:
        found = document.get(section)
        if isinstance(found, Mapping):
            yield from _table(section, found)
        elif isinstance(found, list):
            for n, item in enumerate(found, 1):
                yield from _table(f"{section}.{item.get('name', n)}", item)


def _table(path: str, found: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in found.items():
        if key in _SKIPPED:
            continue
        if isinstance(value, Mapping) and not ("at" in value and "is" in value):
            yield from _table(f"{path}.{key}", value)
        else:
            yield f"{path}.{key}", _written(value)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):  # a curve
        return "; ".join(f"{y} at {x}" for x, y in zip(value["at"], value["is"], strict=False))
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return " | ".join(", ".join(str(x) for x in point) for point in value)
        return ", ".join(
            _written(v) if not isinstance(v, Mapping) else " ".join(f"{k} {x}" for k, x in v.items()) for v in value
        )
    return str(value)


def _usual(contents: PackContents) -> Iterator[Known]:
    job = contents.job
    given = job.to_dict().get("surroundings", {})
    if "temperature" not in given:
        yield Known("surroundings.temperature", f"{job.surroundings.temperature - ZERO_CELSIUS:g} degC", "usual")
    if "convection" not in given:
        yield Known("surroundings.convection", f"{job.surroundings.convection:g} W/m^2/K", "usual")
    for body in job.bodies:
        material = contents.check.scene.materials[body.name]
        if body.emissivity is None:
            kind = material.emissivity.source.kind
            yield Known(f"body.{body.name}.emissivity", f"from the library, {material.name}", f"usual ({kind})")
