"""`python -m benchmarks`: speed and memory as ratios against a reference in the same run; every benchmark asserts its answer.

Writes docs/speed.md. `--quick` does a little of everything in a few seconds (used by the tests) and writes nothing.
"""

from __future__ import annotations

import cProfile
import json
import os
import platform
import pstats
import re
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from tests.heating.jobs import charged_washer, washer

import coilwright as cw
from benchmarks import ngsolve_washer, whole_jobs
from benchmarks.table import Row, attempt, best, report

ROOT = Path(__file__).parents[1]
CASES = json.loads((ROOT / "tests/published/data/field_reference.json").read_text(encoding="utf-8"))["cases"]
# Where the profile of a shot is cut: functions by file.
PARTS = (("pattern.py", "factor"), ("model.py", "solve"), ("conduction.py", "factor"), ("stepper.py", "step"))
SHARES = ("factors of the field", "rest of the field", "factors of the heat", "rest of the heat", "set-up and record")


def washer_cases() -> dict[float, dict]:
    """Distance of the washer from the end turn (mm) -> case, all at 100 kHz."""
    found = {}
    for case in CASES:
        match = re.fullmatch(r"A f=100kHz z=([\d.]+)mm", case["name"])
        if match:
            found[float(match[1])] = case
    return found


def field_rows(times: int, positions: int) -> list[Row]:
    """The cold field of the washer: one solve, a further position, a hundred positions against remeshing each."""
    from coilwright.field.setup import field_model, mesh_scene
    from coilwright.field.solve import Field
    from coilwright.section.scene import scene

    cases = washer_cases()
    job = washer()
    drawn = scene(job)
    shifts = np.linspace(-2e-3, 6e-3, 100)

    def one() -> float:
        return Field.of(field_model(mesh_scene(drawn, 1e5, "coarse"))).solve(1.0).body_powers["washer"]

    cold = best(one, times)
    solver = Field.of(field_model(mesh_scene(drawn, 1e5, "coarse", coil_shifts=[-6e-3, 2e-3])))
    at = {mm: case["result"]["P_part"] for mm, case in cases.items()}
    powers = {mm: solver.at({"washer": (mm - 3.0) * 1e-3}).state().region_powers["washer"] for mm in at}
    ours_error = max(abs(powers[mm] / at[mm] - 1.0) for mm in at)
    assert ours_error < 1e-3, powers

    def sweep() -> None:
        for shift in shifts:
            solver.at({"washer": float(shift)}).state().region_powers  # noqa: B018

    ours = best(sweep, times)
    spans, errors = [], []
    for case in list(cases.values())[:positions]:
        start = time.perf_counter()
        power, _, _ = ngsolve_washer.solve(case, order=2, fine=1.5)
        spans.append(time.perf_counter() - start)
        errors.append(abs(power / case["result"]["P_part"] - 1.0))
    assert max(errors) < 2e-3, errors
    theirs = 100.0 * min(spans)
    return [
        Row("cold field of a washer, meshing included", f"{cold * 1e3:.1f} ms", f"{min(spans) * 1e3:.0f} ms",
            f"{min(spans) / cold:.0f} x", f"part power {ours_error:.0e} / {max(errors):.0e}", "10 ms"),
        Row("a further position of the washer", f"{ours * 10:.2f} ms", f"{min(spans) * 1e3:.0f} ms", f"{theirs / ours:.0f} x",
            f"part power {ours_error:.0e} / {max(errors):.0e}", "1 ms"),
        Row(f"100 positions ({positions} remeshed by the reference, scaled)", f"{ours:.2f} s", f"{theirs:.1f} s",
            f"{theirs / ours:.0f} x", f"part power {ours_error:.0e} / {max(errors):.0e}", "60 x"),
    ]  # fmt: skip


def ring_shot_rows(times: int) -> list[Row]:
    """The shot of a charged ring; the start time is checked against a run refined until it stood still."""
    job = charged_washer(drive__on_time="6 s")
    span = best(lambda: cw.heat(job, estimate_error=False), times)
    start = cw.heat(job, estimate_error=False).verdicts[1].details["start_at_s"]
    assert abs(start - 4.256) < 0.012
    return [
        Row(
            "heat: charged ring, 6 s, full coupling",
            f"{span * 1e3:.0f} ms",
            "-",
            "-",
            f"start {abs(start - 4.256) * 1e3:.0f} ms",
            "30 ms",
        )
    ]


def bar_rows(quick: bool) -> list[Row]:
    """A steel bar below and through its Curie point, ngsolve driven to about the same error."""
    from tests.crosscheck import ngsolve_bar as ref
    from tests.crosscheck.test_bar import REFERENCE, ours

    rows = []
    for current, steps, target in (("507.0", 24, "0.15 s, 30 x"), ("580.0", 60, "0.4 s, 30 x")):
        if quick and current != "507.0":
            continue
        stored = REFERENCE[current]["temperature_degC"]
        job = ours(float(current)).model.scene.job
        span = best(lambda job=job: cw.heat(job, estimate_error=False), 1 if quick else 3)
        result = cw.heat(job, every=1.0, estimate_error=False)
        error = max(
            abs(result.trace.points[p][round(float(t))] - 273.15 - c) for t, at in stored.items() for p, c in at.items()
        )
        assert error < (1.0 if current == "507.0" else 3.0)
        begin = time.perf_counter()
        theirs = ref.Bar(order=3).run(float(current), steps=10 if quick else steps)
        reference = time.perf_counter() - begin
        gap = max(abs(theirs[t][p] - c) for t, at in stored.items() for p, c in at.items())
        title = "below" if current == "507.0" else "through"
        rows.append(
            Row(f"heat: steel bar, 10 s, {title} Curie", f"{span:.2f} s", f"{reference:.1f} s", f"{reference / span:.0f} x",
                f"{error:.1f} K / {gap:.1f} K", target)
        )  # fmt: skip
    return rows


def start_rows() -> list[Row]:
    """Fresh processes: the help text, and the first shot."""

    def run(*arguments: str) -> float:
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        return time.perf_counter() - start

    help_span = min(run("-m", "coilwright", "--help") for _ in range(3))
    shot = "from tests.heating.jobs import washer; import coilwright as cw; cw.heat(washer(), estimate_error=False)"
    first = min(run("-c", shot) for _ in range(2))
    return [
        Row("coilwright --help in a fresh process", f"{help_span:.2f} s", "-", "-", "-", "0.3 s"),
        Row("first heat in a fresh process (compiled code cached)", f"{first:.2f} s", "-", "-", "-", "2 s"),
    ]


def heat_profile() -> str:
    """Where the processor time of three shots goes, in per cent of the march."""
    from tests.crosscheck.test_bar import ours

    jobs = (
        ("charged ring", charged_washer(drive__on_time="6 s")),
        ("steel bar through Curie", ours(580.0).model.scene.job),
        ("hardened pin that saturates", cw.load(ROOT / "examples/hardened-pin/job.toml")),
    )
    head = ("shot", *SHARES)
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    for name, job in jobs:
        shares = _shares(job, PARTS)
        lines.append(f"| {name} | {' | '.join(f'{100.0 * share:.0f} %' for share in shares)} |")
    return "\n".join(lines)


def _shares(job: cw.Job, parts: tuple[tuple[str, str], ...]) -> list[float]:
    """Shares of (field factors, rest of field, heat factors, rest of heat, the rest) in the processor time of a shot."""
    profile = cProfile.Profile(time.process_time)
    profile.runcall(cw.heat, job, estimate_error=False)
    times = pstats.Stats(profile).stats  # type: ignore[attr-defined]
    whole = max(entry[3] for entry in times.values())
    spent = [
        max(
            (e[3] for (file, _, name), e in times.items() if file.endswith(f"/{part}") and name == function),
            default=0.0,
        )
        for part, function in parts
    ]
    field_factors, field, heat_factors, heat = (x / whole for x in spent)
    return [field_factors, field - field_factors, heat_factors, heat - heat_factors, 1.0 - field - heat]


def machine() -> str:
    import ngsolve
    import numba
    import scipy

    processor = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.processor() or platform.machine(),
    )
    versions = ", ".join(f"{m.__name__} {m.__version__}" for m in (np, scipy, numba, ngsolve))
    return (
        f"- machine: {processor}, {os.cpu_count()} cores, {os.getloadavg()[0]:.1f} running processes when it began\n"
        f"- Python {platform.python_version()}, {versions}"
    )


def written(where: str, peak: float, rows: list[Row], others: list[Row], profile: str) -> str:
    """The text of docs/speed.md."""
    return f"""# Speed

Measured by `make bench-speed`: everything in one run, one thread, against the general finite-element library
ngsolve with a mesh of the air, driven to about the same accuracy. Ratios count; seconds belong to the machine.

{where}
- peak memory of the whole run, reference included: {peak:.0f} MB

{report(rows)}

The reference remeshes for every position; a fixed mesh would serve it where the motion can be meshed around.
Its errors are those of the meshes chosen here, not the best it can do.

## Beside field and heat

Each against what is named in its row, in the same run; a dash where there is nothing fair to measure against. Seconds are
the processor's for sources, virtual shots and poses, the clock's elsewhere.

{report(others, "reference")}

## Where the time of a shot goes

Profiled by itself, which weighs small calls more than they cost; one run, no error estimate.

{profile}

The charged ring is small: hundreds of short steps of Python around matrices of a few hundred unknowns. The bar is bound by the
two factorisations of a step. The pin solves a nonlinear field at every step, about a dozen evaluations of the law at every Gauss
point and one factor of a complex matrix; see `field/saturation.py`.
"""


def main() -> None:
    quick = "--quick" in sys.argv
    groups: list[tuple[str, Callable[[], list[Row]]]] = [
        ("field of a washer", lambda: field_rows(2 if quick else 7, 2 if quick else 5)),
        ("heat: charged ring", lambda: ring_shot_rows(1 if quick else 7)),
        ("heat: steel bar", lambda: bar_rows(quick)),
    ]
    if quick:
        print(report([row for name, group in groups for row in group()]))
        return
    where = machine()
    ran = [attempt(*group) for group in (*groups, ("fresh processes", start_rows))]
    rows = [row for found, _ in ran for row in found]
    print(report(rows), flush=True)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    further = [attempt(*group) for group in whole_jobs.GROUPS]
    others = [row for found, _ in further for row in found]
    print(report(others, "reference"), flush=True)
    (ROOT / "docs" / "speed.md").write_text(written(where, peak, rows, others, heat_profile()), encoding="utf-8")
    print("written: docs/speed.md")
    if not all(fine for _, fine in (*ran, *further)):
        sys.exit("a group failed: its row says so")


if __name__ == "__main__":
    main()
