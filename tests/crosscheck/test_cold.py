"""Cold fields the package was not tuned on, against the finite-element library ngsolve: another method, an air mesh.

cold_reference.json holds converged runs of ngsolve_cold.py with the change of the last refinement beside each.
"""

import json
from functools import cache
from pathlib import Path

import pytest

import coilwright as cw
from tests.crosscheck import ngsolve_cold
from tests.crosscheck.cold_cases import CASES, job_text

pytestmark = pytest.mark.crosscheck
REFERENCE = json.loads(Path(__file__).with_name("cold_reference.json").read_text(encoding="utf-8"))["cases"]
every_case = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name.replace(" ", "-"))


@cache
def ours(case):
    return cw.field(cw.loads(job_text(case), "case.toml")).result


def readings(result):
    return {"R": result.loaded.resistance, "L": result.loaded.inductance, "powers": result.body_powers}


@every_case
def test_resistance_powers_and_inductance(case):
    change = REFERENCE[case.name]["change_on_refinement"]
    assert change["R_and_powers"] < 1e-4 and change["L"] < 2e-5
    of_power, of_inductance = ngsolve_cold.gap(readings(ours(case)), REFERENCE[case.name])
    assert of_power < 5e-4
    assert of_inductance < 1e-4


@every_case
def test_error_estimate_is_not_three_times_too_small(case):
    found, want, change = ours(case), REFERENCE[case.name], REFERENCE[case.name]["change_on_refinement"]
    assert abs(found.loaded.resistance / want["R"] - 1.0) < 3.0 * found.error.resistance + change["R_and_powers"]
    assert abs(found.loaded.inductance / want["L"] - 1.0) < 3.0 * found.error.inductance + change["L"]
    for name, power in want["powers"].items():
        if power > 0.0:
            allowed = 3.0 * found.error.power[name] + change["R_and_powers"]
            assert abs(found.body_powers[name] / power - 1.0) < allowed, name


def test_what_does_not_conduct_takes_no_power():
    case = next(c for c in CASES if any(p.rho is None for p in c.pieces))
    assert ours(case).body_powers["core"] == 0.0 == REFERENCE[case.name]["powers"]["core"]


@every_case
def test_stored_runs_are_reproducible(case):
    """A coarser mesh and a lower order of the same script, in this very process."""
    of_power, of_inductance = ngsolve_cold.gap(ngsolve_cold.solve(case, order=3, fine=1.3), REFERENCE[case.name])
    assert of_power < 1e-3 and of_inductance < 4e-4
