"""A material as plain data, for `coilwright materials NAME --json` and for printing."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from coilwright.materials.curve import Curve
from coilwright.materials.material import Material
from coilwright.units import ZERO_CELSIUS

# property -> unit suffix of its JSON key
SUFFIX: Final = {
    "resistivity": "_ohm_m",
    "relative_permeability": "",
    "thermal_conductivity": "_W_per_m_K",
    "specific_heat": "_J_per_kg_K",
    "emissivity": "",
}


def describe(material: Material, points: int = 40) -> dict[str, Any]:
    """Everything known of a material: curves at the temperatures of their source and at even steps between, sources beside
    each; keys end in their SI unit, temperatures are in degC.

    `points` is how many even steps a curve that is not constant is sampled in.
    """
    return {
        "name": material.name,
        "aliases": list(material.aliases),
        "kind": material.kind,
        "density_kg_per_m3": material.density,
        "conducting": material.conducting,
        "curves": {name + SUFFIX[name]: _curve(curve, points) for name, curve in material.curves().items()},
        "saturation": _saturation(material),
        "transitions": [
            {
                "kind": t.kind,
                "temperature_degC": _celsius(t.temperature),
                "width_K": t.width,
                "energy_J_per_kg": t.energy,
                "source": str(t.source),
            }
            for t in material.transitions
        ],
        "limits": [
            {
                "kind": limit.kind,
                "temperature_degC": _celsius(limit.temperature),
                "text": limit.text,
                "source": str(limit.source),
            }
            for limit in material.limits
        ],
        "glass": None
        if material.glass is None
        else {
            "band_edges_m": list(material.glass.edges),
            "absorption_per_m": list(material.glass.absorption),
            "reflectance": list(material.glass.reflectance),
            "source": str(material.glass.source),
        },
        "notes": material.notes,
        "sources": [{"citation": source.citation, "kind": source.kind} for source in material.sources],
    }


def _curve(curve: Curve, points: int) -> dict[str, Any]:
    kelvin = curve.at
    if not curve.is_constant:
        kelvin = np.unique(np.concatenate([kelvin, np.linspace(kelvin[0], kelvin[-1], points)]))
    low, high = curve.valid.lowest, curve.valid.highest
    return {
        "temperature_degC": [_celsius(float(t)) for t in kelvin],
        "value": [float(v) for v in curve(kelvin)],
        "source": curve.source.citation,
        "source_kind": curve.source.kind,
        "valid_from_degC": _celsius(low) if np.isfinite(low) else None,
        "valid_to_degC": _celsius(high) if np.isfinite(high) else None,
    }


def _saturation(material: Material) -> dict[str, Any] | None:
    law = material.magnetic.saturation
    if law is None:
        return None
    return {
        "flux_density_T": law.flux_density,
        "initial_relative_permeability": law.initial,
        "curie_degC": _celsius(law.curie),
        "squareness": law.squareness,
        "source": str(law.source),
    }


def _celsius(kelvin: float) -> float:
    return round(kelvin - ZERO_CELSIUS, 6)
