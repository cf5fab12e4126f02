"""A lumped body that radiates (Incropera & DeWitt, eqs 5.18 and 5.19)."""

import pytest

from coilwright.heat.formulas_lumped import radiation_time
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("heat_lumped", "radiation", "to_zero"))
def test_cooling_by_radiation(entry):
    g = entry["inputs"]
    capacity = g.get("rhoVc_over_epsA", g.get("K"))
    meets(entry, float(radiation_time(capacity, 1.0, g["Ti_K"], g["T_K"], g.get("Ts_K", 0.0))))
