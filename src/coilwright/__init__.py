"""coilwright: from an enquiry to a service call, the computation behind made-to-order induction heating.

    import coilwright as cw
    job = cw.load("job.toml")
    print(cw.check(job))
    print(cw.field(job))
    shot = cw.heat(job)

Verbs and main nouns live here; each is loaded on first use so that `import coilwright` stays light.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache, update_wrapper
from importlib import import_module
from types import ModuleType
from typing import Any

from coilwright.collector import held_still

__version__ = "0.1.0"

# public name -> module that defines it
_PUBLIC: dict[str, str] = {
    "BadInput": "coilwright.errors",
    "CheckResult": "coilwright.field.look",
    "CoilwrightError": "coilwright.errors",
    "FieldReport": "coilwright.field.report",
    "Finding": "coilwright.evidence",
    "Job": "coilwright.job",
    "NotConverged": "coilwright.errors",
    "PackResult": "coilwright.pack.build",
    "QuickResult": "coilwright.heating.hand_sheet",
    "SeekResult": "coilwright.seek.result",
    "ShotResult": "coilwright.heating.result",
    "TankStudy": "coilwright.steps.tank",
    "TrialResult": "coilwright.trials.result",
    "WindowResult": "coilwright.window.result",
    "charge_law": "coilwright.materials",
    "check": "coilwright.steps.check",
    "field": "coilwright.steps.field",
    "heat": "coilwright.steps.heat",
    "library": "coilwright.materials",
    "load": "coilwright.job",
    "loads": "coilwright.job",
    "open_store": "coilwright.store.opening",
    "pack": "coilwright.steps.pack",
    "quick": "coilwright.steps.quick",
    "seek": "coilwright.steps.seek",
    "tank": "coilwright.steps.tank",
    "template": "coilwright.job",
    "trial": "coilwright.steps.trial",
    "why": "coilwright.steps.line",
    "window": "coilwright.steps.window",
}

# verbs that solve something: BLAS is held to one thread while they work
_SOLVES = frozenset({"check", "field", "heat", "pack", "quick", "seek", "tank", "trial", "why", "window"})

__all__ = ["__version__", *sorted(_PUBLIC)]


class _Verb:
    """A verb that shares its name with a folder: called it does its work, asked for a member it is the folder."""

    def __init__(self, verb: Callable[..., Any], folder: str) -> None:
        update_wrapper(self, verb)
        self._verb, self._folder = verb, folder

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self._verb(*args, **kwargs)

    def __getattr__(self, name: str) -> Any:
        return getattr(import_module(self._folder), name)


@cache
def _public(name: str) -> Any:
    with held_still():
        found = getattr(import_module(_PUBLIC[name]), name)
    if name in _SOLVES:
        found = import_module("coilwright.threads").on_one_thread(found)
    return _Verb(found, f"{__name__}.{name}") if name in ("field", "heat", "pack", "seek", "tank", "window") else found


class _Package(ModuleType):
    """Importing a folder sets it as an attribute of the package; public names are looked up first, so they stay in front."""

    def __getattribute__(self, name: str) -> Any:
        if name in _PUBLIC:
            return _public(name)
        return super().__getattribute__(name)

    def __dir__(self) -> list[str]:
        return sorted(__all__)


sys.modules[__name__].__class__ = _Package
