"""`python -m benchmarks.pack_time [EXAMPLE...]`: a build pack of every example in a fresh process, start and imports included.

The reference of each is the shot the pack is about, solved alone with its error estimate (`coilwright heat`). Told are clock,
processor time of the first process and of those beside it, and how many such shots the pack costs. On a quiet machine with
two cores the clock shows little more than the larger of the two processor times; on a busy one only these count.
Asserted: the pack is written, its verdict is that of the shot, and a second pack has the same bytes.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

EXAMPLES = Path(__file__).parents[1] / "examples"
_FRESH = {**os.environ, "COILWRIGHT_CACHE": "off"}  # nothing solved earlier is taken up
_PACK = """
import json, resource, sys
import coilwright as cw
written = cw.pack(cw.load(sys.argv[1]), sys.argv[2], date="2025-03-31")
own, beside = (sum(resource.getrusage(w)[:2]) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps({"own": own, "beside": beside, "passed": written.passed}))
"""
_SHOT = """
import json, resource, sys
import coilwright as cw
result = cw.heat(cw.load(sys.argv[1]))
print(json.dumps({"own": sum(resource.getrusage(resource.RUSAGE_SELF)[:2]), "beside": 0.0, "passed": result.passed}))
"""


@dataclass(frozen=True)
class Run:
    """Seconds of the clock, of the processor in the first process and in those beside it; the verdict."""

    clock: float
    own: float
    beside: float
    passed: bool


def run(script: str, *arguments: str) -> Run:
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", script, *arguments], check=True, capture_output=True, text=True, env=_FRESH
    )
    told = json.loads(done.stdout.splitlines()[-1])
    return Run(time.perf_counter() - begin, told["own"], told["beside"], told["passed"])


def measured(job: Path) -> tuple[Run, Run]:
    """The pack and the shot of a job file."""
    with TemporaryDirectory() as folder:
        run(_PACK, str(job), f"{folder}/first")  # compiled code is kept from here on
        pack, shot = run(_PACK, str(job), f"{folder}/second"), run(_SHOT, str(job))
        first, second = ({p.name: p.read_bytes() for p in Path(folder, name).iterdir()} for name in ("first", "second"))
    assert first == second and first["pack.pdf"].startswith(b"%PDF")
    assert pack.passed == shot.passed
    return pack, shot


def jobs(names: list[str]) -> list[Path]:
    """The job of every example, the one with its machine, the one of six stations; or those whose path holds one of `names`."""
    found = [p for kind in ("job", "with-tank", "six-stations") for p in sorted(EXAMPLES.glob(f"*/{kind}.toml"))]
    return [p for p in found if not names or any(n in str(p) for n in names)]


def main() -> None:
    print(f"{'':40s} {'clock':>8s} {'first process':>14s} {'beside it':>10s} {'over its shot':>14s}")
    for job in jobs(sys.argv[1:]):
        pack, shot = measured(job)
        name = f"{job.parent.name}/{job.name}"
        ratio = (pack.own + pack.beside) / shot.own
        print(f"{name:40s} {pack.clock:6.1f} s {pack.own:12.1f} s {pack.beside:8.1f} s {ratio:12.1f} x", flush=True)
    print(f"load of the machine, running processes over the last minute: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
