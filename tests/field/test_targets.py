"""What the finished coil should read."""

import pytest

from coilwright.field.targets import coil_target
from coilwright.job import loads
from coilwright.job.schema_workshop import Workshop
from coilwright.job.starting import template
from coilwright.steps.field import field


def test_target_is_the_empty_coil_with_its_leads():
    report = field(loads(template("ring-through-glass")), level="coarse", estimate_error=False)
    target = coil_target(report, Workshop())
    empty, leads = report.result.unloaded, report.leads
    assert target.inductance == pytest.approx(empty.inductance + leads.inductance)
    assert target.resistance == pytest.approx(empty.resistance + leads.resistance)
    assert target.inductance > empty.inductance and target.assumed
    assert target.inductance_range == pytest.approx((0.95 * target.inductance, 1.05 * target.inductance))
    stated = Workshop.model_validate({"inductance_tolerance": 0.02, "resistance_tolerance": 0.1})
    assert not coil_target(report, stated).assumed
