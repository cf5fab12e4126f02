"""Broken job files in numbers, in a process whose memory is bounded: sentences only, and never more memory than the bound.

`tests/job/test_broken_files.py` says what a refusal must look like; here the same damage is done thousands of times, and what
was still readable goes on to the section and its hand calculation, where odd but well-formed figures do their harm.
"""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# B: what reading ten thousand broken files may take beyond what the program holds when it starts
ROOM = 700_000_000

READ = f"""
import resource, sys
from pathlib import Path
from hypothesis import HealthCheck, Phase, given, seed, settings
from coilwright.errors import BadInput, CoilwrightError
from coilwright.job import loads, template
from coilwright.job.read import from_document
from coilwright.steps.quick import quick
from coilwright.section.scene import scene
from tests.job.test_broken_files import damaged, read_or_refuse

quick(loads(template("ring-through-glass")))
held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (held + {ROOM}, held + {ROOM}))
number, further = int(sys.argv[1]), int(sys.argv[2])
counts = {{"read": 0, "refused": 0, "further": 0}}

@seed(1)
@settings(max_examples=number, deadline=None, database=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(damaged())
def broken(document):
    job = read_or_refuse(lambda: from_document(document, "job.toml", None, Path(), ""))
    counts["refused" if job is None else "read"] += 1
    if job is None or counts["further"] >= further:
        return
    counts["further"] += 1
    for step in (scene, quick):
        try:
            step(job)
        except CoilwrightError as error:
            assert 10 < len(str(error)) < 4000, error

broken()
print(counts["read"], counts["refused"], counts["further"])
"""


def read_broken(number, further):
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", READ, str(number), str(further)],
        cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-4000:]
    return [int(n) for n in done.stdout.split()]


def test_three_hundred_broken_files():
    read, refused, further = read_broken(300, 20)
    assert read + refused >= 300
    assert refused > 150
    assert further > 0


@pytest.mark.slow
def test_ten_thousand_broken_files():
    read, refused, further = read_broken(10_000, 1500)
    assert read + refused >= 10_000
    assert further > 200
