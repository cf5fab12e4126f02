"""What a difference makes, against a fresh field of the moved coil and a shot at the other current."""

import pytest

from coilwright.line.effects import effects
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from tests.line.machines import board, ring_job


def found():
    return {x.what.split()[0]: x for x in effects(board(1, control="current").plant)}


def test_a_lower_source_against_a_shot_at_its_current():
    lower = found()["source"]
    assert lower.power == pytest.approx(0.95**2 - 1.0, abs=1e-9)
    job = ring_job(1, control="current")
    current = job.drive.coil_current
    times = [
        max(v.details.get("fired_at_s") or v.details.get("reached_at_s") or 0.0 for v in shot.verdicts)
        for shot in (
            heat(j.with_value("drive.on_time", "12 s"), estimate_error=False)
            for j in (job, job.with_value("drive.coil_current", f"{0.95 * current} A"))
        )
    ]
    assert lower.time == pytest.approx(times[1] / times[0] - 1.0, abs=0.01)


def test_a_part_farther_away_against_a_fresh_field():
    farther, job = found()["part"], ring_job(1, control="current")
    powers = [
        field(j, level="coarse", estimate_error=False).result.body_powers["ring"]
        for j in (job, job.with_value("coil.centre", f"{job.coil.centre + farther.by} m"))
    ]
    assert farther.power == pytest.approx(powers[1] / powers[0] - 1.0, abs=0.005)
    assert farther.time > 0.0 > farther.power


def test_mass_costs_time_and_no_power():
    heavier = found()["mass"]
    assert heavier.power == pytest.approx(0.0, abs=1e-12) and 0.05 < heavier.time < 0.2
