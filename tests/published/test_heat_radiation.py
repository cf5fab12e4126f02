"""Share of black-body emission below a wavelength, and exchange between concentric balls."""

from math import pi

import pytest
from scipy.optimize import brentq

from coilwright.heat.bands import STEFAN_BOLTZMANN, share_below
from coilwright.heat.formulas_radiation import enclosed_exchange, shell_drop
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("heat_radiation", "blackbody"))
def test_black_body_share(entry):
    meets(entry, float(share_below(entry["inputs"]["lambdaT_umK"] * 1e-6, 1.0)))


# A heated shell inside an insulating shell, 30 kW through both, radiation across the gap and to 300 K outside.
@pytest.mark.parametrize("entry", entries("heat_radiation", "spheres"))
def test_concentric_balls(entry):
    g = entry["inputs"]
    power, (_, r2, r3, r4) = g["P_W"], g["r_m"]
    outside = (g["T_amb_K"] ** 4 + power / (4 * pi * r4**2 * g["eps_ins"] * STEFAN_BOLTZMANN)) ** 0.25
    inside = outside + float(shell_drop(power, r3, r4, g["k_ins"]))

    def excess(heater):
        area = [4 * pi * r**2 for r in (r2, r3)]
        return float(enclosed_exchange(*area, g["eps_heater"], g["eps_ins"], heater, inside)) - power

    heater = brentq(excess, inside, 3000.0, xtol=1e-10)
    meets(entry, {"1": outside, "2": inside, "3": heater}[entry["id"][-1]])
