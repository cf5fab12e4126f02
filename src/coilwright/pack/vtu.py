"""Fields as VTK XML unstructured grids (.vtu), an open format every general viewer reads.

Biquadratic quadrilaterals (VTK cell type 28): four corners, four mid-sides, one centre.
Source: VTK file formats, XML UnstructuredGrid, ASCII data arrays (public documentation).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

import numpy as np

from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray, quad_table
from coilwright.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from coilwright.field.report import FieldReport
    from coilwright.heating.result import ShotResult

_BIQUADRATIC_QUAD = 28
# local node 3*j + i  ->  corners counter-clockwise, mid-sides in the same sense, centre
_VTK_ORDER = (0, 2, 8, 6, 1, 5, 7, 3, 4)


def write_vtu(path: Path, mesh: Mesh, nodal: Mapping[str, Array], cell: Mapping[str, Array] | None = None) -> Path:
    """Write node values (n,) and element values (e,); names should end in their unit. r is x, z is y. Returns `path`."""
    cells = mesh.quads[:, _VTK_ORDER]
    points = np.column_stack([mesh.points, np.zeros(len(mesh.points))])
    per_cell = {"region": mesh.region.astype(float), **(cell or {})}
    offsets = 9 * np.arange(1, len(cells) + 1, dtype=np.int64)
    types = np.full(len(cells), _BIQUADRATIC_QUAD, dtype=np.int64)
    lines = [
        '<?xml version="1.0"?>',
        '<VTKFile type="UnstructuredGrid" version="0.1" byte_order="LittleEndian">',
        "<UnstructuredGrid>",
        f'<Piece NumberOfPoints="{len(points)}" NumberOfCells="{len(cells)}">',
        f"<Points>{_array('points', points, components=3)}</Points>",
        f"<Cells>{_array('connectivity', cells, 'Int64')}{_array('offsets', offsets, 'Int64')}",
        f"{_array('types', types, 'UInt8')}</Cells>",
        "<PointData>",
        *(_array(name, _sized(name, values, len(points))) for name, values in nodal.items()),
        "</PointData>",
        "<CellData>",
        *(_array(name, _sized(name, values, len(cells))) for name, values in per_cell.items()),
        "</CellData>",
        "</Piece></UnstructuredGrid></VTKFile>",
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def field_vtu(report: FieldReport, path: Path) -> Path:
    """The bodies of a field report: vector potential at the nodes, mean loss density of the elements."""
    state = report.result.state
    mesh = state.reduced.live.interior.mesh
    nodal = {"A_real_Wb_per_m": state.potential.real, "A_imag_Wb_per_m": state.potential.imag}
    return write_vtu(path, mesh, nodal, {"loss_density_W_per_m3": state.loss_density @ quad_table().weight / 4.0})


def shot_vtu(shot: ShotResult, path: Path) -> Path:
    """The bodies at the end of a shot: temperature at the nodes, burnt share of the charge in the elements."""
    stepper = shot.model.stepper
    mesh, operators = stepper.model.mesh, stepper.operators
    drawn = Mesh(operators.points, operators.quads, mesh.region, mesh.regions)
    burnt = shot.state.burnt
    cell = {} if burnt is None else {"charge_fired": burnt @ quad_table().weight / 4.0}
    return write_vtu(path, drawn, {"temperature_degC": shot.state.temperature - ZERO_CELSIUS}, cell)


def _sized(name: str, values: Array, wanted: int) -> Array:
    if len(values) != wanted:
        raise ValueError(f"{name} must have {wanted} values; received {len(values)}")
    return values


def _array(name: str, values: Array | IntArray, kind: str = "Float64", components: int = 1) -> str:
    form = "%d" if kind != "Float64" else "%.9g"
    text = " ".join(form % v for v in np.ravel(values))
    head = f'<DataArray type="{kind}" Name={quoteattr(name)} NumberOfComponents="{components}" format="ascii">'
    return f"{head}{text}</DataArray>"
