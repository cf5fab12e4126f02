"""A job whose own source decides: one station of it, and several on it."""

import numpy as np
import pytest

from coilwright.heating.march import Steps
from coilwright.heating.model import shot_model
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.job import load, loads
from coilwright.section.scene import scene
from coilwright.window.effort import Effort
from coilwright.window.margins import Runner
from coilwright.window.result import _source_end
from coilwright.window.source import SourceTable, decides
from coilwright.window.stations import FixtureModel, Station
from coilwright.window.study import Study
from coilwright.window.yields import centre
from tests.window.jobs import EXAMPLES

PATH = EXAMPLES / "indicator-tube-getter" / "with-tank.toml"
FED = PATH.read_text(encoding="utf-8")
# the same source on a loose rein: what flows follows the tank
LOOSE = FED.replace('hold = "coil current"\ncoil_current = "132 A"', 'hold = "level"\nlevel = 0.22')
VARIES = """
[[varies]]
what = "capacitor.1.capacitance"
by = "2 %"
each = "common"
[[varies]]
what = "mains"
by = "2 %"
each = "common"
[[varies]]
what = "coil.sideways"
by = "0.3 mm"
"""


def fixture(text, stations, feed="series"):
    return loads(f'{text}\n[fixture]\nstations = {stations}\nspacing = "100 m"\nfeed = "{feed}"\n', "fed.toml")


def test_the_real_source_sets_the_current_of_one_station():
    job = load(PATH)
    model = FixtureModel(job, level="coarse")
    assert decides(job) and model.source is not None
    shot = shoot(shot_model(scene(job), drive_of(job).frequency, "coarse"), drive_of(job), steps=Steps(2.0))
    assert model.nominal_current == pytest.approx(float(shot.trace.coil.current[0]), rel=1e-3)
    result = model.solve()
    assert result.frequency == pytest.approx(float(shot.trace.coil.frequency[0]), rel=1e-3)
    assert result.current == pytest.approx(model.nominal_current, rel=1e-4)


@pytest.mark.parametrize("text", [FED, LOOSE], ids=["holds its current", "fixed level"])
def test_margins_are_those_of_the_shot_with_the_real_source(text):
    job = loads(text, "fed.toml")
    model = FixtureModel(job, level="coarse")
    run = Runner(job, (), "current", model.nominal_current, model.frequency, "coarse", model.source).run({})
    shot = shoot(shot_model(scene(job), drive_of(job).frequency, "coarse"), drive_of(job), steps=Steps(2.0))
    assert run.verdict == shot.passed
    reached = next(v.details["reached_at_s"] for v in shot.verdicts if v.details.get("reached_at_s") is not None)
    assert run.raw[0] == pytest.approx(float(reached), rel=5e-3)


@pytest.mark.parametrize("feed", ["separate", "series"])
def test_many_stations_at_infinite_spacing(feed):
    """Each with its own source they are the single job; in series on one source they are one coil of so many turns."""
    alone = FixtureModel(loads(FED, "fed.toml"), level="coarse").solve()
    many = FixtureModel(fixture(FED, 3, feed), level="coarse").solve()
    if feed == "separate":
        assert many.powers == pytest.approx(np.full(3, alone.powers[0]), rel=1e-4)
    else:  # the source holds the coil current as long as it can; three coils in series ring lower, out of its window
        assert many.powers == pytest.approx(np.full(3, many.powers[0]), rel=1e-9)
        assert many.frequency < alone.frequency
        assert many.power == pytest.approx(float(many.powers.sum() + many.coil_powers.sum()), rel=1e-9)


def test_a_source_with_a_stated_control_is_left_out():
    job = loads(FED + '\n[fixture]\nstations = 1\ncontrol = "current"\n', "fed.toml")
    assert not decides(job)


HOLDS_POWER = FED.replace('hold = "coil current"\ncoil_current = "132 A"', 'hold = "power"\npower = "400 W"')


@pytest.mark.parametrize("text", [LOOSE, LOOSE.replace("0.22", "0.33"), FED, HOLDS_POWER],
                         ids=["fixed level", "level near the limit", "holds its current", "holds its power"])  # fmt: skip
def test_what_is_read_off_the_table_is_the_answer_of_the_source(text):
    """Coils of other impedance, mains of other height, and told to give more: its limits included."""
    model = FixtureModel(loads(text, "fed.toml"), level="coarse")
    cell, source = model.cells.at(), model.source
    table = SourceTable.of(source, cell.loaded, model.frequency)
    usual = source.answer(cell.loaded, model.frequency).current
    power = 2.0 if text is HOLDS_POWER else 1.0  # the setting counts as current
    limited = set()
    for r, x in ((0.93, 1.02), (1.1, 0.97), (1.0, 1.0)):
        z = complex(cell.loaded.real * r, cell.loaded.imag * x)
        for setting in (0.8, 1.0, 1.3, 1.7):
            for mains in (0.9, 1.0, 1.06):
                got = source.under(mains).respond(setting**power, z, model.frequency)
                limited.add(bool(got.limited_by))
                assert table.current(np.array([z]), setting, mains)[0] == pytest.approx(got.current / usual, rel=3e-3)
    assert limited == {True, False}
    top = source.usual.respond((1.001 * table.most) ** power, cell.loaded, model.frequency)
    below = source.usual.respond((0.99 * table.most) ** power, cell.loaded, model.frequency)
    assert top.limited_by and not below.limited_by


def test_faults_reach_the_source():
    model = FixtureModel(load(PATH), level="coarse")
    healthy, lost = model.solve(), model.solve(capacitance=0.9)
    assert lost.frequency / healthy.frequency > 1.03
    assert model.solve({1: Station(part=False)}).powers[0] == 0.0
    # it holds its current
    assert model.solve({1: Station(up=1e-3)}).current == pytest.approx(healthy.current, rel=1e-6)


def test_drawn_capacitors_and_mains_reach_the_level():
    """Draws of the tank itself: the heating current of the stand-ins against the source of the drawn job."""
    study = Study.of(loads(LOOSE + VARIES, "fed.toml"), Effort(runs=12, fresh=0, refine=0))
    draws = study.draw(4, 5)
    told = study.judge(draws).level[:, 0]
    for k in range(4):
        capacitance, mains, sideways = (float(draws.values[q.what][k, 0]) for q in study.varied)
        job = study.job.with_value("capacitor.1.capacitance", f"{capacitance!r} F")
        model = FixtureModel(job, level="coarse")
        exact = model.solve({1: Station(sideways=sideways)}, setting=mains)
        assert told[k] == pytest.approx(exact.heating_current[0] / study.model.nominal_current, rel=3e-3)
    assert np.ptp(told) > 0.02


def test_the_window_of_the_setting_ends_where_the_source_does():
    """33 % drive, 30 A at most: 4 % more and the source is at its limit, which the curve, the text and the draws know."""
    mains = '\n[[varies]]\nwhat = "mains"\nby = "3 %"\neach = "common"\n'
    study = Study.of(loads(LOOSE.replace("0.22", "0.33") + mains, "fed.toml"), Effort(runs=8, fresh=0, reshoot=1))
    middle = centre(study, 200)
    assert middle.source_end == pytest.approx(212.15 / 204.33, rel=2e-3)
    assert middle.curve[0][-1] == pytest.approx(middle.source_end, rel=1e-9)
    draws = study.draw(400, 3)
    told = study.judge(draws).level[:, 0]
    asked = draws.values["mains"][:, 0]
    assert told.max() == pytest.approx(middle.source_end, rel=2e-3) and asked.max() > 1.06
    assert told[asked < 1.03] == pytest.approx(asked[asked < 1.03], rel=2e-3)
    (finding,) = _source_end(study, middle)
    assert finding.severity == "warning" and "the source current limit (30 A)" in finding.text
