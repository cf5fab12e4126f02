"""Heating currents of all stations of many draws, from the circuit that ties the stations together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.section.quad9 import Array
from coilwright.window.askew import Askew
from coilwright.window.circuit import Complex, drive, shares, strength
from coilwright.window.margins import Outcome
from coilwright.window.source import SourceTable
from coilwright.window.stations import FixtureModel
from coilwright.window.surrogate import Surrogate, fit

_ENOUGH = 5e-4  # of an impedance (relative, rms): what the current then misses is below the stand-ins of the times


def source_table(model: FixtureModel) -> SourceTable | None:
    """What the job's own source makes of the impedance of the fixture; None where none decides."""
    if model.source is None:
        return None
    _, total = shares(model.network.matrix, model.fixture.feed)
    middle = total if model.fixture.feed != "separate" else np.mean(model.network.matrix.sum(axis=1))
    return SourceTable.of(model.source, complex(middle), model.frequency)


def lean_of(x: Array, outcomes: Sequence[Outcome], box: Array, first: int) -> Array:
    """(d,) by how much the ln of the level counts for more per unit of every quantity from column `first` on, 0 before: half
    the slope of ln of the power per A^2 of full shots at places x (n, d) of the box (d, 2), the ln of the level in column 0.

    A stand-in told of the level so raised has the strongest bend of a shot along one axis: it misses times by half as much (32
    runs over seven quantities against 36 of the bare level, eight seeds, six stations of a getter ring; own runs).
    """
    lean = np.zeros(len(box))
    power = np.array([o.power for o in outcomes])
    columns = [0, *range(first, len(box))]
    if len(box) == first or len(x) <= len(columns) + 1 or not (power > 0.0).all():
        return lean
    half = 0.5 * (box[:, 1] - box[:, 0])[columns]
    terms = np.column_stack([np.ones(len(x)), (x[:, columns] - box[columns].mean(axis=1)) / half])
    slopes = np.linalg.lstsq(terms, 0.5 * np.log(power), rcond=None)[0][1:] / half
    lean[first:] = slopes[1:]
    return lean


@dataclass(frozen=True, eq=False)
class Levels:
    """Stand-ins of R and X of the empty coil, of what the part adds to them, and of ln of what a drawn tank does to the
    current of the job's own source beyond the change of the coil; `mean` and `sizes` (5,) of their readings."""

    model: FixtureModel
    table: SourceTable | None
    stand_ins: tuple[Surrogate, ...]
    mean: Array
    sizes: Array

    @staticmethod
    def of(model: FixtureModel, table: SourceTable | None, x: Array, outcomes: Sequence[Outcome], box: Array) -> Levels:
        """Fitted to the cold readings of full shots at places x (n, d) of the box (d, 2) of the station's quantities."""
        empty, loaded = np.array([o.empty for o in outcomes]), np.array([o.loaded for o in outcomes])
        own, source = np.zeros(len(loaded)), model.source
        if table is not None and source is not None:
            common = np.array([source.common(complex(z)) for z in loaded])
            told = np.array([o.cold_current for o in outcomes]) / model.nominal_current
            own = np.log(told / table.current(common))
        added = loaded - empty
        z = np.column_stack([empty.real, empty.imag, added.real, added.imag, own])
        sizes = np.array([*np.abs(z[:, :4]).mean(axis=0), 1.0])
        fitted = tuple(fit(x, z[:, k] / sizes[k], box, _ENOUGH) for k in range(5)) if len(box) else ()
        return Levels(model, table, fitted, z.mean(axis=0), sizes)

    def _readings(self, x: Array, shape: tuple[int, int]) -> list[Array]:
        if not self.stand_ins:
            return [np.full(shape, m) for m in self.mean]
        return [(s(x) * size).reshape(shape) for s, size in zip(self.stand_ins, self.sizes, strict=True)]

    def __call__(self, x: Array, setting: Array, mains: Array, crooked: Askew | None) -> Array:
        """(shots, stations) A: the heating currents at x (shots * stations, d), settings and mains (shots,) over the healthy
        ones; the mains reach the job's own source only.

        What neighbours add to a part is taken between nominal coils: good to a thousandth of the current.
        """
        shape = (len(setting), self.model.fixture.stations)
        r, reactance, added_r, added_x, own = self._readings(x, shape)
        extra = np.array([1j * 2 * np.pi * self.model.frequency * s.extra_inductance for s in self.model.healthy])
        empty, reflected, coupling = r + 1j * reactance + extra, added_r + 1j * added_x, np.ones(shape)
        if crooked is not None:
            coupling = crooked.coupling.reshape(shape)
            added_r, added_x = (
                added_r * crooked.resistance.reshape(shape),
                added_x * crooked.inductance.reshape(shape),
            )
            reflected = (added_r + 1j * added_x) / coupling**2
        return self._heating(empty, reflected, coupling, self._flows(own, setting, mains), setting * self.model.setting)

    def _flows(self, own: Array, setting: Array, mains: Array) -> Callable[[Complex], Array]:
        """What flows (A) at the terminals for impedances there."""
        f, table, usual = self.model.fixture, self.table, self.model.setting
        if table is None:
            return lambda z: np.asarray(setting * usual * strength(z, f.control))
        if f.feed == "separate":  # every station behind its own tank
            return lambda z: usual * np.exp(own) * table.current(z, setting[:, None], mains[:, None])
        return lambda z: usual * np.exp(own).mean(axis=1) * table.current(z, setting, mains)

    def _heating(
        self, empty: Complex, reflected: Complex, coupling: Array, flows: Callable[[Complex], Array], held: Array
    ) -> Array:
        """`flows`: current (A) at the terminals for impedances there, (shots,) or of every station by itself (shots, n);
        `held` (shots,): what sources without a table hold."""
        f, nominal = self.model.fixture, self.model.network
        beside = nominal.flux - np.diag(np.diag(nominal.flux))
        if f.feed == "series":  # every coil carries the same current: no system to solve
            through = coupling + beside.sum(axis=1)
            total = empty.sum(axis=1) + nominal.mutual.sum() + np.sum(reflected * through**2, axis=1)
            return np.asarray(np.abs(through) * flows(total)[:, None])
        flux = np.broadcast_to(beside, (*coupling.shape, coupling.shape[1])).copy()
        k = np.arange(coupling.shape[1])
        flux[:, k, k] += coupling
        matrix = np.einsum("ski,sk,skj->sij", flux, reflected, flux) + nominal.mutual
        matrix[:, k, k] += empty
        if f.feed == "parallel":
            per_ampere, total = shares(matrix, f.feed)
            currents = per_ampere * flows(total)[:, None]
        elif self.table is None:
            currents = drive(matrix, f.feed, f.control, held).currents
        else:
            currents = flows(matrix.sum(axis=-1)).astype(complex)
        return np.asarray(np.abs(np.einsum("skj,sj->sk", flux, currents)))
