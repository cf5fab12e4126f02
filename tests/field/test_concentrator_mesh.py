"""A ferrite core has no skin, yet its edges must be resolved for the part beside it."""

import pytest

import coilwright as cw
from tests.field.test_scene_findings import CORE
from tests.heating.jobs import WASHER


def test_part_beside_a_ferrite_core_is_right_at_the_usual_level():
    job = cw.loads(WASHER.replace("[coil]\n", CORE.replace("-7.5 mm", "-9 mm")))
    normal, fine = (cw.field(job, level=level, estimate_error=False).result for level in ("normal", "fine"))
    assert normal.body_powers["washer"] == pytest.approx(fine.body_powers["washer"], rel=3e-4)
    assert normal.loaded.inductance == pytest.approx(fine.loaded.inductance, rel=1e-4)
    assert normal.loaded.resistance == pytest.approx(fine.loaded.resistance, rel=3e-4)
    assert normal.power_mismatch < 2e-5
