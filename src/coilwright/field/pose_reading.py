"""The answer for one pose of the coil against the part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coilwright.evidence import Finding
from coilwright.field.pose_incident import Pose


@dataclass(frozen=True)
class PoseReading:
    """One pose, per A^2 of coil current. `by_mode`[m] holds +m and -m together.

    `section_ratio`: loss averaged over the section, nearest side over farthest, 180 degrees apart, along `hot_azimuth`
    (rad, where the section mean is largest; 0 in line). `hottest_ratio`: the same at the single point with the largest
    mean of both sides. `resistance_change` (ohm), `inductance_change` (H): what the part adds to the coil by itself,
    its current frozen. `truncation`: share of the last harmonic; `mismatch`: |Re dZ - P| / P.
    """

    pose: Pose
    power: float
    by_mode: tuple[float, ...]
    hot_azimuth: float
    section_ratio: float
    hottest_ratio: float
    resistance_change: float
    inductance_change: float
    truncation: float
    mismatch: float
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain data; keys end in their unit."""
        return {
            "power_W_per_A2": self.power,
            "power_by_mode_W_per_A2": list(self.by_mode),
            "hot_azimuth_rad": self.hot_azimuth,
            "section_ratio": self.section_ratio,
            "hottest_ratio": self.hottest_ratio,
            "resistance_change_ohm": self.resistance_change,
            "inductance_change_H": self.inductance_change,
            "truncation": self.truncation,
            "mismatch": self.mismatch,
            "findings": [f.to_dict() for f in self.findings],
        }
