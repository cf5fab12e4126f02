"""A part under a coil out of line: ball, zero pose, self-checks, side ratios, bad input."""

import cmath
import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.inputs import CoilModel, Constant, FieldModel, Linear, LiveBody, RegionLaw
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose, filament_rings
from coilwright.field.solve import Field
from coilwright.section.blocks import graded, half_disc
from tests.field.cases import COARSE, COPPER, FINE, MU0, block, body, coil, skin_depth

F = 1e5


def ball_part(mu_r, rho, rings, radius=5e-3):
    depth = skin_depth(F, rho, mu_r)
    breaks = graded(0.0, radius, 0.3 * depth, 1.3, radius / 8, ends="end")
    law = RegionLaw(Constant(rho), Linear(mu_r))
    mesh = half_disc(0.0, breaks, 48, "ball")
    return PosePart.of(Field.of(FieldModel(None, (LiveBody("ball", mesh, {"ball": law}),), F)), rings=rings, modes=2)


def ball_power(mu_r, rho, field, radius=5e-3):
    """Loss (W) of a conducting ball in a uniform field (A/m rms): Smythe, Static and Dynamic Electricity, 3rd ed.
    (1968), 10.06 (from memory); from the moment, P = w mu0 H Im(-moment).
    """
    omega = 2 * math.pi * F
    x = radius * cmath.sqrt(1j * omega * MU0 * mu_r / rho)
    g = x / cmath.tanh(x) - 1  # x coth x - 1
    pull = (2 * mu_r * g - (x * x - g)) / (mu_r * g + (x * x - g))
    moment = 2 * math.pi * radius**3 * field * pull
    return -omega * MU0 * field * moment.imag


# A pair of far loops: uniform to (ball / loop)^4 at the centre, so 1e-5 for these sizes.
FAR = 0.5
PAIR = filament_rings([FAR, FAR], [-FAR / 2, FAR / 2])
FIELD = 0.8**1.5 / FAR


@pytest.mark.parametrize(("mu_r", "rho"), [(1.0, 0.7e-6), (1.0, 2e-8), (100.0, 2e-7)])
def test_ball_in_a_transverse_field_equals_the_axial_loss_and_the_closed_form(mu_r, rho):
    part = ball_part(mu_r, rho, PAIR)
    along, across, between = part.power([Pose(), Pose(tilt_y=math.pi / 2), Pose(tilt_x=0.5, tilt_y=-0.4)])[0]
    exact = ball_power(mu_r, rho, FIELD)
    assert across == pytest.approx(along, rel=3e-4)
    assert between == pytest.approx(along, rel=3e-4)
    assert along == pytest.approx(exact, rel=1e-4)
    assert across == pytest.approx(exact, rel=2.5e-4)


def real_coil(level=COARSE, z=3e-3):
    turns = coil([(0.012, -5e-3 * k, 4e-3, 2.5e-3, COPPER) for k in range(4)], F, level)
    ring = body("ring", block(2.5e-3, 4.5e-3, z - 3e-4, z + 3e-4, F, 0.72e-6, 1.0, level, "ring"), 0.72e-6)
    return Field.of(FieldModel(turns, (ring,), F))


@pytest.fixture(scope="module")
def solver():
    return real_coil(FINE)


@pytest.fixture(scope="module")
def part(solver):
    return PosePart.of(solver)


CROOKED = Pose(1e-3, 0.6e-3, 0.5e-3, 0.03, 0.05, 3e-3)


@pytest.mark.parametrize("within", [None, ["ring"]])
def test_the_short_way_to_the_power_is_that_of_the_whole_field(part, within):
    """`power` keeps of the field what the power needs, `answers` all of it: mirrored poses, skew ones, in line, and rings or
    filaments, one by one or together."""
    rng = np.random.default_rng(5)
    rows = np.zeros((12, 6))
    rows[:, :5] = rng.normal(0.0, 1.0, (12, 5)) * [8e-4, 8e-4, 5e-4, 0.03, 0.03]
    rows[:4, [1, 3]], rows[4, :5], rows[:, 5] = 0.0, 0.0, 3e-3
    for one in (part, part.with_filaments()):
        total, by_mode = one.power(rows, within=within)
        assert total == pytest.approx(one.answers(rows, ["ring"])[0], rel=1e-11)
        assert by_mode == pytest.approx(np.array([one.power(row, within=within)[1][0] for row in rows]), rel=1e-12)
        assert by_mode[4, 1:] == pytest.approx(0.0, abs=1e-12 * total[4])


def test_in_line_it_is_the_axisymmetric_solution(solver, part):
    state = solver.state()
    assert part.power(Pose())[0][0] == pytest.approx(state.region_powers["ring"], rel=1e-6)
    loss = part.loss_map(Pose(), [0.0, 1.0])
    assert loss[0] == pytest.approx(state.loss_density, rel=1e-4)
    assert loss[1] == pytest.approx(loss[0], rel=1e-9)
    reading = part.reading(Pose())
    assert (reading.section_ratio, reading.hottest_ratio) == pytest.approx((1.0, 1.0), abs=1e-9)


def test_axial_pose_is_a_shifted_coil(solver, part):
    moved = solver.at(coil=1e-3)
    assert part.power(Pose(axial=1e-3))[0][0] == pytest.approx(moved.state().region_powers["ring"], rel=2e-3)
    again = PosePart.of(moved).power(Pose())[0][0]
    assert again == pytest.approx(moved.state().region_powers["ring"], rel=1e-6)


@pytest.mark.parametrize("pose", [CROOKED, Pose(1e-3, 0, 0, 0, 0.05, 3e-3)])
def test_only_the_relative_azimuth_counts(part, pose):
    one, other = part.power(pose)[1], part.power(pose.turned(2.2))[1]
    assert other == pytest.approx(one, rel=1e-9)
    a, b = part.reading(pose), part.reading(pose.turned(1.1))
    assert b.section_ratio == pytest.approx(a.section_ratio, rel=1e-9)
    assert math.remainder(b.hot_azimuth - a.hot_azimuth - 1.1, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)


def test_mirrored_shortcut_changes_nothing(part):
    """A pose with a plane of symmetry is computed over half the circle; one a hair off is not."""
    plain, off = Pose(1e-3, 0, 0, 0, 0.05, 3e-3), Pose(1e-3, 0, 0, 1e-9, 0.05, 3e-3)
    assert part.power(off)[1] == pytest.approx(part.power(plain)[1], rel=1e-6)


def test_change_of_coil_resistance_is_the_power(part):
    for pose in (Pose(), CROOKED, Pose(2e-3)):
        reading = part.reading(pose)
        assert reading.mismatch < 5e-6
        assert reading.resistance_change == pytest.approx(reading.power, rel=5e-6)
        assert reading.power == pytest.approx(part.power(pose)[0][0])
        assert reading.findings == ()


def test_change_of_inductance_in_line_with_filaments(solver):
    """Against the bare coil's own answer: thin turns, so the coil's current cannot rearrange."""
    thin = Field.of(
        FieldModel(CoilModel(coil([(0.012, 0.0, 2e-4, 0.0, 1e-6)], F, COARSE).turns), solver.model.bodies, F)
    )
    result = thin.solve()
    reading = PosePart.of(thin).reading(Pose())
    assert reading.inductance_change == pytest.approx(result.loaded.inductance - result.unloaded.inductance, rel=1e-4)


def test_loss_map_adds_up_to_the_power(part):
    azimuth = 2 * np.pi * np.arange(24) / 24
    inside = part.inside.inside
    whole = inside.power(part.loss_map(CROOKED, azimuth).mean(axis=0))
    assert whole == pytest.approx(part.power(CROOKED)[0][0], rel=2e-5)


def test_reciprocity_of_two_sources(part):
    """What a crooked filament coil drives through the part in a small loop beside it is what the loop drives back."""
    one, other = filament_rings([12e-3, 13e-3], [0.0, 4e-3]), filament_rings([3e-3], [9e-3])
    beside = Pose(8e-3, -3e-3, 0.0, 0.5, 0.2)
    there = part.with_rings(one).mutual_change(CROOKED, other, beside)
    back = part.with_rings(other).mutual_change(beside, one, CROOKED)
    assert back == pytest.approx(there, rel=1e-4)


def test_opposite_pose_is_the_same(part):
    there, back = (part.reading(Pose(s * 1e-3, s * 6e-4, 5e-4, s * 0.03, s * 0.05, 3e-3)) for s in (1, -1))
    assert back.power == pytest.approx(there.power, rel=1e-9)
    assert back.inductance_change == pytest.approx(there.inductance_change, rel=1e-9)


def test_filaments_are_near_but_not_the_same(part):
    rough = part.with_filaments().power(CROOKED)[0][0] / part.power(CROOKED)[0][0]
    assert 0.85 < rough < 1.0  # currents crowd towards the part: filaments in the middle see it weaker


def test_many_poses_at_once(part):
    rng = np.random.default_rng(1)
    rows = np.zeros((40, 6))
    rows[:, :5] = rng.uniform(-1, 1, (40, 5)) * [1e-3, 1e-3, 1e-3, 0.05, 0.05]
    total, by_mode = part.power(rows)
    assert by_mode.shape == (40, 4)
    assert total == pytest.approx(by_mode.sum(axis=1))
    for n in (0, 17, 39):
        assert part.power(Pose(*rows[n]))[0][0] == pytest.approx(total[n], rel=1e-12)


def test_too_few_harmonics_are_told(solver):
    reading = PosePart.of(solver, modes=1).reading(Pose(4e-3, pivot=3e-3))
    assert [f.code for f in reading.findings] == ["pose-truncated"]


def test_two_bodies_at_once():
    ring = real_coil().model.bodies[0]
    disc = body("disc", block(0.0, 4e-3, 6e-3, 7e-3, F, 2e-7, 30.0, COARSE, "disc"), 2e-7, 30.0)
    turns = real_coil().model.coil
    both = Field.of(FieldModel(turns, (ring, disc), F)).at({"disc": 1e-3})
    part = PosePart.of(both)
    assert part.power(Pose())[0][0] == pytest.approx(sum(both.state().region_powers.values()), rel=1e-5)
    assert part.power(CROOKED.turned(2.0))[0][0] == pytest.approx(part.power(CROOKED)[0][0], rel=1e-9)
    assert part.reading(CROOKED).mismatch < 1e-4


def test_thin_skin_is_near_the_whole_interior():
    """A bar of relative permeability 100, 40 skin depths thick."""
    rings = filament_rings([18e-3] * 8, [-28e-3 + 8e-3 * k for k in range(8)])
    bar = body("bar", block(0.0, 10e-3, -30e-3, 30e-3, 1e4, 2.5e-7, 100.0, FINE, "bar"), 2.5e-7, 100.0)
    solver = Field.of(FieldModel(None, (bar,), 1e4))
    whole, thin = PosePart.of(solver, rings=rings), PosePart.of(solver, rings=rings, thin_skin=True)
    pose = Pose(2e-3)
    assert thin.power(pose)[1][0, 1] == pytest.approx(whole.power(pose)[1][0, 1], rel=0.02)
    one, other = whole.reading(pose), thin.reading(pose)
    assert other.power == pytest.approx(one.power, rel=1e-4)
    assert other.mismatch < 1e-4
    assert other.section_ratio == pytest.approx(one.section_ratio, abs=3e-3)
    assert other.findings == ()
    with pytest.raises(BadInput, match="no losses inside"):
        thin.loss_map(pose, [0.0])


def test_thick_skin_is_told(solver):
    reading = PosePart.of(solver, thin_skin=True).reading(Pose(1e-3))
    assert "pose-thick-skin" in [f.code for f in reading.findings]


def test_what_cannot_be_prepared():
    solver = real_coil()
    with pytest.raises(BadInput, match="at least 1"):
        PosePart.of(solver, modes=0)
    with pytest.raises(BadInput, match="needs a body"):
        PosePart.of(Field.of(FieldModel(solver.model.coil, (), F)))
    with pytest.raises(BadInput, match="needs turns"):
        PosePart.of(Field.of(FieldModel(None, solver.model.bodies, F)))
