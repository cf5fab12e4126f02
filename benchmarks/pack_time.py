"""`python -m benchmarks.pack_time [EXAMPLE...]`: `coilwright pack` of every example in a fresh process, start and end included.

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
_TOLD = """
import atexit, json, resource, sys

def tell():
    own, beside = (sum(resource.getrusage(w)[:2]) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(json.dumps({"own": own, "beside": beside}), file=sys.stderr)

atexit.register(tell)  # the first to come is the last to go
from coilwright.cli.main import main
main(sys.argv[1:])
"""


@dataclass(frozen=True)
class Run:
    """Seconds of the clock, of the processor in the first process and in those beside it; the verdict."""

    clock: float
    own: float
    beside: float
    passed: bool


def run(*command: str) -> Run:
    """A command in a fresh process; 1 says that the job fails its own acceptance."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _TOLD, *command, "--json"], check=False, capture_output=True, text=True, env=_FRESH
    )
    clock = time.perf_counter() - begin
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stderr)
    told = json.loads(done.stderr.splitlines()[-1])
    return Run(clock, told["own"], told["beside"], done.returncode == 0)


def measured(job: Path) -> tuple[Run, Run]:
    """The pack and the shot of a job file."""
    with TemporaryDirectory() as folder:
        packed = ["pack", str(job), "--date", "2025-03-31", "--out"]
        run(*packed, f"{folder}/first")  # compiled code is kept from here on
        pack, shot = run(*packed, f"{folder}/second"), run("heat", str(job))
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
