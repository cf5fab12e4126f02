"""Heat of thin films: a film is too thin for a temperature of its own, so the body it lies on takes its loss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.setup import MeshedScene
from coilwright.section.films import carrier, elements_below
from coilwright.section.mesh import Mesh, union
from coilwright.section.quad9 import Array, IntArray


@dataclass(frozen=True, eq=False)
class FilmLoad:
    """`below` (film elements,): elements of the thermal mesh that take the loss and lend the film their temperature.

    `volume` (film elements, 16) of the film's Gauss points and `volume_below` (film elements,), m^3.
    """

    name: str
    carrier: str
    below: IntArray
    volume: Array
    volume_below: Array

    def add(self, density: Array, loss: Array) -> None:
        """Spread the film's loss density (W/m^3 at its Gauss points) over the elements below it."""
        power = np.sum(loss * self.volume, axis=1)
        np.add.at(density, self.below, (power / self.volume_below)[:, None])


def film_loads(meshed: MeshedScene) -> tuple[FilmLoad, ...]:
    """One load per film, in the order of the section. Raises BadInput for a film that lies on nothing."""
    if not meshed.mesh.films:
        return ()
    whole = union([g.mesh for g in meshed.mesh.groups])
    of_element = _volumes(whole).sum(axis=1)
    films = zip(meshed.scene.section.films, meshed.mesh.films, strict=True)
    out = []
    for film, group in films:
        on = carrier(film, meshed.scene.section)
        if on is None:
            must = "a film must lie on a body, which takes its heat; this one hangs free: put it on the surface of one"
            raise BadInput(Fault(f'{meshed.scene.job.name}: body "{film.name}"', must))
        of_body = whole.elements(on)
        body = Mesh(whole.points, whole.quads[of_body], whole.region[of_body], whole.regions)
        below = of_body[elements_below(group.mesh, body)]
        out.append(FilmLoad(film.name, on, below, _volumes(group.mesh), of_element[below]))
    return tuple(out)


def _volumes(mesh: Mesh) -> Array:
    """(e, 16) m^3 of revolution at the Gauss points."""
    return np.asarray(2.0 * np.pi * mesh.gauss.r * mesh.gauss.weight)
