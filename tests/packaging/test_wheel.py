"""What a stranger installs: the wheel holds all the program needs, runs from an empty folder, and misses extras politely."""

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXTRAS = (
    "nicegui", "pymoo", "dask", "distributed", "aiomqtt", "paho", "pyvisa", "pyvisa_py", "h5py", "psycopg", "ngsolve",
)  # fmt: skip
BLOCK = "import sys\nsys.modules.update(dict.fromkeys({names!r}))\n"
# command -> the extra its sentence must name
WITHOUT = {
    ("bench", "job.toml"): "bench",
    ("line", "listen", "mqtt://127.0.0.1:1/x", "--map", "map.toml"): "floor",
    ("seek", "seek.toml", "--scheduler", "tcp://127.0.0.1:1"): "cluster",
    ("reading", "--instruments"): "instruments",
    ("line", "show", "--store", "postgresql://nobody@127.0.0.1:1/none"): "postgres",
}


def run(*arguments, cwd, env=None, check=True):
    done = subprocess.run(
        [str(a) for a in arguments], cwd=cwd, env={**os.environ, **(env or {})}, capture_output=True, text=True
    )
    assert not check or done.returncode == 0, f"{arguments}: {done.stdout[-2000:]}{done.stderr[-2000:]}"
    return done


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """(wheel, sdist) built from the tree."""
    target = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "hatchling", "build", "-d", target, cwd=ROOT)
    (wheel,), (sdist,) = target.glob("*.whl"), target.glob("*.tar.gz")
    return wheel, sdist


@pytest.fixture(scope="module")
def installed(built, tmp_path_factory):
    """Python of an environment that holds the wheel; the libraries are lent by the one that runs the tests."""
    home = tmp_path_factory.mktemp("environment")
    run(sys.executable, "-m", "venv", "--without-pip", home, cwd=home)
    python = home / "bin" / "python"
    site = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).stdout.strip())
    with zipfile.ZipFile(built[0]) as wheel:
        wheel.extractall(site)
    (site / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    where = run(python, "-c", "import coilwright; print(coilwright.__file__)", cwd=home).stdout
    assert str(site) in where
    return python


def test_wheel_and_sdist_hold_what_the_program_reads(built):
    """Every file of the package that is not Python must travel too, and nothing that is not the package."""
    wheel, sdist = built
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    package = ROOT / "src"
    wanted = {
        p.relative_to(package).as_posix()
        for p in (package / "coilwright").rglob("*")
        if p.is_file() and "__pycache__" not in p.parts and p.suffix not in (".nbi", ".nbc", ".pyc")
    }
    assert wanted <= inside, sorted(wanted - inside)
    strangers = {n for n in inside - wanted if not n.startswith("coilwright-")}
    assert not strangers
    with tarfile.open(sdist) as archive:
        names = {n.split("/", 1)[1] for n in archive.getnames() if "/" in n}
    assert {"README.md", "LICENSE", "pyproject.toml", "Makefile"} <= names
    assert not any(".venv" in n or n.startswith(("out/", "docs/_build")) for n in names)


@pytest.mark.slow  # everything is compiled anew in a fresh environment
def test_first_job_from_the_wheel(installed, tmp_path):
    run(installed, "-m", "coilwright", "new", "job.toml", cwd=tmp_path)
    run(installed, "-m", "coilwright", "check", "job.toml", cwd=tmp_path)
    done = run(installed, "-m", "coilwright", "heat", "job.toml", "--out", "here", cwd=tmp_path)
    assert "PASS" in done.stdout
    assert list((tmp_path / "here").glob("*.png"))


@pytest.mark.parametrize("command", sorted(WITHOUT), ids=" ".join)
def test_a_missing_extra_is_one_sentence(installed, tmp_path, command):
    (tmp_path / "sitecustomize.py").write_text(BLOCK.format(names=EXTRAS), encoding="utf-8")
    env = {"PYTHONPATH": str(tmp_path), "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}
    run(installed, "-m", "coilwright", "new", "job.toml", cwd=tmp_path, env=env)
    for name in ("seek.toml", "tubes.csv", "shelf.csv"):
        shutil.copy(ROOT / "examples" / "indicator-tube-getter" / name, tmp_path)
    (tmp_path / "map.toml").write_text(
        'machine = "a"\nstations = 1\n[columns]\ntime = "t"\nstation = "s"\nresult = "r"\n', encoding="utf-8"
    )
    done = run(installed, "-m", "coilwright", *command, cwd=tmp_path, env=env, check=False)
    assert done.returncode in (2, 3)
    assert "Traceback" not in done.stderr
    assert f"coilwright[{WITHOUT[command]}]" in done.stderr


def test_core_works_without_any_extra(installed, tmp_path):
    (tmp_path / "sitecustomize.py").write_text(BLOCK.format(names=EXTRAS), encoding="utf-8")
    env = {"PYTHONPATH": str(tmp_path)}
    run(installed, "-m", "coilwright", "new", "job.toml", cwd=tmp_path, env=env)
    for command in ("check", "quick", "field"):
        run(installed, "-m", "coilwright", command, "job.toml", cwd=tmp_path, env=env)


def answers(version):
    """Whether this Python is on the machine (a name on the path may be a mere pointer to one that is not)."""
    python = shutil.which(version)
    return python is not None and subprocess.run([python, "--version"], capture_output=True).returncode == 0


# the Python of these tests always, and every other at hand
PYTHONS = [sys.executable, *filter(answers, ("python3.11", "python3.12", "python3.13"))]


@pytest.mark.slow
@pytest.mark.parametrize("version", PYTHONS, ids=lambda path: Path(path).name)
def test_demo_in_an_empty_environment(built, tmp_path, version):
    """The wheel with all it asks for, from the registry, on every Python at hand."""
    python = shutil.which(version)
    run(python, "-m", "venv", "e", cwd=tmp_path)
    run("e/bin/pip", "install", "--quiet", built[0], cwd=tmp_path)
    done = run("e/bin/coilwright", "demo", "--out", "out", cwd=tmp_path)
    assert "PASS" in done.stdout
