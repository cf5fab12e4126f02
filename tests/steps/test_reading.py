"""Instrument files from end to end: written here with known truth, read by the command."""

import json

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.errors import BadInput
from coilwright.steps.reading import reading
from tests.readings.synthetic import ringing, shot


def scope_file(path, capture):
    columns = [capture.time(), *(c.values() for c in capture.channels)]
    head = "time," + ",".join(c.name for c in capture.channels) + "\ns," + ",".join(c.unit for c in capture.channels)
    np.savetxt(path, np.column_stack(columns), delimiter=",", header=head, comments="", fmt="%.9g")
    return path


def run(*arguments):
    with pytest.raises(SystemExit) as left:
        main(["reading", *arguments])
    assert left.value.code == 0


def test_ring_down_of_a_capture(tmp_path):
    capture = ringing(np.random.default_rng(1), [(350e3, 60.0, 1.0, 0.3)], rate=20e6)
    found = reading(str(scope_file(tmp_path / "ring.csv", capture)), modes=1)  # a name will do
    assert found["frequency_Hz"] == pytest.approx(350e3, rel=1e-4)
    assert found["q"] == pytest.approx(60.0, rel=0.01)


def test_power_of_a_running_source(tmp_path):
    capture = shot(np.random.default_rng(2), 350e3, 90.0, 130.0, 1.4, rate=20e6, duration=1e-3)
    found = reading(scope_file(tmp_path / "run.csv", capture))
    assert found.kind == "voltage and current"
    assert found["voltage_V"] == pytest.approx(90.0, rel=1e-3)
    assert found["power_W"] == pytest.approx(90.0 * 130.0 * np.cos(1.4), rel=5e-3)


def test_coil_and_tank_from_a_sweep(tmp_path):
    f = np.linspace(100e3, 500e3, 81)
    omega = 2 * np.pi * f
    coil = 20e-3 + 1j * omega * 340e-9
    tank = coil + 1 / (1j * omega * 1e-6)
    for name, z in (("coil.csv", coil), ("tank.csv", tank)):
        np.savetxt(
            tmp_path / name,
            np.column_stack([f, z.real, z.imag]),
            delimiter=",",
            header="Frequency [Hz],R [ohm],X [ohm]",
            comments="",
        )
    assert reading(tmp_path / "coil.csv", frequency=350e3)["inductance_H"] == pytest.approx(340e-9, rel=1e-6)
    found = reading(tmp_path / "tank.csv")
    assert found["resonance_Hz"] == pytest.approx(1 / (2 * np.pi * np.sqrt(340e-9 * 1e-6)), rel=1e-5)
    assert found["q"] == pytest.approx(np.sqrt(340e-9 / 1e-6) / 20e-3, rel=1e-3)


def test_temperatures(tmp_path):
    t = np.arange(0.0, 10.0, 0.1)
    kelvin = np.where(t < 5.0, 20.0 + 100.0 * t, 520.0 - 40.0 * (t - 5.0))
    np.savetxt(
        tmp_path / "t.csv", np.column_stack([t, kelvin]), delimiter=",", header="time [s],ring [degC]", comments=""
    )
    found = reading(tmp_path / "t.csv")
    assert found["ring_highest_degC"] == pytest.approx(520.0, abs=1.0)
    assert found["ring_rise_K_per_s"] == pytest.approx(100.0, rel=1e-3)


def test_command_prints_and_speaks_json(tmp_path, capsys):
    capture = ringing(np.random.default_rng(1), [(350e3, 60.0, 1.0, 0.3)], rate=20e6)
    file = scope_file(tmp_path / "ring.csv", capture)
    run(str(file), "--rings", "1")
    assert "350.0" in capsys.readouterr().out
    run(str(file), "--rings", "1", "--json")
    (only,) = json.loads(capsys.readouterr().out)["readings"]
    assert only["quantities"]["q"]["sigma"] > 0.0


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [(["--as", "guess"], "must be one of"), (["--frequency", "350"], "--frequency"), ([], "")],
)
def test_bad_input_is_one_sentence(arguments, sentence, tmp_path, capsys):
    with pytest.raises(SystemExit) as left:
        main(["reading", str(tmp_path / "none.csv"), *arguments])
    assert left.value.code in (2, 3)
    said = capsys.readouterr().err
    assert sentence in said
    assert "Traceback" not in said
    assert "fault of coilwright" not in said


def test_two_ports_need_a_frequency(tmp_path):
    (tmp_path / "pair.s2p").write_text(
        "# Hz S RI R 50\n350000 0 0.5 0 0.1 0 0.1 0 0.5\n360000 0 0.5 0 0.1 0 0.1 0 0.5\n"
    )
    with pytest.raises(BadInput, match="at which frequency"):
        reading(tmp_path / "pair.s2p")
    assert 0.0 < reading(tmp_path / "pair.s2p", frequency=355e3)["coupling"] < 1.0
