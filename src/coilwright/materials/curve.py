"""A property against temperature: a table with its source and the range it covers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source, ValidRange

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Curve:
    """Values of one property (SI) at temperatures `at` (K, rising): linear between them, constant outside.

    `valid` is the range the source covers; the curve answers outside it too (`Material.findings` says where
    that happens). Raises BadInput when the table is not a table.
    """

    at: Array
    values: Array
    source: Source
    valid: ValidRange

    def __post_init__(self) -> None:
        at = np.array(self.at, dtype=float)
        values = np.array(self.values, dtype=float)
        if at.ndim != 1 or at.shape != values.shape or at.size == 0:
            raise BadInput(Fault("", "a curve needs as many values as temperatures, and at least one"))
        if not (np.all(np.isfinite(at)) and np.all(np.isfinite(values))):
            raise BadInput(Fault("", "a curve may hold finite numbers only"))
        if np.any(np.diff(at) <= 0.0):
            raise BadInput(Fault("", "the temperatures of a curve must rise from one to the next"))
        at.flags.writeable = values.flags.writeable = False
        object.__setattr__(self, "at", at)
        object.__setattr__(self, "values", values)

    @classmethod
    def constant(cls, value: float, source: Source, valid: ValidRange | None = None) -> Curve:
        """The same value at every temperature."""
        return cls(np.array([293.15]), np.array([value]), source, valid or ValidRange("temperature", unit="K"))

    @property
    def is_constant(self) -> bool:
        return self.at.size == 1

    def __call__(self, temperature: ArrayLike) -> Array:
        """Value at `temperature` (K, any shape); same shape."""
        return np.asarray(np.interp(np.asarray(temperature, dtype=float), self.at, self.values))

    def slope(self, temperature: ArrayLike) -> Array:
        """Derivative by temperature; at a corner of the table the slope to its right, zero outside the table."""
        piece = np.searchsorted(self.at, temperature, side="right")
        result: Array = self._slopes[piece]
        return result

    def integral(self, temperature: ArrayLike, start: float = 293.15) -> Array:
        """Exact integral of the curve from `start` to `temperature` (K)."""
        return self._antiderivative(np.asarray(temperature, dtype=float)) - self._antiderivative(np.asarray(start))

    def _antiderivative(self, temperature: Array) -> Array:
        piece = np.searchsorted(self.at, temperature, side="right")
        base = np.maximum(piece - 1, 0)
        step = temperature - self.at[base]
        result: Array = self._sums[base] + step * (self.values[base] + 0.5 * self._slopes[piece] * step)
        return result

    @cached_property
    def _slopes(self) -> Array:
        return np.concatenate([[0.0], np.diff(self.values) / np.diff(self.at), [0.0]])

    @cached_property
    def _sums(self) -> Array:
        """Integral from the first temperature of the table to each of them."""
        return np.concatenate([[0.0], np.cumsum(0.5 * (self.values[1:] + self.values[:-1]) * np.diff(self.at))])

    def scaled(self, factor: float, source: Source) -> Curve:
        """All values times `factor`; `source` says where the factor comes from."""
        return Curve(self.at, factor * self.values, source, self.valid)

    def to_dict(self) -> dict[str, Any]:
        low, high = self.valid.lowest, self.valid.highest
        return {
            "temperature_K": self.at.tolist(),
            "value": self.values.tolist(),
            "source": self.source.citation,
            "source_kind": self.source.kind,
            "valid_from_K": low if np.isfinite(low) else None,
            "valid_to_K": high if np.isfinite(high) else None,
        }
