"""How far the coil may stand from the drawing, for the setting gauge."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coilwright.section.gauge import CENTRE, SIDEWAYS
from coilwright.window.limits import Tolerance

_WORTH = 0.02e-3  # m: a narrower interval cannot be gauged, and no limit of a failing job is one


def coil_shifts(tolerances: Iterable[Tolerance]) -> Mapping[str, tuple[float, float]]:
    """(low, high) in m about the drawing, for the places of the coil that vary in the job: the interval within which every
    quantity may be out at once. Intervals too narrow to be gauged are left out."""
    out = {}
    for t in tolerances:
        if t.quantity.what in (CENTRE, SIDEWAYS):
            low, high = (end - t.quantity.nominal for end in t.together)
            if high - low > _WORTH:
                out[t.quantity.what] = (low, high)
    return out
