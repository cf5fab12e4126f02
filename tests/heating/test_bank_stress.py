"""What stands across a bank at worst."""

import math
from types import SimpleNamespace

import pytest

from coilwright.heating.bank_stress import bank_stresses
from coilwright.job.schema_workshop import Workshop
from coilwright.tank.operating import operating_point
from coilwright.tank.schema import from_job_tables
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


def test_blocking_capacitors_hold_half_the_supply():
    """A half bridge on 320 V leaves 160 V direct on what keeps it from the tank, on top of the alternating peak."""
    tables = {
        "tank": {"arrangement": "inductor-coupled", "inductor": {"inductance": "2.5 uH"}},
        "capacitor": [
            {"name": "tank can", "capacitance": "0.5 uF", "series": 2, "parallel": 4},
            {"name": "blocking", "place": "block", "capacitance": "4 uF", "parallel": 3},
        ],
        "source": {
            "kind": "voltage-fed half bridge", "dc_voltage": "320 V", "phase": "10 deg", "hold": "coil current",
            "coil_current": "100 A", "limits": {"lowest_frequency": "60 kHz", "highest_frequency": "600 kHz"},
        },
    }  # fmt: skip
    tank = from_job_tables(tables, "job.toml")
    point = operating_point(tank, (20e-3, 0.6e-6))
    report = SimpleNamespace(tank=tank, cold=point, hot=point, empty=None, start_up=None)
    job = example("indicator-tube-getter/with-tank.toml").job
    main, block = bank_stresses(report, job, Workshop())
    assert [s.layout.place for s in (main, block)] == ["tank", "block"]
    assert block.layout.peak_voltage == pytest.approx(
        math.sqrt(2.0) * point.component("block").voltage + 160.0, rel=1e-6
    )
    assert main.layout.peak_voltage == pytest.approx(math.sqrt(2.0) * point.component("tank").voltage, rel=1e-6)
    assert len(main.layout.cans) == 8 and max(c.row for c in main.layout.cans) == 2
