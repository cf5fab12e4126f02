"""The sections of the job file: every key read, every fault a sentence."""

import math
import tomllib

import pytest

from coilwright.errors import BadInput
from coilwright.tank import schema
from coilwright.tank.formulas import busbar_inductance, parallel_tubes_inductance
from coilwright.tank.operating import operating_point
from coilwright.tank.schema import from_job_tables

ANNOTATED = (
    schema.__doc__.split("```toml")[1]
    .split("```")[0]
    .replace(
        'transformer = { ratio = 8, source_leakage = "0.4 uH", '
        'source_resistance = "10 mohm", coil_leakage = "5 nH",\n                ',
        'transformer = { ratio = 8, source_leakage = "0.4 uH", source_resistance = "10 mohm", coil_leakage = "5 nH", ',
    )
    .replace('highest_frequency = "120 kHz",\n           ', 'highest_frequency = "120 kHz", ')
)


def small(**change):
    tables = {
        "tank": {"arrangement": "series"},
        "capacitor": [{"name": "film", "capacitance": "146 nF"}],
        "source": {"kind": "voltage-fed full bridge", "dc_voltage": "12 V"},
    }
    for key, value in change.items():
        section, name = key.split("__")
        target = tables[section][0] if section == "capacitor" else tables[section]
        target[name] = value
    return tables


def test_the_annotated_example_is_read_as_it_stands():
    tank = from_job_tables(tomllib.loads(ANNOTATED), "job.toml")
    assert tank.arrangement == "inductor-coupled" and tank.stock == "shelf.csv"
    group = tank.bank.groups[0]
    assert (group.series, group.parallel, group.can.capacitance, group.can.tolerance) == (1, 4, 0.33e-6, 0.05)
    assert group.can.voltage.at(100e3) == pytest.approx(math.sqrt(700 * 400))
    assert group.can.temperature_coefficient == pytest.approx(-250e-6) and tank.bank.temperature == pytest.approx(
        318.15
    )
    assert tank.transformer.ratio == 8 and tank.transformer.core_resistance == 2000.0
    assert tank.cable.capacitance == pytest.approx(0.3e-9) and tank.inductor_inductance == pytest.approx(8e-6)
    source = tank.source
    assert source.hold == "power" and source.held == 2000.0 and source.phase == pytest.approx(math.radians(10))
    assert source.limits.window == (80e3, 120e3) and source.limits.longest_on_time == pytest.approx(72.0)
    assert source.choke == 1e-3 and source.dead_time == pytest.approx(0.5e-6)


def test_leads_by_their_geometry():
    tubes = {"diameter": "6 mm", "centres": "10 mm", "length": "200 mm"}
    bars = {"gap": "1 mm", "width": "40 mm", "length": "300 mm", "resistance": "0.1 mohm"}
    assert from_job_tables(small(tank__leads=tubes), "f").lead_inductance == parallel_tubes_inductance(6e-3, 10e-3, 0.2)
    made = from_job_tables(small(tank__leads=bars), "f")
    assert made.lead_inductance == busbar_inductance(1e-3, 40e-3, 0.3) and made.lead_resistance == pytest.approx(1e-4)


def test_a_small_job_runs():
    point = operating_point(from_job_tables(small(), "job.toml"), (0.041, 1.4e-6))
    assert 300e3 < point.frequency < 400e3


FAULTS = [
    (small(capacitor__capacitance="0 uF"), 'job.toml: capacitor "film": capacitance: must be greater than 0'),
    (small(capacitor__capacitance=0.3), 'job.toml: capacitor "film": capacitance: 0.3 has no unit'),
    (small(capacitor__capacitance="nan uF"), "does not begin with a number"),
    (small(tank__arrangement="serial"), "job.toml: tank: arrangement: must be one of 'series'"),
    (small(tank__colour="red"), "job.toml: tank: colour: this key is not known here"),
    (small(tank__leads={"gap": "1 mm"}), "job.toml: tank: leads: write inductance, or diameter"),
    (small(tank__leads={"diameter": "6 mm", "centres": "5 mm", "length": "1 m"}), "the tubes touch"),
    (small(tank__bank_side="source"), "the source side of a transformer"),
    (small(tank__arrangement="parallel"), "is driven by a current-fed bridge"),
    (small(tank__arrangement="inductor-coupled"), "needs an inductor"),
    (small(capacitor__place="tap"), 'at least one [[capacitor]] must stand at place = "tank"'),
    (small(capacitor__series=0), "must be at least 1"),
    (small(capacitor__rated_voltage={"at": ["1 kHz"], "is": []}), "as many values as frequencies"),
    (small(capacitor__rated_voltage={"at": ["2 kHz", "1 kHz"], "is": ["1 V", "2 V"]}), "must rise"),
    (small(source__dc_current="3 A"), "is described by dc_voltage"),
    (small(source__follow="frequency"), 'frequency belongs to follow = "frequency"'),
    (small(source__hold="power"), 'hold = "power" needs power'),
    (small(source__level=0.5, source__hold="power", source__power="1 kW"), "keep the one that is held"),
    (small(source__phase="95 deg"), "job.toml: source: phase: must be less than"),
    (small(source__limits={"lowest_frequency": "9 kHz", "highest_frequency": "8 kHz"}), "must be below"),
    (small(source__limits={"duty": 0.5}), "needs its period"),
    ({"capacitor": [], "tank": {"arrangement": "series"}}, "at least one [[capacitor]]"),
    ({"capacitor": [{"capacitance": "1 uF"}]}, "the section [tank] is missing"),
    ({"tank": 3, "capacitor": [3], "source": 3}, "must be a section"),
]


@pytest.mark.parametrize(("tables", "words"), FAULTS, ids=[w[:40] for _, w in FAULTS])
def test_faults_are_sentences(tables, words):
    with pytest.raises(BadInput) as caught:
        from_job_tables(tables, "job.toml")
    assert words in str(caught.value)
    assert all(f.where.startswith("job.toml: ") for f in caught.value.faults)


def test_all_faults_come_at_once():
    tables = small(capacitor__capacitance="0 F", tank__colour="red", source__dc_voltage="-3 V")
    with pytest.raises(BadInput) as caught:
        from_job_tables(tables, "job.toml")
    assert len(caught.value.faults) == 3
