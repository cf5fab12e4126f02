"""The [cooling] table: read, refused with sentences, turned into a circuit."""

import tomllib

import pytest

from coilwright.cooling.inputs import Element, RatedDrop, SetFlow, SetPressure, SetRise, round_bore
from coilwright.cooling.solve import solve_cooling
from coilwright.cooling.table import circuit_from, read_cooling
from coilwright.errors import BadInput

KNOWN = {
    "coil": Element("coil", round_bore(2.5e-3, 0.4, coil_diameter=0.024), 400.0),
    "leads": Element("leads", round_bore(2.5e-3, 0.3), 100.0),
}
FULL = """
inlet = "18 degC"
flow = "2 L/min"
back_pressure = "0.5 bar"
room = { temperature = "25 degC", humidity = 0.6 }
hose = { bore = "8 mm", length = "3 m" }
path = [{ through = ["coil", "leads"] }, { name = "bank", through = ["capacitors", "transformer"] }]
part.capacitors = { drop = "0.3 bar", at = "2 L/min", loss = "120 W" }
part.transformer = { bore = "6 mm", length = "1.2 m", bends = 6, bend_radius = "15 mm", loss = "200 W" }
"""


def read(text):
    return read_cooling(tomllib.loads(text), "job.toml")


def test_full_table_becomes_a_circuit_that_solves():
    circuit = circuit_from(read(FULL), KNOWN, "job.toml")
    assert circuit.inlet_temperature == pytest.approx(291.15)
    assert circuit.supply == SetFlow(pytest.approx(2e-3 / 60))
    assert circuit.outlet_pressure == pytest.approx(151325.0)
    assert [p.name for p in circuit.paths] == ["coil-leads", "bank"]
    assert circuit.heat == pytest.approx(820.0)
    result = solve_cooling(circuit)
    assert result.element("feed hose").pressure_drop > 0.0
    assert result.element("return hose").inlet_temperature > result.element("feed hose").outlet_temperature


def test_without_paths_everything_is_in_series():
    circuit = circuit_from(read('rise = "10 K"'), KNOWN, "job.toml")
    assert circuit.supply == SetRise(10.0)
    assert [e.name for e in circuit.paths[0].elements] == ["coil", "leads"]


def test_own_part_replaces_the_known_one():
    text = 'pressure = "3 bar"\npart.coil = { drop = "1 bar", at = "1 L/min", loss = "50 W" }'
    circuit = circuit_from(read(text), KNOWN, "job.toml")
    assert circuit.supply == SetPressure(3e5)
    assert isinstance(circuit.paths[0].elements[0].hydraulics, RatedDrop)


def test_pump_reads():
    circuit = circuit_from(read('pump = { flow = ["0 L/min", "4 L/min"], pressure = ["4 bar", "0 bar"] }'), KNOWN, "x")
    assert circuit.supply.pressure == (4e5, 0.0)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ('inlet = "18 degC"', ["job.toml: cooling", "exactly one of flow", "none of them"]),
        ('flow = "2 L/min"\npressure = "3 bar"', ["flow and pressure"]),
        ("flow = 2.0", ["cooling.flow", "no unit", "1.5 L/min"]),
        ('flow = "2,5 L/min"', ["decimal comma"]),
        ('flow = "3 bar"', ["not a flow"]),
        ('flow = "-1 L/min"', ["cooling.flow", "greater than or equal to 0"]),
        ('rise = "0 K"', ["cooling.rise", "greater than 0"]),
        ('flow = "1 L/min"\nflux = 3', ["cooling.flux", "not a key", "back_pressure"]),
        (
            'flow = "1 L/min"\nroom = { temperature = "20 degC", humidity = 60 }',
            ["humidity", "less than or equal to 1"],
        ),
        ('flow = "1 L/min"\nroom = { temperature = "20 degC" }', ["cooling.room.humidity", "missing"]),
        ('flow = "1 L/min"\npart.bank = { drop = "1 bar" }', ["cooling.part.bank", "either drop and at"]),
        ('flow = "1 L/min"\npart.bank = { bore = "1 mm", length = "1 m", bends = 2 }', ["no bend_radius"]),
    ],
)
def test_refusals_name_the_key(text, parts):
    with pytest.raises(BadInput) as caught:
        read(text)
    for part in parts:
        assert part in str(caught.value)


def test_two_faults_give_two_sentences():
    with pytest.raises(BadInput) as caught:
        read('flow = "1 L/min"\ninlet = 20\nhose = { bore = "8", length = "1 m" }')
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize(
    ("path", "part"),
    [
        ('[{ through = ["coil", "leads", "bank"] }]', 'names "bank", which is not there'),
        ('[{ through = ["coil", "leads"] }, { through = ["coil"] }]', "a second time"),
        ('[{ through = ["coil"] }]', 'leaves out "leads"'),
        ('[{ through = ["coil", "leads"] }, { through = [] }]', "at least one part"),
    ],
)
def test_paths_are_checked_against_what_is_there(path, part):
    table = read(f'flow = "1 L/min"\npath = {path}')
    with pytest.raises(BadInput, match=part):
        circuit_from(table, KNOWN, "job.toml")


def test_rise_without_heat_is_refused_with_the_file_named():
    cold = {"hose": Element("hose", round_bore(8e-3, 1.0))}
    with pytest.raises(BadInput, match=r"job\.toml: cooling\.rise"):
        circuit_from(read('rise = "10 K"'), cold, "job.toml")
