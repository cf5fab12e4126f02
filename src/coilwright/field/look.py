"""A job read through before anything is solved: masses, skin depths, clearances, doubts."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

from coilwright.evidence import Finding
from coilwright.section.overlap import Clearance
from coilwright.section.scene import Scene
from coilwright.units import ZERO_CELSIUS


@dataclass(frozen=True)
class BodyCheck:
    """One body: mass (kg), least dimension of its section (m), skin depth (m) cold and hot or None without currents."""

    name: str
    material: str
    mass: float
    thickness: float
    skin_cold: float | None
    skin_hot: float | None
    hot: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "material": self.material,
            "mass_kg": self.mass,
            "thickness_m": self.thickness,
            "skin_depth_cold_m": self.skin_cold,
            "skin_depth_hot_m": self.skin_hot,
            "hot_degC": self.hot - ZERO_CELSIUS,
        }


@dataclass(frozen=True, eq=False)
class CheckResult:
    """A job read through."""

    scene: Scene
    bodies: tuple[BodyCheck, ...]
    clearances: tuple[Clearance, ...]
    unknowns: int
    findings: tuple[Finding, ...]

    def to_dict(self) -> dict[str, Any]:
        near = [
            {"first": c.first, "second": c.second, "distance_m": c.distance, "at_m": [list(c.here), list(c.there)]}
            for c in self.clearances
        ]
        return {
            "title": self.scene.job.title,
            "bodies": {b.name: b.to_dict() for b in self.bodies},
            "turns": len(self.scene.section.turns),
            "clearances": near,
            "boundary_unknowns": self.unknowns,
            "notes": list(self.scene.section.notes),
            "findings": [f.to_dict() for f in self.findings],
        }

    def plot(self, path: Any = None) -> Any:
        """The section with its dimensions; written to `path` when given, else the figure is returned."""
        return import_module("coilwright.pack.section_picture").section_picture(self, path)

    def __repr__(self) -> str:
        lines = [f"{self.scene.job.title}: {len(self.bodies)} bodies, {len(self.scene.section.turns)} turns"]
        for b in self.bodies:
            text = f"  {b.name}: {b.material}, {b.mass * 1e3:.4g} g"
            if b.skin_cold is not None and b.skin_hot is not None:
                hot = f"{b.skin_hot * 1e3:.3g} mm at {b.hot - ZERO_CELSIUS:.0f} degC"
                text += f", skin depth {b.skin_cold * 1e3:.3g} mm cold, {hot}"
            lines.append(text)
        for c in self.clearances[:4]:
            lines.append(f"  {c.first} to {c.second}: {c.distance * 1e3:.3g} mm")
        return "\n".join(lines + [f"  note: {n}" for n in self.scene.section.notes])
