"""The readers of files under a fuzzer that follows the branches of the code (atheris), for a bounded number of tries and time."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FUZZ = """
import sys, tempfile
from pathlib import Path
import atheris
with atheris.instrument_imports(include=["coilwright.job", "coilwright.line", "coilwright.readings"]):
    from coilwright.errors import CoilwrightError
    from coilwright.job import loads
    from coilwright.line.mapping import read_map
    from coilwright.line.form import read_form
    from coilwright.readings.lcr import read_lcr
    from coilwright.readings.notes import read_notes
    from coilwright.readings.scope import read_scope_csv
    from coilwright.readings.temperature import read_temperature
    from coilwright.readings.touchstone import read_touchstone

place = Path(tempfile.mkdtemp()) / ("file.s1p" if sys.argv[1] == "touchstone" else "file.csv")
READERS = {
    "job": lambda: loads(place.read_bytes().decode("utf-8", "replace")),
    "map": lambda: read_map(place), "form": lambda: read_form(place, "x"), "meter": lambda: read_lcr(place),
    "notes": lambda: read_notes(place), "scope": lambda: read_scope_csv(place),
    "temperature": lambda: read_temperature(place), "touchstone": lambda: read_touchstone(place),
}
reader = READERS[sys.argv[1]]

def one(data):
    place.write_bytes(data)
    try:
        reader()
    except CoilwrightError as error:
        assert str(error)

atheris.Setup([sys.argv[0], *sys.argv[2:]], one)
atheris.Fuzz()
"""
SEEDS = {
    "job": (ROOT / "examples/indicator-tube-getter/job.toml").read_bytes(),
    "map": b'machine = "a"\nstations = 2\n[columns]\ntime = "t"\nstation = "s"\nresult = "r"\n',
    "form": b"form,coilwright hand-over form 1\njob,x\ndigest,x\n\n"
    b"what,station,reading,expected,unit,value,uncertainty\nq,,Q,50,,51,\n",
    "meter": b"Frequency [Hz],Ls [uH],Rs [mohm]\n10000,0.85,12\n20000,0.85,14\n",
    "notes": b"4.8 s red\n6 s bright\n",
    "scope": b"time [s],CH1 [V]\n0,1\n1e-6,2\n2e-6,1\n3e-6,0\n",
    "temperature": b"time [s],spot [degC]\n0,20\n1,30\n2,41\n",
    "touchstone": b"! x\n# Hz S RI R 50\n10000 -0.99 0.01\n20000 -0.98 0.02\n",
}


@pytest.mark.slow
@pytest.mark.skipif(importlib.util.find_spec("atheris") is None, reason="atheris has no wheel for this Python")
@pytest.mark.parametrize("reader", SEEDS)
def test_a_reader_fuzzed(reader, tmp_path):
    """Twenty thousand files or forty seconds, whichever comes first."""
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    (corpus / "seed").write_bytes(SEEDS[reader])
    # a program begins with the peak memory of the one that starts it: a shell in between stands for this one's gigabytes
    done = subprocess.run(
        ["sh", "-c", '"$@"; exit $?', "sh", sys.executable, "-W", "ignore", "-c", FUZZ, reader,
         "-runs=20000", "-max_total_time=40", "-max_len=8000", "-rss_limit_mb=2048", "-timeout=10", "-seed=1", corpus],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT / "src")}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]
    assert "Done " in done.stderr
