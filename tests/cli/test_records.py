"""keep, find and store from outside: what they print, their JSON, their sentences and exit codes."""

import json
import shutil
import subprocess
import sys

import pytest

from coilwright.job import template
from tests.cli.test_commands import run


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COILWRIGHT_STORE", str(tmp_path / "store.db"))
    (tmp_path / "job.toml").write_text(template("ring-through-glass"), encoding="utf-8")
    return tmp_path


def data(capsys, *arguments):
    code, out, err = run(capsys, *arguments, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def test_keep_twice_then_changed(capsys, folder):
    first = data(capsys, "keep", "job.toml", "--as", "ring", "--note", "as quoted")
    assert (first["job"], first["version"], first["new"], first["note"]) == ("ring", 1, True, "as quoted")
    assert first["figures"]["winding"] == "helix"
    assert data(capsys, "keep", "job.toml", "--as", "ring")["new"] is False
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text + "# changed\n", encoding="utf-8")
    assert data(capsys, "keep", "job.toml", "--as", "ring")["version"] == 2
    assert run(capsys, "store", "show", "ring", "--version", 1, "--text")[1] == text
    shown = data(capsys, "store", "show", "ring")
    assert [v["number"] for v in shown["versions"]] == [1, 2]
    assert data(capsys, "store", "show")["jobs"][0]["versions"] == 2
    _, out, _ = run(capsys, "store", "show")
    assert out.startswith(str(folder / "store.db"))


def test_another_file_under_a_name_that_is_taken(capsys, folder):
    run(capsys, "keep", "job.toml", "--as", "ring")
    shutil.copy("job.toml", "other.toml")
    code, out, err = run(capsys, "keep", "other.toml", "--as", "ring")
    assert (code, out) == (2, "")
    assert 'job "ring": stands in the store already' in err
    assert len(err.splitlines()) == 1
    assert data(capsys, "keep", "other.toml", "--as", "ring", "--same")["version"] == 1


def test_find(capsys):
    run(capsys, "keep", "job.toml", "--as", "ring one")
    found = data(capsys, "find", "ring", "--mass", "1 g", "--winding", "helix")["like"]
    assert found[0]["job"] == "ring one"
    assert 0 < found[0]["likeness"] <= 1
    assert any("mass" in r for r in found[0]["reasons"])
    assert data(capsys, "find", "job.toml")["like"] == []
    _, out, _ = run(capsys, "find", "ring")
    assert '"ring one" version 1: words: ring' in out
    assert run(capsys, "find", "crucible")[1] == "nothing else like it is kept\n"


def test_coils_and_capacitors(capsys, folder):
    coil = data(capsys, "store", "coil", "W 1", "--job", "job.toml", "--inductance", "0.81 uH +- 3 nH",
                "--resistance", "27 mohm ± 4 %", "--frequency", "350 kHz")["coils"][0]  # fmt: skip
    (reading,) = coil["readings"]
    assert reading["inductance_H"] == pytest.approx(0.81e-6)
    assert reading["inductance_sigma_H"] == pytest.approx(3e-9)
    assert reading["resistance_sigma_ohm"] == pytest.approx(0.04 * 27e-3)
    assert reading["designed_inductance_H"] > 0
    assert "% against design" in run(capsys, "store", "coil")[1]
    (folder / "shelf.csv").write_text("name,capacitance,count\nfilm,0.33 uF,12\n", encoding="utf-8")
    assert data(capsys, "store", "capacitor", "--stock", "shelf.csv")["capacitors"][0]["count"] == 12
    kept = data(
        capsys, "store", "capacitor", "film", "--capacitance", "0.325 uF", "--frequency", "100 kHz", "--count", "11"
    )
    assert kept["capacitors"][0]["readings"][0]["capacitance_F"] == pytest.approx(0.325e-6)
    new = data(
        capsys, "store", "capacitor", "mica", "--capacitance", "1 nF", "--frequency", "1 MHz", "--resistance", "1 ohm"
    )
    assert new["capacitors"][0]["count"] == 1
    assert run(capsys, "store", "capacitor", "--out", "now.csv")[0] == 0
    assert (folder / "now.csv").read_text(encoding="utf-8").splitlines()[1].startswith("film,3.25e-07 F,11")


def test_copies(capsys, folder):
    run(capsys, "keep", "job.toml", "--as", "ring")
    assert data(capsys, "store", "backup", "b.zip")["rows"]["job"] == 1
    assert data(capsys, "store", "export", "plain")["rows"]["job_text"] == 1
    assert data(capsys, "store", "restore", "b.zip", "--store", "new.db")["rows"]["job"] == 1
    code, _, err = run(capsys, "store", "restore", "plain", "--store", "new.db")
    assert code == 2
    assert "holds records already" in err
    assert run(capsys, "store", "restore", "plain", "--store", "new.db", "--replace")[0] == 0
    assert data(capsys, "store", "show", "--store", "new.db")["jobs"][0]["name"] == "ring"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("find",), "needs something to look for"),
        (("find", "--mass", "12"), "--mass"),
        (("find", "--mass", "-1 g"), "above zero"),
        (("find", "--depths", "0"), "above zero"),
        (("find", "--winding", "solenoid"), "helix, spiral or turns"),
        (("find", "none.toml"), "none.toml"),
        (("find", "job.toml", "job2.toml"), "one job file"),
        (("store", "show", "rnig"), 'has no job "rnig"; known: "ring"'),
        (("store", "show", "ring", "--version", "9"), "has versions 1 to 1; received 9"),
        (("store", "coil", "W 9"), 'has no coil "W 9"'),
        (("store", "coil", "W 1", "--inductance", "1 uH"), "--resistance"),
        (("store", "coil", "W 1", "--inductance", "1 uH", "--resistance", "1 mohm"), "--frequency"),
        (
            ("store", "coil", "W 1", "--inductance", "1 mm", "--resistance", "1 mohm", "--frequency", "1 kHz"),
            "--inductance",
        ),
        (("store", "capacitor", "--count", "3"), "needs the marking"),
        (("store", "capacitor", "film", "--count", "3"), 'has no capacitor "film"'),
        (("store", "machine", "press"), 'has no machine "press"'),
        (("store", "machine", "press", "job.toml"), "machine.reading"),
        (("store", "backup", "job.toml"), "exists already"),
        (("store", "export", "job.toml"), "exists already"),
        (("store", "restore", "job.toml"), "no back-up, or only half"),
        (("store", "restore", "none.zip"), "is not there"),
        (("keep", "job.toml", "--as", "two\nlines"), "one line"),
        (("keep", "job.toml", "--store", "."), "is a folder"),
        (("keep", "job.toml", "--store", "job.toml"), "no database"),
        (("keep", "job.toml", "--store", "mysql://host/x"), "postgresql://"),
    ],
    ids=lambda v: " ".join(v).replace("\n", " ") if isinstance(v, tuple) else "",
)
def test_bad_input_gets_one_sentence(capsys, arguments, said):
    run(capsys, "keep", "job.toml", "--as", "ring")
    before = data(capsys, "store", "show", "ring")
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1
    assert data(capsys, "store", "show", "ring") == before


@pytest.mark.parametrize(
    "command", [("find", "ring"), ("store", "show"), ("store", "backup", "b.zip"), ("store", "export", "p")]
)
def test_looking_does_not_make_a_store(capsys, folder, command):
    code, _, err = run(capsys, *command)
    assert code == 2
    assert "there is no store yet; keep a job first" in err
    assert not (folder / "store.db").exists()


def test_help_stays_light():
    code = (
        "import sys\nfrom coilwright.cli.main import main\ntry:\n    main(['store', '--help'])\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numpy', 'sqlalchemy', 'alembic', 'platformdirs') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip().endswith("[]")
