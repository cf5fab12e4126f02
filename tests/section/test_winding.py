"""The conductor as one piece: developed length against closed forms and against its own centre line."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from coilwright.job import loads
from coilwright.job.schema_workshop import Workshop
from coilwright.section.build import build_section
from coilwright.section.winding import free_side, helix_length, set_bend, spiral_length, wind, winding_of

HEAD = 'format = 1\n[[body]]\nname = "part"\nmaterial = "copper"\nshape = '
HEAD += '{ kind = "disc", diameter = "30 mm", height = "2 mm" }\n'
DRIVE = '\n[drive]\nfrequency = "100 kHz"\ncoil_current = "100 A"\non_time = "1 s"\n'
TUBE = 'conductor = { section = "round tube", outside = "6 mm", bore = "4 mm" }\n'
LEADS = 'leads = { length = "100 mm", spacing = "12 mm" }\n'
HELIX = (
    '[coil]\nwinding = "helix"\nturns = {turns}\nmean_diameter = "50 mm"\npitch = "9 mm"\ncentre = "{centre} mm"\n'
    + TUBE
)
SPIRAL = (
    '[coil]\nwinding = "spiral"\nturns = 6\ninner_diameter = "40 mm"\nouter_diameter = "110 mm"\ncentre = "-10 mm"\n'
    + TUBE
)
LISTED = '[coil]\nwinding = "turns"\nturn = [{ mean_diameter = "50 mm", z = "8 mm" }, { mean_diameter = "50 mm", z = "16 mm" }, '
LISTED += '{ mean_diameter = "70 mm", z = "16 mm" }]\n' + TUBE


def job(coil):
    return loads(HEAD + coil + DRIVE)


def helix(turns=4, centre=30):
    return HELIX.replace("{turns}", str(turns)).replace("{centre}", str(centre))


def along(winding):
    """Length of the drawn centre line, m."""
    return float(np.linalg.norm(np.diff(winding.centre_line, axis=0), axis=1).sum())


def test_helix_length_is_the_unrolled_triangle():
    assert helix_length(0.05, 0.009, 4) == pytest.approx(
        math.sqrt((math.pi * 0.05 * 4) ** 2 + (0.009 * 4) ** 2), rel=1e-14
    )


def test_spiral_length_is_the_arc_length_integral():
    b = 0.007 / (2 * math.pi)
    numeric, _ = quad(lambda a: math.hypot(0.0165 + b * a, b), 0.0, 12 * math.pi)
    assert spiral_length(0.0165, 0.007, 6) == pytest.approx(numeric, rel=1e-10)
    # nearly circles: six turns of the mean diameter, a little more
    assert 1.0 < spiral_length(0.0165, 0.007, 6) / (6 * math.pi * 0.075) < 1.001


@pytest.mark.parametrize("turns", [1, 4, 9, 2.5])
def test_helix_without_leads_is_the_closed_form(turns):
    coil = job(helix(turns)).coil
    winding = wind(coil, bend_radius=9e-3)
    assert winding.length == pytest.approx(winding.wound_length, rel=1e-12)
    assert winding.wound_length == pytest.approx(turns * math.hypot(math.pi * 0.05, 0.009), rel=1e-12)
    assert "No leads" in winding.notes[0]


def test_spiral_without_leads_is_the_closed_form():
    winding = wind(job(SPIRAL).coil, bend_radius=9e-3)
    # the mean radii of first and last turn are those of the job, so the tube begins half a pitch inside
    assert winding.length == pytest.approx(spiral_length(0.0165, 0.007, 6), rel=1e-12)
    radii = np.hypot(*winding.centre_line[:, :2].T)
    assert radii[0] == pytest.approx(0.0165) and radii[-1] == pytest.approx(0.0585)


@pytest.mark.parametrize(
    "coil", [helix(1), helix(3), helix(2.5), SPIRAL, LISTED], ids=["1", "3", "2.5", "spiral", "listed"]
)
@pytest.mark.parametrize("hand", ["right", "left"])
def test_pieces_join_and_add_up_to_the_centre_line(coil, hand):
    winding = wind(job(coil + LEADS).coil, hand=hand, bend_radius=9e-3)
    for before, after in zip(winding.pieces, winding.pieces[1:], strict=False):
        assert before.points[-1] == pytest.approx(after.points[0], abs=2e-9)
    assert along(winding) == pytest.approx(winding.length, rel=3e-4)  # chords of 3 degrees are that much shorter
    assert winding.length > winding.wound_length + 2 * 0.09
    for bend in winding.bends:
        assert bend.length == pytest.approx(bend.radius * bend.angle, rel=1e-12)
        away = np.linalg.norm(bend.points - bend.centre, axis=1)
        assert away == pytest.approx(np.full(len(away), bend.radius), rel=1e-9)


@pytest.mark.parametrize("coil", [helix(1), helix(3), SPIRAL, LISTED], ids=["1", "3", "spiral", "listed"])
def test_leads_end_side_by_side_at_their_length_and_spacing(coil):
    made = job(coil + LEADS).coil
    winding = wind(made, bend_radius=9e-3)
    a, b = winding.centre_line[0], winding.centre_line[-1]
    assert np.linalg.norm(a - b) == pytest.approx(12e-3, abs=1e-9) and abs(a[1] - b[1]) == pytest.approx(12e-3)
    outermost = max(float(np.hypot(*p.points[:, :2].T).max()) for p in winding.pieces if p.kind == "turns")
    assert a[0] == pytest.approx(winding.lead_reach) and a[0] == pytest.approx(outermost + 0.1, rel=2e-3)


def test_no_kink_between_turns_and_lead_bends():
    """Directions agree in plan where the piece changes; the climb of the helix is left out, under 4 degrees here."""
    winding = wind(job(helix(3) + LEADS).coil, bend_radius=9e-3)
    for before, after in zip(winding.pieces, winding.pieces[1:], strict=False):
        u, v = before.points[-1] - before.points[-2], after.points[1] - after.points[0]
        cosine = float(u @ v / np.linalg.norm(u) / np.linalg.norm(v))
        assert math.degrees(math.acos(min(1.0, cosine))) < 7.0  # chords of 3 degrees turn by as much


def test_lead_of_an_inner_end_passes_the_turns_with_room():
    coil = job(SPIRAL + LEADS).coil
    for away, sign in ((-1.0, -1.0), (1.0, 1.0)):
        winding = wind(coil, bend_radius=9e-3, away=away)
        lead = next(p for p in winding.pieces if p.what == "bend into the lead")
        depth = sign * (lead.points[:, 2] + 10e-3)
        assert depth.max() >= 1.25 * 6e-3
        under = [p for p in winding.pieces if p.kind == "straight" and np.hypot(*p.points[0, :2]) < 0.05]
        assert all(sign * (p.points[:, 2].mean() + 10e-3) >= 6e-3 for p in under)


def test_work_decides_on_which_side_a_lead_passes():
    above, below = (build_section(job(coil)) for coil in (SPIRAL, SPIRAL.replace("-10 mm", "10 mm")))
    assert (free_side(above), free_side(below)) == (-1.0, 1.0)


def test_cuts_are_half_a_pitch_apart():
    winding = wind(job(helix(4) + LEADS).coil, bend_radius=9e-3)
    x, z = winding.cuts.T
    assert len(x) == 7 and np.abs(x) == pytest.approx(np.full(7, 0.025), abs=1e-15)
    assert np.diff(z) == pytest.approx(np.full(6, 4.5e-3)) and z.mean() == pytest.approx(0.03)


def test_part_turn_leaves_its_ends_apart():
    winding = wind(job(helix(2.5) + LEADS).coil, bend_radius=9e-3)
    assert winding.pair_height is None and "180°" in winding.notes[0]
    a, b = winding.centre_line[0], winding.centre_line[-1]
    assert a[0] * b[0] < 0.0


def test_short_leads_are_told():
    winding = wind(job(helix(4) + LEADS.replace("100 mm", "8 mm")).coil, bend_radius=9e-3)
    assert any("shorter than their bends" in note for note in winding.notes)


@pytest.mark.parametrize("offset", [1e-3, 5e-3, 5.2721e-3, 20e-3])
def test_set_bend_shifts_by_its_offset(offset):
    """Two equal bends and a slope: closed by walking them in the plane."""
    r = 9e-3
    angle, slant, run = set_bend(offset, r)
    rise = 2 * r * (1 - math.cos(angle)) + slant * math.sin(angle)
    assert rise == pytest.approx(offset, rel=1e-9) and angle <= math.pi / 4 + 1e-12
    assert run == pytest.approx(2 * r * math.sin(angle) + slant * math.cos(angle))
    assert set_bend(0.0, r) == (0.0, 0.0, 0.0)


def test_workshop_sets_hand_and_bend_radius():
    made = job(helix(3) + LEADS)
    section = build_section(made)
    usual = winding_of(made.coil, Workshop(), section)
    assert usual.hand == "right" and usual.bends[0].radius == pytest.approx(1.5 * 6e-3)
    wide = winding_of(made.coil, Workshop.model_validate({"hand": "left", "bend_radius": "14 mm"}), section)
    assert wide.hand == "left" and wide.bends[0].radius == pytest.approx(14e-3)
    # a right-hand helix climbs counter-clockwise seen from above
    points = next(p for p in usual.pieces if p.kind == "turns").points
    turned = points[0, 0] * points[5, 1] - points[0, 1] * points[5, 0]
    assert turned > 0.0 and points[5, 2] > points[0, 2]
