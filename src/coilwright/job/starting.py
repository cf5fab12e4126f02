"""Annotated job files to start from, kept as text beside this module."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import suggestion

# kind -> what it is, in the words of the workshop; the first one is the built-in demonstration
TEMPLATES: Final[dict[str, str]] = {
    "ring-through-glass": "a getter ring in an evacuated bulb, heated through the glass by a coil in front of it",
    "bar-in-coil": "a steel pin in a close coil, for hardening",
    "ferrule-to-braze": "a stainless ferrule and tube with a ring of brazing alloy",
    "susceptor-crucible": "a graphite crucible in a quartz tube, at furnace temperatures",
    "pancake-under-disc": "a flat coil under a steel disc",
}


def template(kind: str) -> str:
    """The text of an annotated job file of that kind; raises BadInput naming the kinds there are."""
    if kind not in TEMPLATES:
        raise BadInput(Fault("", f'"{kind[:60]}" is not a kind of job file; {suggestion(kind, TEMPLATES)}'))
    return (files("coilwright.job") / "templates" / f"{kind}.toml").read_text(encoding="utf-8")
