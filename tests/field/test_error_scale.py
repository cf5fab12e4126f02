"""What next to nothing must not lead the error estimate."""

from dataclasses import replace

import pytest

import coilwright as cw
from coilwright.field.solve import _difference
from tests.heating.jobs import WASHER


def test_a_body_that_loses_next_to_nothing_does_not_lead_the_estimate():
    fine = cw.field(cw.loads(WASHER), estimate_error=False).result
    power = fine.body_powers["washer"]
    fine = replace(fine, body_powers={"washer": power, "sliver": 1e-7 * power})
    rough = replace(fine, body_powers={"washer": 1.002 * power, "sliver": 3e-7 * power})
    error = _difference(fine, rough)
    assert error.power["washer"] == pytest.approx(2e-3, rel=1e-6)
    assert error.power["sliver"] < 1e-3
    assert error.largest == error.power["washer"]


def test_a_body_that_matters_keeps_its_own_scale():
    fine = cw.field(cw.loads(WASHER), estimate_error=False).result
    power = fine.body_powers["washer"]
    fine = replace(fine, body_powers={"washer": power, "small": 0.01 * power})
    rough = replace(fine, body_powers={"washer": power, "small": 0.011 * power})
    assert _difference(fine, rough).largest == pytest.approx(0.1, rel=1e-6)
