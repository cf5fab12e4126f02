"""The curves of one material on one sheet, each with the range its source covers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from coilwright.materials import Material
from coilwright.pack.looks import CURRENT, FAINT, HOT, save, sheet
from coilwright.units import ZERO_CELSIUS

_PANELS = (
    ("resistivity", 1e6, "resistivity, µΩ m"),
    ("relative_permeability", 1.0, "relative permeability"),
    ("thermal_conductivity", 1.0, "thermal conductivity, W/m/K"),
    ("specific_heat", 1.0, "specific heat, J/kg/K"),
    ("emissivity", 1.0, "emissivity"),
)
_LOWEST, _ROOM = 273.15, 100.0


def material_picture(material: Material, path: Path | None = None) -> Any:
    """One panel per property; the part of a curve outside its source's range is drawn faint."""
    curves = material.curves()
    panels = [p for p in _PANELS if p[0] in curves]
    ends = [float(c.at[-1]) for c in curves.values()] + [limit.temperature for limit in material.limits]
    kelvin = np.linspace(_LOWEST, max([*ends, 600.0]) + _ROOM, 600)
    with sheet(6.4, 1.7 * len(panels) + 0.6, nrows=len(panels), sharex=True, squeeze=False) as (figure, axes):
        for (key, scale, label), ax in zip(panels, axes[:, 0], strict=True):
            curve = curves[key]
            values = np.asarray(curve(kelvin)) * scale
            if key == "specific_heat":
                values = material.volumetric_heat(kelvin) / material.density
                ax.set_ylim(0.0, 1.4 * float(np.quantile(values, 0.97)))
            held = (kelvin >= curve.valid.lowest) & (kelvin <= curve.valid.highest)
            ax.plot(kelvin - ZERO_CELSIUS, values, color=FAINT, lw=1.0)
            ax.plot(kelvin[held] - ZERO_CELSIUS, values[held], color=CURRENT)
            ax.set_ylabel(label, fontsize=7.5)
            for limit in material.limits:
                ax.axvline(limit.temperature - ZERO_CELSIUS, color=HOT, lw=0.8, ls=(0, (3, 2)))
        axes[0, 0].set_title(f"{material.name} ({material.density:.0f} kg/m³)")
        axes[-1, 0].set_xlabel("temperature, °C (dashed: a limit; faint: outside the source's range)")
        return save(figure, path)
