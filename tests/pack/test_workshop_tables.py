"""Tables of the workshop: every figure is that of the result object, nothing missing is left blank."""

import csv
import io
from types import SimpleNamespace

import numpy as np
import pytest

from coilwright.field.targets import coil_target
from coilwright.job import loads
from coilwright.pack.tables import Column, Table
from coilwright.pack.winding_tables import cut_list, parts_list, winding_card, winding_steps_table
from coilwright.pack.workshop_drawings import drawings, not_drawn
from coilwright.pack.workshop_tables import tables
from coilwright.section.forming import mandrel_diameter
from coilwright.section.winding import winding_of
from coilwright.steps.heat import heat
from coilwright.tank.stress import stress_table
from coilwright.units import ZERO_CELSIUS
from coilwright.window.limits import Tolerance
from coilwright.window.quantities import VariedQuantity

from .workshop_contents import COILS, EXAMPLES, JOBS, contents_of, example, other_coil, with_shot

TANK = "indicator-tube-getter/with-tank.toml"


def by_name(contents):
    return {t.name: t for t in tables(contents)}


def read_back(table, tmp_path):
    """Rows of the CSV file as dictionaries."""
    text = table.write_csv(tmp_path / f"{table.name}.csv").read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text.split("\n\n")[0])))


def test_csv_numbers_are_those_of_the_water_circuit(tmp_path):
    found = example(TANK)
    rows = read_back(by_name(found)["water-circuit"], tmp_path)
    cooling = found.tank.cooling
    assert [r["part"] for r in rows if "whole" not in r["part"]] == [e.name for e in cooling.elements]
    for row in rows:
        if "whole" in row["part"]:
            continue
        e = cooling.element(row["part"])
        assert float(row["flow [L/min]"]) / 6e4 == pytest.approx(e.flow, rel=1e-12)
        assert float(row["drop [bar]"]) * 1e5 == pytest.approx(e.pressure_drop, rel=1e-12)
        assert float(row["rise [K]"]) == pytest.approx(e.outlet_temperature - e.inlet_temperature, abs=1e-9)
        assert float(row["heat [W]"]) == pytest.approx(e.loss, rel=1e-12)
    (path,) = [r for r in rows if r["part"] == "whole path"]
    assert float(path["drop [bar]"]) * 1e5 == pytest.approx(cooling.paths[0].pressure_drop, rel=1e-12)
    whole = rows[-1]
    assert float(whole["out [°C]"]) == pytest.approx(cooling.outlet_temperature - ZERO_CELSIUS)
    # what the water takes up at its flow is the heat of the parts: rho c of water 4.18 MJ/(m3 K) near 20 degC (any table)
    assert float(whole["flow [L/min]"]) / 6e4 * 4.18e6 * float(whole["rise [K]"]) == pytest.approx(
        cooling.heat, rel=5e-3
    )


def test_csv_numbers_are_those_of_the_capacitors(tmp_path):
    found = example(TANK)
    there = by_name(found)
    loads = read_back(there["capacitor-loads"], tmp_path)
    for point, name in ((found.tank.cold, "cold"), (found.tank.hot, "hot"), (found.tank.empty, "coil empty")):
        rows = [r for r in loads if r["point"] == name]
        for row, load in zip(rows, stress_table(found.tank.tank, point), strict=True):
            assert float(row["voltage [V rms]"]) == load.voltage and float(row["current [A rms]"]) == load.current
            assert float(row["reactive power [kvar]"]) * 1e3 == pytest.approx(load.reactive_power, rel=1e-12)
            assert float(row["peak [V]"]) == load.peak_voltage
    for row, check in zip(read_back(there["capacitor-ratings"], tmp_path), found.tank.worst, strict=True):
        factor = 1e3 if row["unit"] == "kvar" else 1.0
        assert float(row["value"]) * factor == pytest.approx(check.value, rel=1e-12)
        assert float(row["rating"]) * factor == pytest.approx(check.rating, rel=1e-12)
        assert float(row["margin [%]"]) / 100 == pytest.approx(check.margin, abs=1e-12)
        assert float(row["used [%]"]) + float(row["margin [%]"]) == pytest.approx(100.0)


@pytest.mark.parametrize("name", JOBS[:5])
def test_winding_card_is_that_of_the_coil(name):
    found = example(name)
    coil = found.job.coil
    card = winding_card(found)
    figures = dict(zip(card.column("item"), card.column("figure"), strict=True))
    winding = winding_of(coil, found.workshop, found.check.scene.section)
    assert figures["developed length"] == winding.length * 1e3
    assert figures["cut length"] == pytest.approx(winding.length * 1e3 + 30.0)
    target = coil_target(found.field, found.workshop)
    assert figures["inductance to read"] == target.inductance * 1e6
    assert figures["inductance at least"] == pytest.approx(0.95 * figures["inductance to read"])
    assert figures["resistance at most"] == pytest.approx(1.15 * figures["resistance to read"])
    if coil.winding == "helix":
        assert figures["mandrel diameter"] == mandrel_diameter(coil.conductor, coil.mean_diameter) * 1e3
        assert figures["mandrel diameter"] < figures["inside diameter"]


@pytest.mark.parametrize("name", COILS)
def test_every_conductor_has_its_order_of_work(name):
    found = other_coil(name)
    steps = winding_steps_table(found).column("what to do")
    words = " ".join(steps)
    tube = "tube" in found.job.coil.conductor.section
    assert ("Pressure test" in words) == tube and ("Fill against collapse" in words) == tube
    assert ("tin every strand" in words) == (name == "litz")
    length = winding_of(found.job.coil, found.workshop, found.check.scene.section).length * 1e3
    assert f"{length:.1f} mm" in words and "Measure L and R" in words
    assert winding_steps_table(found).column("step") == tuple(range(1, len(steps) + 1))


def test_parts_and_cuts_count_stations_and_cans():
    six = example("indicator-tube-getter/six-stations.toml")
    (length,) = cut_list(six).column("length")
    assert cut_list(six).column("count") == (6,) and cut_list(six).column("total") == (6 * length,)
    found = example(TANK)
    parts = parts_list(found)
    counts = dict(zip(parts.column("part"), parts.column("count"), strict=True))
    assert counts["capacitor, tank"] == found.tank.tank.bank.groups[0].cans and counts["busbar, tank"] == 2
    pieces = cut_list(found).column("piece")
    assert pieces == ("work coil", "busbar, tank", "feed hose", "return hose")


def test_wiring_carries_the_worst_current():
    found = example(TANK)
    wiring = by_name(found)["wiring-list"]
    currents = dict(zip(wiring.column("run"), wiring.column("current"), strict=True))
    points = [found.tank.cold, found.tank.hot, found.tank.empty]
    assert currents["coil leads, go and return"] == float(found.shot.trace.coil.current.max())
    assert currents["to and from tank"] == max(p.component("tank").current for p in points)
    needed = dict(zip(wiring.column("run"), wiring.column("copper needed"), strict=True))
    assert needed["to and from tank"] == pytest.approx(currents["to and from tank"] / 4.0)  # 4 A/mm2


def test_settings_of_a_job_without_a_source():
    found = with_shot("indicator-tube-getter/job.toml")
    settings = by_name(found)["settings"]
    values = dict(zip(settings.column("setting"), settings.column("value"), strict=True))
    assert values["frequency"] == 350.0 and values["coil current"] == 132.0 and values["on-time"] == 8.0
    assert values["coil face to bulb"] == pytest.approx(1.0)
    assert "No limits of the settings" in settings.notes[0]


def test_missing_sections_are_named_not_blank():
    there = by_name(with_shot("indicator-tube-getter/job.toml"))
    for name, why in (
        ("water-circuit", "[cooling]"), ("capacitor-loads", "[tank]"), ("capacitor-ratings", "[tank]"),
        ("capacitors-as-built", "[tank]"),
    ):  # fmt: skip
        ((said,),) = there[name].rows
        assert why in said
    assert all(t.rows for t in there.values())


def test_a_job_without_a_coil_still_has_its_tables_and_no_drawings():
    text = (EXAMPLES / "indicator-tube-getter/job.toml").read_text(encoding="utf-8")
    a, b, c = text.index("[coil]"), text.index("[drive]"), text.index("# What a good part is")
    job = loads(
        text[:a]
        + '[drive]\nfrequency = "10 kHz"\nthrough = { body = "ring", current = "30 A" }\non_time = "1 s"\n'
        + text[c:]
    )
    assert b > a and job.coil is None
    found = contents_of(job, shot=heat(job, estimate_error=False))
    assert drawings(found) == [] and "the job has no [coil]" in not_drawn(found).values()
    there = by_name(found)
    assert there["winding-card"].rows == (("the job has no [coil]",),)
    assert all(t.rows for t in there.values())
    assert there["settings"].column("value") == (10.0, 30.0, 1.0)


def test_settings_show_the_limits_of_the_window():
    job = example(JOBS[5]).job
    mains = VariedQuantity("mains", "mains", "", 1.0, 0.01, "normal", False)
    current = VariedQuantity("drive.coil_current", "setting", "current", 132.0, 1.0, "normal", False)
    ends = (
        Tolerance(mains, 0.92, 1.09, ("", ""), (0.8, 1.2), (0.98, 1.02)),
        Tolerance(current, 125.4, None, ("", ""), (100.0, 160.0), (130.0, 134.0)),
    )
    shot = with_shot("indicator-tube-getter/job.toml").shot
    settings = by_name(contents_of(job, shot=shot, window=SimpleNamespace(tolerances=ends)))["settings"]
    rows = {r[0]: r for r in settings.rows}
    assert rows["mains voltage"][1:5] == (100.0, "% of nominal", "92 %", "109 %")
    assert rows["coil current"][3:5] == ("95 %", None)
    assert "alone" in settings.notes[0]


def test_litz_says_nothing_of_water_or_spring_back():
    card = winding_card(other_coil("litz"))
    items = card.column("item")
    assert "pressure test" not in items and "lead length" not in items
    figures = dict(zip(items, card.column("figure"), strict=True))
    assert figures["mandrel diameter"] == pytest.approx(figures["inside diameter"])


def test_the_clear_flow_of_a_tube_by_a_formula_of_its_own():
    """Blasius' friction for smooth pipe, f = 0.316 Re^-1/4 (Blasius 1913, any text on pipe flow); the helix and the entry add
    to it, so the card's flow is a little less."""
    found = example("indicator-tube-getter/job.toml")
    rows = {row[0]: row for row in winding_card(found).rows}
    length, bore, density, viscosity = rows["developed length"][1] * 1e-3, 2.5e-3, 998.2, 1.0016e-3
    speed = 1.0
    for _ in range(50):
        friction = 0.316 * (density * speed * bore / viscosity) ** -0.25
        speed = np.sqrt(2e5 * bore / (0.5 * density * friction * length))
    straight = speed * np.pi / 4.0 * bore**2 * 6e4
    assert 0.75 * straight < rows["water flow, clear"][1] < straight


def test_every_can_of_the_bank_has_its_row():
    found = example(TANK)
    table = by_name(found)["capacitors-as-built"]
    groups = [g for _, bank in found.tank.tank.banks() for g in bank.groups]
    assert len(table.rows) == sum(g.parallel * g.series for g in groups)
    assert len(set(zip(table.column("place"), table.column("can"), strict=True))) == len(table.rows)
    assert set(table.column("serial number")) == set(table.column("measured")) == {""}  # written in by hand
    can = groups[0].can
    marked, least, most = (table.column(name)[0] for name in ("marked", "at least", "at most"))
    assert marked == pytest.approx(1e6 * can.capacitance) and most - least == pytest.approx(
        2.0 * can.tolerance * marked
    )
    total = 1e-6 * sum(table.column("marked"))  # all in parallel in this job
    assert total == pytest.approx(found.tank.tank.bank.capacitance, rel=1e-3)


def test_names_are_different_and_files_stable(tmp_path):
    found = example(TANK)
    names = [t.name for t in tables(found)]
    assert len(set(names)) == len(names)
    first, second = ([t.csv() for t in tables(found)] for _ in range(2))
    assert first == second


def test_csv_keeps_words_that_look_like_formulas_words(tmp_path):
    table = Table("x", "X", (Column("part"), Column("length", "mm")), (("=1+1", 2.5), ("plain", None)), ("a note",))
    assert table.csv() == "part,length [mm]\n'=1+1,2.5\nplain,\n\nnote,a note\n"
    assert table.write_csv(tmp_path / "x.csv").read_bytes().startswith(b"\xef\xbb\xbfpart")


def test_printed_cells():
    table = Table(
        "x", "X", (Column("a"), Column("b", "V", 3)), ((1234567.0, 0.0123456), (None, np.inf), (7, float("nan")))
    )
    assert table.shown() == [["1234567", "0.0123"], ["–", "unlimited"], ["7", "none"]]
    with pytest.raises(ValueError, match="3 cells under 2"):
        Table("x", "X", (Column("a"), Column("b")), ((1, 2, 3),))
    with pytest.raises(KeyError, match="there are a, b"):
        table.column("c")
