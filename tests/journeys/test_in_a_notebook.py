"""The same road through the Python interface alone: enquiry, shot, tank, paper, record, fault, cause."""

import pytest

import coilwright as cw
from coilwright.steps.line import line_rehearse, service_files, service_visit
from coilwright.steps.pack import with_record

from .test_enquiry_to_service import page_text
from .test_examples import EXAMPLES


def test_from_enquiry_to_service_report(tmp_path):
    job = cw.load(EXAMPLES / "indicator-tube-getter" / "with-tank.toml")
    alone = cw.load(EXAMPLES / "indicator-tube-getter" / "job.toml")
    field, shot = cw.field(alone), cw.heat(alone, estimate_error=False)
    assert shot.passed
    assert shot.trace.bodies["ring"].power[0] == pytest.approx(field.result.body_powers["ring"], rel=0.02)
    study = cw.tank(job)
    cold = study.report.cold
    written = cw.pack(job, tmp_path, date="2026-03-02", effort=None)
    assert written.passed
    form = (tmp_path / "hand-over.csv").read_text(encoding="utf-8").splitlines()
    frequency = next(n for n, line in enumerate(form) if line.startswith("frequency,,"))
    expected = float(form[frequency].split(",")[3])
    assert expected == pytest.approx(cold.frequency / 1e3, rel=1e-5)
    form[frequency] = form[frequency].removesuffix(",,") + f",{expected},0.1"
    (tmp_path / "filled.csv").write_text("\n".join(form), encoding="utf-8")
    handed = with_record(job, tmp_path / "filled.csv")
    assert job.later.get("machine") is None  # a job is never changed, a new one is made
    case = line_rehearse(handed, tmp_path / "case", fault="capacitor-lost", seed=2)
    visit = service_visit(handed, tmp_path / "case" / "readings.toml")
    told = {r.key: r.probability for r in visit.answer.ranked}
    assert case.case.cause.key in told
    report = service_files(visit, tmp_path / "case")[0]
    assert visit.answer.ranked[0].name in " ".join(page_text(report).split())
    again = cw.why(handed, tmp_path / "case" / "readings.toml")
    assert again.ranked[0].probability == pytest.approx(visit.answer.ranked[0].probability, rel=1e-9)
