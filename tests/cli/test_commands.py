"""The command line from outside: one JSON object on stdout, sentences on stderr, exit codes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from coilwright.cli.main import main
from coilwright.job import TEMPLATES, template
from tests.heating.jobs import WASHER

AWKWARD = Path(__file__).parents[1] / "awkward_files"


@pytest.fixture
def washer(tmp_path):
    path = tmp_path / "washer.toml"
    path.write_text(WASHER, encoding="utf-8")
    return path


def run(capsys, *arguments):
    """(exit code, stdout, stderr) of one command."""
    code = 0
    try:
        main([str(a) for a in arguments])
    except SystemExit as leave:
        code = leave.code or 0
    said = capsys.readouterr()
    return code, said.out, said.err


def test_field_json_has_the_fixed_keys(capsys, washer):
    code, out, err = run(capsys, "field", washer, "--json")
    data = json.loads(out)
    assert code == 0
    assert not err
    assert set(data["coil"]["loaded"]) >= {"inductance_H", "resistance_ohm", "q"}
    assert set(data["coil"]["unloaded"]) >= {"inductance_H", "resistance_ohm", "q"}
    assert data["coil"]["current_A"] == pytest.approx(230.1)
    assert data["bodies"]["washer"]["power_W"] == pytest.approx(4.787344e-4 * 230.1**2, rel=5e-4)
    assert 0 < data["efficiency"] < 1
    assert set(data) >= {"frequency_Hz", "coil", "bodies", "efficiency", "points", "error"}


def test_heat_json_has_the_fixed_keys(capsys, washer):
    code, out, _ = run(capsys, "heat", washer, "--json", "--every", "0.5 s")
    data = json.loads(out)
    assert code == (0 if data["verdict"] == "pass" else 1)
    (line,) = data["accept"]
    assert line["met"] is True
    assert {"margin_s", "margin_K"} <= set(line)
    trace = data["trace"]
    assert trace["time_s"] == pytest.approx([0.5 * k for k in range(11)])
    assert set(trace["bodies"]["washer"]) >= {"min_degC", "mean_degC", "max_degC", "power_W", "charge_fired"}
    assert set(trace["coil"]) >= {"inductance_H", "resistance_ohm", "current_A", "voltage_V", "power_W", "frequency_Hz"}
    assert all(len(v) == 11 for v in trace["coil"].values())


def test_a_job_that_fails_its_acceptance_leaves_with_1(capsys, washer):
    washer.write_text(WASHER.replace("230.1 A", "150 A"), encoding="utf-8")
    code, out, _ = run(capsys, "heat", washer)
    assert code == 1
    assert "FAIL" in out
    assert "short of" in out


def test_pictures_and_fields_are_written(capsys, washer, tmp_path):
    for command, names in (
        ("check", {"section.svg", "section.png"}),
        ("field", {"field.png", "field.svg", "field.vtu"}),
        ("heat", {"heat.png", "electrical.png", "temperature-map.png", "heat.vtu"}),
    ):
        code, _, _ = run(capsys, command, washer, "--out", tmp_path / command)
        assert code == 0
        files = {p.name: p.stat().st_size for p in (tmp_path / command).iterdir()}
        assert set(files) == names
        assert min(files.values()) > 1000


def test_two_shots(capsys, washer):
    code, out, _ = run(capsys, "heat", washer, "--shots", 2, "--pause", "5 s", "--json")
    data = json.loads(out)
    assert code == 0
    first, second = (s["trace"]["bodies"]["washer"]["mean_degC"] for s in data["shots"])
    assert second[0] > 500 > first[0]


@pytest.mark.parametrize("kind", sorted(TEMPLATES))
def test_new_writes_a_file_that_checks(capsys, tmp_path, kind):
    path = tmp_path / "job.toml"
    assert run(capsys, "new", path, "--like", kind)[0] == 0
    assert path.read_text(encoding="utf-8") == template(kind)
    code, out, err = run(capsys, "check", path, "--json")
    assert code == 0, err
    assert json.loads(out)["turns"] > 0


def test_new_does_not_overwrite(capsys, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("mine", encoding="utf-8")
    code, _, err = run(capsys, "new", path)
    assert code == 2
    assert "exists already" in err
    assert path.read_text(encoding="utf-8") == "mine"


def test_materials(capsys):
    code, out, _ = run(capsys, "materials", "--json")
    assert code == 0
    assert len(json.loads(out)["materials"]) >= 40
    code, out, _ = run(capsys, "materials", "copper")
    assert code == 0
    assert "resistivity" in out
    code, _, err = run(capsys, "materials", "coper")
    assert code == 2
    assert "did you mean" in err


@pytest.mark.parametrize("command", ["check", "quick", "field", "heat"])
@pytest.mark.parametrize("name", ["no_unit.toml", "not_toml.toml", "newer_format.toml", "nan.toml", "missing.toml"])
def test_bad_input_is_a_sentence_and_exit_2(capsys, command, name):
    code, out, err = run(capsys, command, AWKWARD / name, "--json")
    assert code == 2
    assert "Traceback" not in err
    error = json.loads(out)["error"]
    assert error["kind"] == "bad-input"
    assert error["faults"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--every", "0.1"), "has no unit"),
        (("--every", "-1 s"), "above 0"),
        (("--pause", "soon"), "does not begin with a number"),
    ],
)
def test_bad_options_are_sentences(capsys, washer, arguments, says):
    code, _, err = run(capsys, "heat", washer, *arguments)
    assert code == 2
    assert says in err


def test_out_must_not_be_a_file(capsys, washer):
    code, _, err = run(capsys, "field", washer, "--out", washer)
    assert code == 2
    assert "must be a folder" in err


def test_module_runs_and_tells_its_version():
    out = subprocess.run([sys.executable, "-m", "coilwright", "--version"], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "0.1.0"
