"""Charts and the service report: files that open, texts that stand in them, words that stay words."""

import re

import pytest
from pypdf import PdfReader

from coilwright.cli.main import main
from coilwright.line.rehearse import choose, rehearse
from coilwright.line.stations import reading_courses
from coilwright.line.taken import Readings
from coilwright.line.watch import watch
from coilwright.line.why import why
from coilwright.pack.line_pictures import (
    causes_picture,
    reading_picture,
    shares_picture,
    stations_picture,
    watch_pictures,
)
from coilwright.pack.service_report import service_report
from coilwright.store.shots import ShotStore
from tests.line.machines import board, ring_job
from tests.line.test_watch import filled


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    with ShotStore(tmp_path_factory.mktemp("log") / "log.db") as store:
        filled(store, lambda t, k, lot: 0.6 if k == 4 and t >= 120 else 0.01)
        yield watch(store, "press")


def words(path):
    """All text of a PDF, blanks and line ends as one blank."""
    return re.sub(r"\s+", " ", " ".join(p.extract_text() for p in PdfReader(path).pages))


def test_every_picture_is_written(found, tmp_path):
    files = watch_pictures(found, tmp_path)
    assert [f.name for f in files] == ["stations.png", "shares.png", "reading-start.png"]
    assert all(f.stat().st_size > 20_000 for f in files)


def test_the_change_of_one_station_is_charted(found):
    course = next(c for c in found.courses if c.station == 4)
    assert course.change.p < 0.01
    assert course.chart.centre < 0.05  # limits of the time before
    assert len(course.chart.alarms) > 5
    assert min(course.chart.alarms) >= course.change.at
    quiet = [c for c in found.courses if c.station != 4]
    assert sum(len(c.chart.alarms) for c in quiet) <= 3
    figure = shares_picture(found)
    texts = " ".join(t.get_text() for axes in figure.axes for t in axes.texts)
    assert "→" in texts
    assert "worse than the others" in " ".join(t.get_text() for t in stations_picture(found).axes[0].texts)


def test_the_three_charts_of_a_reading(found):
    (reading,) = found.readings
    assert [c.station for c in reading.courses] == [1, 2, 3, 4, 5, 6]
    assert len(reading_picture(found, reading).axes) == 18
    late = reading_courses_with_a_step()
    assert late.change.at == 20
    assert late.cusum.began == 20
    assert min(late.ewma.alarms) >= 20


def reading_courses_with_a_step():
    import numpy as np

    rng = np.random.default_rng(2)
    value = 4.8 + 0.02 * rng.standard_normal(40) + 0.2 * (np.arange(40) >= 20)
    table = np.column_stack([np.ones(40), np.arange(40), np.full(40, 50), value, np.full(40, 0.01)])
    (course,) = reading_courses(table, 0.0, 3600.0)
    return course


def test_the_report_of_a_told_cause(found, tmp_path):
    b = board()
    case = rehearse(b, 5, index=choose(b, "coil-back", 4), size=1.0, take=("pick-up", "setback", "start"))
    readings = Readings(case.readings.taken, case.readings.tallies, complaint="#let x = 1 *dark* tubes", by="A. Fitter")
    answer = why(b, readings)
    text = words(service_report(ring_job(), b, readings, found, answer, tmp_path / "report.pdf"))
    for said in ("#let x = 1 *dark* tubes", "A. Fitter", "The cause is told", "coil of station 4 stands back", "What not to do",
                 "Do not raise the power", "Looked at and ruled out", "Proof:", "prove dead",
                 "Isolate, set the coil of station 4",
                 "Station 4 is worse than the others", "The source holds the voltage", "licensed practice decide"):  # fmt: skip
        assert said in text, said
    again = service_report(ring_job(), b, readings, found, answer, tmp_path / "again.pdf")
    assert again.read_bytes() == (tmp_path / "report.pdf").read_bytes()  # equal input, equal bytes


def test_the_report_that_cannot_tell(tmp_path):
    answer = why(board(), Readings())
    text = words(service_report(ring_job(), board(), Readings(), None, answer, tmp_path / "report.pdf"))
    assert "Cannot be told from these readings" in text
    assert "No correction on a guess" in text
    figure = causes_picture(answer)
    assert figure.axes[0].get_title(loc="left") == "Cannot be told from these readings"


def test_commands_write_them(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("coilwright.steps.line.machine_board", lambda _job: board())  # built once for all of them
    job = tmp_path / "ring.toml"
    job.write_text(ring_job().text, encoding="utf-8")
    out, store = tmp_path / "case", str(tmp_path / "shots.db")
    run("line", "rehearse", job, "--out", out, "--fault", "coil-back", "--station", 3, "--size", 1.2)
    run("line", "add", out / "log.csv", "--map", out / "map.toml", "--store", store)
    run("line", "show", "--store", store, "--out", tmp_path / "charts")
    run("why", job, "--readings", out / "readings.toml", "--store", store, "--out", tmp_path / "visit")
    said = capsys.readouterr().out
    assert "service-report.pdf" in said
    assert {p.name for p in (tmp_path / "visit").iterdir()} == {
        "service-report.pdf", "causes.png", "stations.png", "shares.png", "reading-start.png",
    }  # fmt: skip
    assert len(list((tmp_path / "charts").iterdir())) == 3
    run("line", "record", job)
    run("line", "move", job, "--station", 2)
    said = capsys.readouterr().out
    assert "the source holds the voltage" in said
    assert "to fill in" in said


def run(*arguments):
    with pytest.raises(SystemExit) as leave:
        main([*map(str, arguments)])
    assert leave.value.code in (0, None)
