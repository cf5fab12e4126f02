"""A field result together with the leads and the section it belongs to: what a person is shown."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

from coilwright.evidence import Finding
from coilwright.field.leads import LeadPair
from coilwright.field.result import FieldResult
from coilwright.field.setup import MeshedScene
from coilwright.section.scene import Scene


@dataclass(frozen=True, eq=False)
class FieldReport:
    """The field result with the leads beside it and the section it belongs to. All rms, SI."""

    result: FieldResult
    leads: LeadPair
    meshed: MeshedScene
    findings: tuple[Finding, ...]

    @property
    def scene(self) -> Scene:
        return self.meshed.scene

    def to_dict(self) -> dict[str, Any]:
        data = self.result.to_dict()
        data["leads"] = self.leads.to_dict()
        data["findings"] = [f.to_dict() for f in self.findings]
        return data

    def __repr__(self) -> str:
        return str(self.result)

    def plot(self, path: Any = None) -> Any:
        """Section with field lines and power density; written to `path` when given."""
        # by name, because pictures stand above the physics and are loaded only when one is asked for
        return import_module("coilwright.pack.field_pictures").field_picture(self, path)
