"""Bending the conductor: how tight it may be bent, what the wall loses, how far it springs back. Lengths in m."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from coilwright.evidence import Source

BENDER_SOURCE: Final = Source(
    "Copper Development Association, Copper Tube Handbook (A4015), bending guide, annealed tube in mechanical benders: "
    "centre-line radius 19 mm for 9.5 mm outside, 38 mm for 12.7 mm, 57 mm for 15.9 mm"
)
FILLED_SOURCE: Final = Source("annealed and filled, about 1.5 outside diameters", "common practice")
SPRING_SOURCE: Final = Source(
    "elastic recovery of a fully plastic bend, curvature given back = plastic moment / (E I) (theory of plastic bending)",
    "memory",
)
YOUNG_MODULUS: Final = 117e9  # Pa, copper; memory
FLOW_STRESS: Final = 200e6  # Pa, annealed copper after the strain of a tight bend, 150 to 250 MPa; memory
_OUTSIDE: Final = (9.525e-3, 12.7e-3, 15.875e-3)
_OVER_OUTSIDE: Final = (19.05 / 9.525, 38.1 / 12.7, 57.15 / 15.875)
# Least centre-line radius over the size in the plane of the bend; all common practice, no source.
_FILLED: Final = {"round tube": 1.5, "rectangular tube": 2.0, "round wire": 1.0, "strip": 1.5, "litz": 5.0}


@dataclass(frozen=True)
class Bending:
    """How one conductor takes a bend of centre-line `radius` (m).

    `least_filled`, `least_in_bender` (m; the latter None for what is no round tube): usual least radii. `strain` of the
    outer face; `wall`, `wall_outside` (m) before and after, None for solid conductors. `former_radius` (m): centre
    line to wind to, so that it springs to `radius`; equal to it for litz, which does not spring.
    """

    radius: float
    least_filled: float
    least_in_bender: float | None
    strain: float
    wall: float | None
    wall_outside: float | None
    former_radius: float

    @property
    def tight(self) -> bool:
        """Tighter than usual practice even when filled."""
        return self.radius < self.least_filled * (1.0 - 1e-9)

    @property
    def needs_fill(self) -> bool:
        return self.least_in_bender is not None and self.radius < self.least_in_bender * (1.0 - 1e-9)


def least_radius(conductor: Any, size: float | None = None) -> float:
    """Usual least centre-line bend radius (m) of an annealed conductor, tube filled; `size` (m) in the plane of the bend,
    along the radius of the turns when left out. Common practice, no source."""
    return _FILLED[conductor.section] * (float(conductor.radial_size) if size is None else size)


def larger_size(conductor: Any) -> float:
    """The larger side of the conductor (m): leads are bent either way."""
    return float(max(conductor.radial_size, conductor.axial_size))


def least_radius_in_bender(outside: float) -> float:
    """Least centre-line radius (m) of annealed round copper tube of `outside` diameter (m) bent unfilled in a bender.

    BENDER_SOURCE, straight between its sizes in radius over diameter, constant outside 9.5 to 15.9 mm.
    """
    return outside * float(np.interp(outside, _OUTSIDE, _OVER_OUTSIDE))


def bending(conductor: Any, radius: float, size: float | None = None) -> Bending:
    """What a bend of centre-line `radius` (m) asks of a conductor of the job file; `size` as in `least_radius`."""
    size = float(conductor.radial_size) if size is None else size
    strain = 0.5 * size / radius
    wall = _wall(conductor)
    bender = least_radius_in_bender(conductor.outside) if conductor.section == "round tube" else None
    return Bending(
        radius,
        least_radius(conductor, size),
        bender,
        strain,
        wall,
        None if wall is None else wall / (1.0 + strain),
        radius if conductor.section == "litz" else 1.0 / (1.0 / radius + spring_curvature(conductor)),
    )


def _wall(conductor: Any) -> float | None:
    if conductor.section == "round tube":
        return 0.5 * float(conductor.outside - conductor.bore)
    return float(conductor.wall) if conductor.section == "rectangular tube" else None


def spring_curvature(conductor: Any, flow_stress: float = FLOW_STRESS) -> float:
    """Curvature (1/m) that a plastic bend gives back when let go: flow_stress Z/(E I).

    Plastic section modulus Z and second moment I: round (D^3 - d^3)/6 and pi (D^4 - d^4)/64; rectangle bent in the plane
    of its width w, (h w^2 - h_i w_i^2)/4 and (h w^3 - h_i w_i^3)/12. SPRING_SOURCE.
    """
    section = conductor.section
    if section in ("rectangular tube", "strip"):
        w, h = conductor.width, conductor.height
        t = conductor.wall if section == "rectangular tube" else 0.5 * min(w, h)
        wi, hi = (w - 2.0 * t, h - 2.0 * t) if section == "rectangular tube" else (0.0, 0.0)
        modulus, inertia = (h * w**2 - hi * wi**2) / 4.0, (h * w**3 - hi * wi**3) / 12.0
    else:
        outer = conductor.outside if section == "round tube" else conductor.diameter
        inner = conductor.bore if section == "round tube" else 0.0
        modulus, inertia = (outer**3 - inner**3) / 6.0, math.pi * (outer**4 - inner**4) / 64.0
    return float(flow_stress * modulus / (YOUNG_MODULUS * inertia))


def mandrel_diameter(conductor: Any, mean_diameter: float) -> float:
    """Diameter (m) of the mandrel for turns of `mean_diameter`: inside of the turn, less what it springs open."""
    return 2.0 * bending(conductor, 0.5 * mean_diameter).former_radius - float(conductor.radial_size)


def carrying_area(conductor: Any, depth: float) -> float:
    """Part of the cross-section (m^2) within one skin depth (m) of the outside, where the current flows; of every strand
    of a litz bundle."""
    section = conductor.section
    if section in ("rectangular tube", "strip"):
        w, h = conductor.width, conductor.height
        wall = conductor.wall if section == "rectangular tube" else 0.5 * min(w, h)
        t = min(depth, wall)
        return float(w * h - (w - 2.0 * t) * (h - 2.0 * t))
    if section == "litz":
        d, count = conductor.strand_diameter, conductor.strands
    else:
        d, count = (conductor.outside if section == "round tube" else conductor.diameter), 1
    inner = conductor.bore if section == "round tube" else 0.0
    return float(0.25 * math.pi * count * (d**2 - max(inner, d - 2.0 * depth, 0.0) ** 2))


def described(conductor: Any) -> str:
    """Such as "copper tube 6 x 1 mm (bore 4 mm)", sizes in mm."""
    m, c = conductor.material, conductor
    if c.section == "round tube":
        return f"{m} tube, outside {_mm(c.outside)}, wall {_mm(0.5 * (c.outside - c.bore))}, bore {_mm(c.bore)} mm"
    if c.section == "rectangular tube":
        return f"{m} rectangular tube, {_mm(c.width)} x {_mm(c.height)}, wall {_mm(c.wall)} mm"
    if c.section == "strip":
        return f"{m} strip, {_mm(c.width)} x {_mm(c.height)} mm"
    if c.section == "litz":
        return f"{m} litz, {c.strands} x {_mm(c.strand_diameter)} mm, bundle {_mm(c.diameter)} mm"
    return f"{m} wire, {_mm(c.diameter)} mm"


def _mm(value: float) -> str:
    return f"{1e3 * value:.4g}"
