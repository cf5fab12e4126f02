"""Materials: properties against temperature, each with its source and the range it covers."""

from coilwright.materials.charge import ChargeLaw, charge_law, charge_names
from coilwright.materials.curve import Curve
from coilwright.materials.describe import describe
from coilwright.materials.library import Library, library
from coilwright.materials.magnetic import MU0, MagneticLaw, Saturation
from coilwright.materials.material import GlassOptics, Limit, Material, Transition

__all__ = [
    "MU0",
    "ChargeLaw",
    "Curve",
    "GlassOptics",
    "Library",
    "Limit",
    "MagneticLaw",
    "Material",
    "Saturation",
    "Transition",
    "charge_law",
    "charge_names",
    "describe",
    "library",
]
