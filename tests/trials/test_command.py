"""The trial command from files to a fitted job: one full journey on a cheap job, and every wrong start."""

import json
import tomllib

import numpy as np
import pytest

import coilwright as cw
from coilwright.cli.main import main
from tests.trials.jobs import RING, ring_job, trace_of_job


def run(capsys, *words):
    try:
        main(list(words))
        code = 0
    except SystemExit as leave:
        code = leave.code
    return code, *capsys.readouterr()


@pytest.fixture(scope="module")
def made():
    """The truth: 5 % less current than the dial says, less emissivity, more leak."""
    return ring_job().with_values(
        {"drive.coil_current": "142 A", "body.ring.emissivity": 0.45, "body.ring.support.conductance": "8 mW/K"}
    )


@pytest.fixture
def folder(made, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text(RING, encoding="utf-8")
    write_trace(made, tmp_path)
    return tmp_path


def write_trace(job, folder):
    trace = trace_of_job(job, np.random.default_rng(2), until=22.0, noise=0.8)
    rows = [f"{t:.2f},{k - 273.15:.2f}" for t, k in zip(trace.time, trace.channels["TC"], strict=True)]
    (folder / "trace.csv").write_text("time [s],TC [degC]\n" + "\n".join(rows) + "\n")


def test_from_trace_to_fitted_job(folder, capsys):
    (folder / "sheets").mkdir()
    (folder / "sheets" / "red.jpg").write_bytes(b"\xff\xd8 even red")
    (folder / "sheets" / "sheet.toml").write_text(
        '[trial]\nname = "T-3"\ndate = 2026-03-04\ncoil = "C-1"\ngap = "3 mm"\noutcome = "even red"\nphoto = "red.jpg"\n'
        '[[reading]]\nwhat = "coil current"\nvalue = "141 A"\nuncertainty = "2 %"\n'
        '[[event]]\nwhat = "reaches"\ntemperature = "300 degC"\nat = "2.6 s"\n'
        '[water]\nflow = "0.8 L/min"\nrise = "4 K"\nsource_power = "700 W"\n'
    )
    code, out, err = run(
        capsys, "trial", "job.toml", "trace.csv", "--sheet", "sheets/sheet.toml", "--fit", "power", "--fit", "emissivity",
        "--fit", "support", "--predict", "drive.on_time=4 s, drive.coil_current=180 A", "--workers", "1", "--out", "out",
        "--store", "s.db", "--json",
    )  # fmt: skip
    assert code == 0, err
    told = json.loads(out)
    for key, truth in (
        ("drive.coil_current", 142.0),
        ("body.ring.emissivity", 0.45),
        ("body.ring.support.conductance", 8e-3),
    ):
        f = told["fitted"][key]
        assert abs(f["value"] - truth) < 3.0 * f["sigma"], key
        assert f["low"] < f["value"] < f["high"]
    # temperature alone never parts power and heat content; the current transformer does to 2 %
    assert told["correlation"]["power"]["heat content"] > 0.8
    assert 0.005 < told["fitted"]["drive.coil_current"]["sigma"] / 142.0 < 0.02
    assert told["channels"]["TC"]["rms_after_K"] < 1.2 < told["channels"]["TC"]["rms_before_K"]
    slope = told["calorimetry"]["slope_power_W"]
    assert abs(slope["value"] - slope["predicted_W"]) < 3.0 * slope["sigma"]
    assert told["calorimetry"]["water_power_W"]["value"] == pytest.approx(222.0, rel=0.02)
    assert told["further"][0]["bits"] > 0.0
    _check_prediction(told["predictions"][0])
    _check_files(folder, told)
    with cw.open_store("s.db") as store:
        (kept,) = store.trials_of("Plain ring")
        assert kept.gap_m == pytest.approx(3e-3)
        assert kept.outcome == "even red"
        taught = {f.key: f.value for f in store.fitted_of("Plain ring")}
        assert set(taught) == {"drive.coil_current", "body.ring.emissivity", "body.ring.support.conductance"}
        assert store.trial(kept.number).trace == (folder / "trace.csv").read_bytes()
        assert store.trial(kept.number).photo_content == b"\xff\xd8 even red"
    assert {"live coil and leads", "hot part", "who decides"} <= {c["hazard"] for c in told["cautions"]}


def _check_prediction(told):
    """180 A on the dial that gives 142 A for 150 A are 170 A."""
    current = told["figures"]["coil current at the start"]
    assert current["value_A"] == pytest.approx(180.0 * 142.0 / 150.0, rel=0.03)
    truth = ring_job().with_values(
        {"drive.coil_current": f"{180.0 * 142.0 / 150.0} A", "drive.on_time": "4 s", "body.ring.emissivity": 0.45,
         "body.ring.support.conductance": "8 mW/K"}
    )  # fmt: skip
    shot = cw.heat(truth, estimate_error=False)
    wanted = float(shot.trace.bodies["ring"].mean[-1]) - 273.15
    found = told["figures"]["ring at switch-off"]
    assert abs(found["value_degC"] - wanted) < 3.0 * found["sigma_K"]
    assert found["sigma_K"] < 10.0


def _check_files(folder, told):
    names = {p.split("/")[-1] for p in told["files"]}
    assert names == {"job-fitted.toml", "trial.png", "trial-correlation.png", "trial-predictions.png"}
    text = (folder / "out" / "job-fitted.toml").read_text(encoding="utf-8")
    assert "by the dial; coil_current fitted from trial T-3, 2026-03-04" in text  # remarks stay, the trial is named
    assert "oxidised in the last trial; emissivity fitted from trial T-3" in text
    job = cw.load(folder / "out" / "job-fitted.toml")
    assert job.drive.coil_current == pytest.approx(told["fitted"]["drive.coil_current"]["value"], rel=1e-4)
    before = tomllib.loads(RING)
    assert tomllib.loads(text)["coil"] == before["coil"]
    assert (folder / "job.toml").read_text(encoding="utf-8") == RING  # the job itself is left alone


def test_in_python_with_words(folder):
    from coilwright.steps.trial import TrialEffort

    result = cw.trial(ring_job(), folder / "trace.csv", fit=("power",), effort=TrialEffort(1, advise=False))
    assert result["power"].unknown.key == "drive.coil_current"
    assert "power" in repr(result)
    assert result.job.drive.coil_current == pytest.approx(result["power"].after.value, rel=1e-4)
    assert result.plot() is not None
    with pytest.raises(KeyError, match="fitted are power"):
        result["gap"]


def test_what_carries_nothing_is_refused(folder, capsys):
    """A thermocouple does not feel how long the leads are while the current is held."""
    job = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(job.replace("[drive]", 'leads = { length = "100 mm", spacing = "8 mm" }\n[drive]'))
    write_trace(ring_job(), folder)
    asked = ("--fit", "coil.leads.length=5 mm", "--workers", "1", "--no-further")
    code, out, err = run(capsys, "trial", "job.toml", "trace.csv", *asked)
    assert code == 2, out
    assert "carries nothing on coil.leads.length" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--column", "TC"), "must name a column and the place"),
        (("--column", "TC=rang"), "no body of job.toml"),
        (("--predict", "drive.on_time"), "must name keys of the job"),
        (("--predict", "drive.on_tim=6 s"), "on_tim"),
        (("--start", "soon"), "--start"),
        (("--error", "0 K"), "above zero"),
        (("--sheet", "nosuch.toml"), "nosuch.toml"),
        (("--fit", "charge"), "nothing of that kind"),
    ],
)
def test_wrong_starts(folder, capsys, words, said):
    code, out, err = run(capsys, "trial", "job.toml", "trace.csv", "--workers", "1", *words)
    assert code in (2, 3)
    assert said in err
    assert "Traceback" not in err + out
    assert not (folder / "out").exists()


@pytest.mark.slow
def test_another_unit_is_noticed(folder, capsys):
    """Fahrenheit read as Celsius: no plausible values meet it, and the values that come nearest are told to be far off."""
    text = (folder / "trace.csv").read_text().splitlines()
    rows = [f"{t},{float(c) * 1.8 + 32.0:.1f}" for t, c in (line.split(",") for line in text[1:])]
    (folder / "trace.csv").write_text("\n".join([text[0], *rows]))
    code, out, err = run(
        capsys, "trial", "job.toml", "trace.csv", "--no-further", "--workers", "1", "--fit", "power", "--json"
    )
    assert (code == 3 and "another job, setting or unit" in err) or "trial-against-prior" in out
