"""Coils of several stations on one source: their currents and what the terminals show.

Everything broadcasts over leading axes, so that a hundred thousand draws are one call.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilwright.job.schema_fixture import Control, Feed
from coilwright.section.quad9 import Array

Complex = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class Terminals:
    """`currents` (..., n) A rms of every coil, phase against the first; `impedance` (...) ohm and `current` (...) A at the
    terminals of the fixture. Separately fed stations have no common terminals: their impedance is that of all in series,
    for the sums of power and reactance.
    """

    currents: Complex
    current: Array
    impedance: Complex

    @property
    def power(self) -> Array:
        return np.asarray(self.current**2 * self.impedance.real)

    @property
    def voltage(self) -> Array:
        return np.asarray(self.current * np.abs(self.impedance))

    @property
    def q(self) -> Array:
        return np.asarray(self.impedance.imag / self.impedance.real)


def shares(impedances: Complex, feed: Feed) -> tuple[Complex, Complex]:
    """(..., n) coil currents per ampere at the terminals, and the impedance (...) there, of a coupled (..., n, n) matrix.

    Series: every coil carries the same. Parallel: every branch has the same voltage, i = Z^-1 1. Separate: each source
    drives its own coil with the same current (its own control is applied afterwards).
    """
    n = impedances.shape[-1]
    if feed == "parallel":
        branch = np.linalg.solve(impedances, np.ones((*impedances.shape[:-1], 1), dtype=complex))[..., 0]
        total = branch.sum(axis=-1, dtype=np.complex128)
        return branch / total[..., None], 1.0 / total
    ones = np.ones(impedances.shape[:-1], dtype=complex)
    return ones, impedances.sum(axis=(-1, -2)) if n else np.zeros(impedances.shape[:-2], dtype=complex)


def strength(impedance: Complex, control: Control) -> Array:
    """Current (A) per unit of what the source holds: 1 A, 1 V on the tuned tank, sqrt(1 W), 1 V at the terminals."""
    if control == "current":
        return np.ones(np.shape(impedance))
    if control == "voltage":
        return 1.0 / impedance.real
    if control == "power":
        return 1.0 / np.sqrt(impedance.real)
    return 1.0 / np.abs(impedance)


def drive(impedances: Complex, feed: Feed, control: Control, setting: Array | float) -> Terminals:
    """Currents of coils with a coupled impedance matrix (..., n, n) when the source holds `setting`.

    The setting is A, V or sqrt(W), of the whole fixture or, separately fed, of one station (scalar or (..., ), or
    (..., n) of every station by itself).
    """
    setting = np.asarray(setting, dtype=float)
    per_ampere, total = shares(impedances, feed)
    if feed != "separate":
        current = setting * strength(total, control)
        return Terminals(per_ampere * current[..., None], current, total)
    own = impedances.sum(axis=-1)  # what a station's source sees while its neighbours carry about the same current
    each = setting if setting.ndim == own.ndim and setting.shape[-1:] == own.shape[-1:] else setting[..., None]
    currents = each * strength(own, control)
    for _ in range(20):
        own = (impedances @ currents[..., None])[..., 0] / currents
        new = each * strength(own, control)
        if np.all(np.abs(new - currents) <= 1e-12 * np.abs(new)):
            break
        currents = new
    power = np.einsum("...i,...ij,...j->...", currents, impedances, currents)
    mean = np.sqrt(np.mean(currents**2, axis=-1))
    return Terminals(currents.astype(complex), mean, power / mean**2)
