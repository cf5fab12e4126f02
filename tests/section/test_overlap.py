"""Overlap, contact, clearance: found, named, placed."""

import pytest

from coilwright.errors import BadInput
from coilwright.section import shapes
from coilwright.section.geometry import Section, SectionFilm, turn_outline
from coilwright.section.outline import Outline
from coilwright.section.overlap import check_geometry, clearances

from .test_meshing import BAR_JOB, MM, RING_JOB, body, helix


def faults(*bodies, turns=(), films=()):
    with pytest.raises(BadInput) as caught:
        check_geometry(Section(bodies, tuple(turns), films=tuple(films)))
    return [str(f) for f in caught.value.faults]


def test_sound_jobs_pass_without_findings():
    assert check_geometry(RING_JOB) == ()
    assert check_geometry(BAR_JOB) == ()


def test_clearances_name_the_nearest_turn():
    table = clearances(RING_JOB)
    assert [(c.first, c.second) for c in table] == [("turn 1", "turn 2"), ("ring", "turn 1")] or table[0].distance == (
        pytest.approx(1 * MM)
    )
    ring = next(c for c in table if c.first == "ring")
    assert ring.second == "turn 1"
    assert ring.distance == pytest.approx(((12 - 4.5) ** 2 + (4.5 - 0.3) ** 2) ** 0.5 * MM - 2 * MM)


def test_contact_names_both_and_the_place_and_offers_a_joint():
    (text,) = faults(body("pin", shapes.bar(10 * MM, 20 * MM)), body("cap", shapes.bar(10 * MM, 4 * MM, 12 * MM)))
    assert 'body "pin" and body "cap": they touch' in text
    assert "z = 10 mm" in text
    assert '[[joint]] bodies = ["pin", "cap"]' in text


def test_joined_bodies_may_touch_but_not_overlap_nor_stand_apart():
    pin = body("pin", shapes.bar(10 * MM, 20 * MM), group="pin")
    good = body("cap", shapes.bar(10 * MM, 4 * MM, 12 * MM), group="pin")
    assert check_geometry(Section((pin, good))) == ()
    (text,) = faults(pin, body("cap", shapes.bar(10 * MM, 4 * MM, 11 * MM), group="pin"))
    assert "overlap" in text
    (text,) = faults(pin, body("cap", shapes.bar(10 * MM, 4 * MM, 13 * MM), group="pin"))
    assert "declared joined but are 1 mm apart" in text


def test_one_body_wholly_inside_another_is_an_overlap():
    (text,) = faults(body("big", shapes.bar(40 * MM, 40 * MM)), body("small", shapes.wire_ring(20 * MM, 4 * MM)))
    assert "overlap" in text
    hollow = body("shell", shapes.bar(40 * MM, 40 * MM), Outline.rectangle((5 * MM, 15 * MM), (-10 * MM, 10 * MM)))
    assert check_geometry(Section((hollow, body("small", shapes.wire_ring(20 * MM, 4 * MM))))) == ()


def test_equal_bodies_in_one_place():
    (text,) = faults(body("a", shapes.ball(10 * MM)), body("b", shapes.ball(10 * MM)))
    assert "overlap" in text


def test_bodies_stacked_on_the_axis_meet_only_where_they_meet():
    assert check_geometry(Section((body("a", shapes.ball(10 * MM)), body("b", shapes.ball(10 * MM, 11 * MM))))) == ()


def test_turns_against_body_each_other_and_axis():
    ring = body("ring", shapes.ring(21 * MM, 5 * MM, 0.6 * MM, 4.5 * MM))
    (text,) = faults(ring, turns=RING_JOB.turns)
    assert 'body "ring" and turn 1: they overlap at r = 10.' in text
    texts = faults(turns=helix(3, 24 * MM, 4 * MM, 0.0, outside=4 * MM, bore=2 * MM))
    assert [t.split(":")[0] for t in texts] == ["turn 1 and turn 2", "turn 2 and turn 3"]
    assert "touch" in texts[0]
    (text,) = faults(turns=[turn_outline(1, 2 * MM, 0.0, 1.0, "round wire", diameter=5 * MM)])
    assert "crosses the axis" in text


def test_small_clearance_is_a_finding_with_the_figure():
    (found,) = check_geometry(
        Section((body("a", shapes.bar(10 * MM, 4 * MM)), body("b", shapes.bar(10 * MM, 4 * MM, 4.15 * MM))))
    )
    assert found.code == "clearance-small"
    assert "0.15 mm" in found.text


def test_film_may_lie_on_glass_but_not_in_it():
    glass = body("bulb", shapes.ring(20 * MM, 18 * MM, 40 * MM))
    film = SectionFilm("mirror", "bystander", "barium", (9 * MM, -5 * MM), (9 * MM, 5 * MM), 1e-7)
    assert check_geometry(Section((glass,), films=(film,))) == ()
    deep = SectionFilm("mirror", "bystander", "barium", (9.5 * MM, -5 * MM), (9.5 * MM, 5 * MM), 1e-7)
    (text,) = faults(glass, films=[deep])
    assert "inside" in text
