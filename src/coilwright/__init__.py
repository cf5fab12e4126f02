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
from importlib import import_module
from types import ModuleType
from typing import Any

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
    "QuickResult": "coilwright.steps.quick",
    "ShotResult": "coilwright.heating.result",
    "TankStudy": "coilwright.steps.tank",
    "charge_law": "coilwright.materials",
    "check": "coilwright.steps.check",
    "field": "coilwright.steps.field",
    "heat": "coilwright.steps.heat",
    "library": "coilwright.materials",
    "load": "coilwright.job",
    "loads": "coilwright.job",
    "quick": "coilwright.steps.quick",
    "tank": "coilwright.steps.tank",
    "template": "coilwright.job",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


class _Package(ModuleType):
    """`cw.field` and `cw.heat` are the verbs, although folders of the same names exist.

    Importing a folder sets it as an attribute of the package; the verbs are looked up first, so they stay in front.
    """

    def __getattribute__(self, name: str) -> Any:
        if name in _PUBLIC:
            return getattr(import_module(_PUBLIC[name]), name)
        return super().__getattribute__(name)

    def __dir__(self) -> list[str]:
        return sorted(__all__)


sys.modules[__name__].__class__ = _Package
