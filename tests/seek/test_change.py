"""The three quantities a winder thinks in, against the section as drawn and the tank as solved."""

import math
from pathlib import Path

import pytest

from coilwright.errors import BadInput
from coilwright.heating.tank_source import tank_of
from coilwright.job import load, loads
from coilwright.section.build import build_section
from coilwright.section.overlap import check_geometry, clearances
from coilwright.seek.change import apply, as_drawn, bank_price, cold_impedance, setback_directions, side_of
from coilwright.tank.operating import operating_point

from .jobs import SEEK, washer

EXAMPLES = Path(__file__).parents[2] / "examples" / "indicator-tube-getter"


def gap_of(job):
    found = [c for c in clearances(build_section(job)) if "turn" in c.first + c.second and c.first[:4] != c.second[:4]]
    return min(c.distance for c in found)


@pytest.mark.parametrize("gap", [0.3, 1.0, 2.5, 7.0])
@pytest.mark.parametrize("turns", [1, 2, 3.5])
def test_the_gap_is_the_shortest_way_from_coil_to_body(gap, turns):
    for job in (washer(), load(EXAMPLES / "seek.toml")):
        changed, changes = apply(job, {"coil.turns": turns, "coil.gap": f"{gap} mm"})
        assert gap_of(changed) == pytest.approx(gap * 1e-3, abs=2e-7)
        check_geometry(build_section(changed))
        assert set(changes) == {"coil.turns", "coil.centre"}
        assert as_drawn(changed, "coil.gap") == pytest.approx(gap * 1e-3, abs=2e-7)


def test_the_coil_keeps_to_its_side():
    below, above = washer(), washer(SEEK, ('"-8 mm"', '"8 mm"'))
    a, b = (apply(j, {"coil.gap": "2 mm"})[0].coil.centre for j in (below, above))
    assert a == pytest.approx(-b, abs=1e-7)
    assert b > 0.0
    assert side_of(build_section(below)) == -1.0
    assert setback_directions(build_section(below)) == (-1.0,)


def test_a_coil_round_its_part_has_no_gap_along_the_axis():
    round_it = washer(SEEK, ('mean_diameter = "20 mm"', 'mean_diameter = "40 mm"'), ('"-8 mm"', '"0 mm"'))
    assert side_of(build_section(round_it)) == 0.0
    assert setback_directions(build_section(round_it)) == (1.0, -1.0)
    assert as_drawn(round_it, "coil.gap") is None
    with pytest.raises(BadInput, match="goes round it"):
        apply(round_it, {"coil.gap": "1 mm"})


def test_turns_keep_their_clear_space_whatever_the_conductor():
    thick = {"coil.turn_gap": "0.5 mm", "coil.conductor": {"diameter": "8 mm"}, "coil.centre": "-12 mm"}
    changed, changes = apply(washer(), thick)
    assert changes["coil.pitch"] == "8.5 mm"
    assert changed.coil.conductor.diameter == 8e-3
    assert "# to be wound tight" in changed.text
    assert as_drawn(changed, "coil.turn_gap") == pytest.approx(0.5e-3)
    spiral = washer(
        SEEK,
        ('winding = "helix"', 'winding = "spiral"'),
        ('mean_diameter = "20 mm"\npitch = "6 mm"', 'inner_diameter = "10 mm"\nouter_diameter = "22 mm"'),
    )
    wide, _ = apply(spiral, {"coil.turns": 3, "coil.turn_gap": "1 mm"})
    assert wide.coil.radial_pitch == pytest.approx(5e-3)
    assert as_drawn(wide, "coil.turn_gap") == pytest.approx(1e-3)


def test_what_cannot_be_is_refused_by_name():
    listed = washer(
        SEEK,
        ('winding = "helix"\nturns = 2\nmean_diameter = "20 mm"\npitch = "6 mm"', 'winding = "turns"'),
        ('centre = "-8 mm"', 'turn = [{ mean_diameter = "20 mm", z = "-8 mm" }]'),
    )
    for what in ("coil.gap", "coil.turn_gap"):
        with pytest.raises(BadInput, match="helix"):
            apply(listed, {what: "1 mm"})
    with pytest.raises(BadInput, match="greater than zero"):
        apply(washer(), {"coil.gap": "-1 mm"})
    with pytest.raises(BadInput, match=r"coil\.gap"):
        apply(washer(), {"coil.gap": "1 kHz"})
    with pytest.raises(BadInput, match=r"\[source\]"):
        apply(washer(), {"tank.frequency": "100 kHz"})


def test_a_bank_off_the_shelf_rings_where_it_was_asked_to():
    job = load(EXAMPLES / "seek-with-tank.toml")
    for wanted in (330e3, 370e3):
        changed, changes = apply(job, {"tank.frequency": f"{wanted / 1e3} kHz"})
        bank = tank_of(changed).bank
        assert bank.capacitance == pytest.approx(sum(g.capacitance for g in bank.groups))
        z = cold_impedance(changed, wanted)
        point = operating_point(tank_of(changed), (z.real, z.imag / (2 * math.pi * wanted)))
        assert abs(point.frequency / wanted - 1.0) < 0.06
        assert all(r.used <= 1.0 for r in point.ratings)
        # what stands in the file is what was chosen, comments and other sections included
        text = changed.text
        again = loads(text, folder=EXAMPLES)
        assert tank_of(again) == tank_of(changed)
        assert "# it tracks its resonance ..." in text
        assert len(changes["capacitor"]) == text.count("[[capacitor]]")
        shelf = {"2.2": 4.10, "4.7": 5.60, "6.8": 7.20, "10": 9.40, "22": 16.0}  # as in shelf.csv
        assert bank_price(changed) == pytest.approx(sum(shelf[g.can.name.split()[1]] * g.cans for g in bank.groups))
    with pytest.raises(BadInput, match="outside the source's"):
        apply(job, {"tank.frequency": "200 kHz"})
    with pytest.raises(BadInput, match="not on the stock list"):
        bank_price(job.with_value("capacitor.1.name", "something else"))
