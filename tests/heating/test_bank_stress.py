"""What stands across a bank at worst."""

import math

import pytest

from coilwright.heating.bank_stress import bank_stresses
from coilwright.job.schema_workshop import Workshop
from tests.pack.workshop_contents import example


def test_worst_of_all_operating_points():
    found = example("indicator-tube-getter/with-tank.toml")
    (stress,) = bank_stresses(found.tank, found.job, Workshop())
    points = [p for p in (found.tank.cold, found.tank.hot, found.tank.empty) if p is not None]
    assert stress.voltage == max(p.component("tank").voltage for p in points)
    assert stress.layout.current == max(p.component("tank").current for p in points)
    assert stress.layout.peak_voltage >= math.sqrt(2.0) * stress.voltage * (1.0 - 1e-12)
    assert len(stress.layout.cans) == sum(g.cans for g in found.tank.tank.bank.groups)
    assert all(origin == "assumed" for _, origin in stress.layout.sizes.values())
    assert stress.bank.capacitance == pytest.approx(found.tank.tank.bank.capacitance)
