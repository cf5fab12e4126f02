"""Stations on one source: laws, limits, and the signature every line knows."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.formulas_inductance import tilted_loop_mutual
from coilwright.window.circuit import drive, shares
from coilwright.window.stations import FixtureModel, Station, positions
from tests.window.jobs import ring_job, ring_model, single

FAR = "100 m"


def test_one_station_is_the_single_job():
    job = single()
    model = FixtureModel(job, level="coarse")
    alone = model.cells.field.solve(job.drive.coil_current)
    result = model.solve()
    assert result.powers[0] == pytest.approx(alone.body_powers["ring"], rel=1e-9)
    assert result.current == pytest.approx(job.drive.coil_current, rel=1e-12)


@pytest.mark.parametrize("feed", ["series", "parallel", "separate"])
@pytest.mark.parametrize("control", ["current", "voltage", "power", "coil voltage"])
def test_stations_far_apart_are_single_jobs(feed, control):
    model = ring_model(3, FAR, feed, control)
    alone = FixtureModel(single(), level="coarse", moves=(0.0, 1e-3)).solve()
    assert model.solve().powers == pytest.approx(np.full(3, alone.powers[0]), rel=1e-9)


@pytest.mark.parametrize("feed", ["series", "parallel", "separate"])
def test_energy_and_reciprocity(feed):
    model = ring_model(3, "60 mm", feed)
    states = model.states({2: Station(up=1e-3, sideways=1.5e-3, tilt=0.05), 3: Station(part=False)})
    result = model.solve(states)
    network = result.network
    assert np.allclose(network.matrix, network.matrix.T, rtol=0, atol=1e-15)
    assert result.powers.sum() + result.coil_powers.sum() == pytest.approx(result.power, rel=1e-12)
    # the losses of the copper counted apart: every coil's empty resistance and what the part adds to it besides its own heat
    heating, currents = result.heating_current, result.currents
    copper = np.sum(network.empty.real * currents**2)
    beside = np.sum((network.reflected.real - network.power) * heating**2)
    assert copper + beside + result.powers.sum() == pytest.approx(result.power, rel=1e-12)


def test_mutual_between_coils_is_reciprocal_for_unequal_coils():
    # Neumann's integral is symmetric; the program computes it from one side only
    one = tilted_loop_mutual(12e-3, 5e-3, (60e-3, 0.0, 7e-3), (0.0, 0.0, 1.0))
    other = tilted_loop_mutual(5e-3, 12e-3, (-60e-3, 0.0, -7e-3), (0.0, 0.0, 1.0))
    assert one == pytest.approx(other, rel=1e-10)


def test_neighbours_beside_weaken_each_other():
    # beside a coil its field points the other way: mu0 m / (4 pi d^3) of the dipole, Smythe, Static and Dynamic
    # Electricity, 7.11; at five coil diameters the loops are dipoles within a few per cent
    model = ring_model(2, "120 mm")
    turns, (radius, height) = model.cells.at().turns, model.cells.at().ring
    moment = sum(share * np.pi * r**2 for r, _, share in turns)
    lift = np.mean([height - z for _, z, _ in turns])
    d = np.hypot(0.12, lift)
    dipole = 1e-7 * moment * (3 * lift**2 / d**2 - 1) / d**3 * np.pi * radius**2
    got = model.network.flux[0, 1] * model.cells.at().flux()
    assert got == pytest.approx(dipole, rel=0.05) and got < 0


def nodal(matrix, feed, volts):
    """Currents by modified nodal analysis: node voltages and branch currents as unknowns, one source of `volts`."""
    n = len(matrix)
    nodes = n if feed == "series" else 1
    size = nodes + n + 1
    A, b = np.zeros((size, size), complex), np.zeros(size, complex)
    ends = [(k, k + 1 if k + 1 < n else None) if feed == "series" else (0, None) for k in range(n)]
    for k, (a, c) in enumerate(ends):
        for node, sign in ((a, 1.0), (c, -1.0)):
            if node is not None:
                A[node, nodes + k] += sign
                A[nodes + k, node] += sign
        A[nodes + k, nodes : nodes + n] -= matrix[k]
    A[0, -1] = A[-1, 0] = 1.0
    b[-1] = volts
    return np.linalg.solve(A, b)[nodes : nodes + n]


@pytest.mark.parametrize("feed", ["series", "parallel"])
def test_shares_against_a_nodal_solve(feed):
    model = ring_model(4, "40 mm", feed, "coil voltage")
    matrix = model.network_of(model.states({1: Station(extra_inductance=20e-9), 3: Station(up=1e-3)})).matrix
    volts = 40.0
    expected = nodal(matrix, feed, volts)
    got = drive(matrix, feed, "coil voltage", volts)
    assert np.abs(got.currents) == pytest.approx(np.abs(expected), rel=1e-12)
    assert got.impedance == pytest.approx(volts / (expected[0] if feed == "series" else expected.sum()), rel=1e-12)


def test_what_is_held_is_held():
    states = {2: Station(up=1e-3)}
    for control, read in (("current", "current"), ("power", "power"), ("coil voltage", "voltage")):
        model = ring_model(3, "60 mm", "series", control)
        assert getattr(model.solve(states), read) == pytest.approx(getattr(model.solve(), read), rel=1e-12)


def test_one_coil_back_loses_a_fifth_and_the_totals_hide_it():
    # Common practice, no source: one of N coils in series pushed back scraps one part in N and the source shows nothing.
    model = ring_model(6, "80 mm")
    healthy, moved = model.solve(), model.solve({3: Station(up=1e-3)})
    change = moved.powers / healthy.powers - 1.0
    assert -0.25 < change[2] < -0.18
    assert np.all((np.delete(change, 2) > 0.0) & (np.delete(change, 2) < 0.02))
    for name in ("frequency", "current", "power", "q", "voltage"):
        assert abs(getattr(moved, name) / getattr(healthy, name) - 1.0) < 0.01, name


def test_a_missing_part_and_unequal_leads():
    model = ring_model(3, "60 mm", "parallel")
    healthy = model.solve()
    missing = model.solve({2: Station(part=False)})
    assert missing.powers[1] == 0.0 and missing.q > healthy.q
    model = ring_model(3, FAR, "parallel")
    lead = model.solve({1: Station(extra_inductance=20e-9)})
    share = lead.currents / lead.currents.sum()
    # the branch with more inductance carries less, in the ratio of the inductances (resistances are a seventieth of them)
    inductance = model.cells.at().loaded.imag / (2 * np.pi * model.frequency)
    assert share[0] / share[1] == pytest.approx(inductance / (inductance + 20e-9), rel=2e-3)


def test_many_draws_are_one_call():
    model = ring_model(3, "60 mm", "parallel")
    matrix = model.network.matrix
    many = np.stack([matrix, 2.0 * matrix])
    per_ampere, total = shares(many, "parallel")
    assert per_ampere[1] == pytest.approx(per_ampere[0]) and total[1] == pytest.approx(2.0 * total[0])


def test_places():
    circle = positions(spaced("circle", 6))
    assert np.hypot(*(circle[0] - circle[1])) == pytest.approx(0.08)
    assert np.hypot(*(circle[0] - circle[5])) == pytest.approx(0.08)
    grid = positions(spaced("grid", 6))
    assert grid.max(axis=0) == pytest.approx([0.16, 0.08])


def spaced(arrangement, n):
    from coilwright.job.schema_fixture import Fixture

    return Fixture.model_validate({"stations": n, "arrangement": arrangement, "spacing": "80 mm"})


def test_refusals():
    with pytest.raises(BadInput, match=r"fixture.spacing: must be larger than the coil.*20 mm"):
        FixtureModel(ring_job(2, "20 mm"), level="coarse")
    with pytest.raises(BadInput, match="one entry per station"):
        FixtureModel(ring_job(2, "60 mm", lead_inductance='["5 nH"]'))
    with pytest.raises(BadInput, match=r'fixture.*did you mean "spacing"'):
        FixtureModel(ring_job(2, "60 mm", spacin='"50 mm"'))
    with pytest.raises(BadInput, match="numbered 1 to 3"):
        ring_model().solve({7: Station()})
    with pytest.raises(BadInput, match=r"coil moved by -2 mm.*bulb"):
        ring_model().solve({1: Station(up=-2e-3)})
