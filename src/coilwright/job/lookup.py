"""Look a value up in the nested tables of a job file, and tell what kind of quantity it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job.edit import split_key
from coilwright.job.values import as_written
from coilwright.units import KINDS, UnitFault, parse


def value_at(document: Any, key: str) -> Any:
    """The value at a dotted key as written, or None. Lists go by name or by place from one."""
    here = document
    for step in split_key(key):
        here = _step(here, step)
        if here is None:
            return None
    return here


def _step(here: Any, step: str) -> Any:
    if isinstance(here, Mapping):
        return here.get(step)
    if isinstance(here, list | tuple):
        for item in here:
            if isinstance(item, Mapping) and item.get("name") == step:
                return item
        if step.isdecimal() and 1 <= int(step) <= len(here):
            return here[int(step) - 1]
    return None


_NOT_VARIED = ("fixture", "varies", "seek", "job", "material", "format", "accept")


def numeric_keys(document: Mapping[str, Any]) -> list[str]:
    """Keys of everything in the file that has a unit or is a number."""
    return [k for name, value in document.items() if name not in _NOT_VARIED for k in _numeric(value, name)]


def _numeric(value: Any, path: str) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, inside in value.items():
            if key != "name":
                yield from _numeric(inside, f"{path}.{key}")
    elif isinstance(value, list | tuple):
        for n, inside in enumerate(value, 1):
            name = inside.get("name", n) if isinstance(inside, Mapping) else n
            yield from _numeric(inside, f"{path}.{name}")
    elif not isinstance(value, bool) and str(value)[:1] in tuple("+-0123456789"):
        yield path


def kind_of(raw: Any, where: str) -> str:
    """Key of units.KINDS of a text such as "9 mm", "" for a plain number. Raises BadInput for anything else."""
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return ""
    if isinstance(raw, str):
        for kind in KINDS:
            try:
                parse(raw, kind)
            except UnitFault:
                continue
            return kind
        try:
            float(raw)
        except ValueError:
            pass
        else:
            return ""
    raise BadInput(Fault(where, f"must name a value with a unit or a number; there stands {as_written(raw)}"))
