"""`python -m benchmarks.shot_log [SHOTS]`: a log read in, looked at, summed up, beside the bare library doing the least of it.

The reference reads the same rows with `csv`, writes them with `sqlite3` unchecked, and counts by station. Causes are asked for
twice: the first time the machine of the six-station example is solved, the second time it is kept (see `line.kept`). Answers
are asserted.
"""

from __future__ import annotations

import csv
import json
import os
import resource
import sqlite3
import sys
import time
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from coilwright.job import load
from coilwright.line import kept
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.line.watch import watch
from coilwright.line.why import Answer
from coilwright.steps.line import why
from coilwright.store.shots import ShotStore
from coilwright.store.summaries import summarise

STATIONS, BAD_STATION = 6, 4
JOB = Path(__file__).parents[1] / "examples" / "indicator-tube-getter" / "six-stations.toml"
MAP = """machine = "m"
stations = 6
[columns]
time = "time"
station = "station"
result = "result"
tray = "tray"
batch = "batch"
[readings.start]
column = "start_ms"
unit = "ms"
kind = "time"
"""


def write_log(path: Path, trays: int, seed: int = 1) -> int:
    """A log of one tray a minute; station 4 goes wrong half-way. The number of bad pieces."""
    rng = np.random.default_rng(seed)
    bad = rng.random((trays, STATIONS)) < 0.02
    bad[trays // 2 :, BAD_STATION - 1] |= rng.random(trays - trays // 2) < 0.3
    start = 4800.0 + 200.0 * rng.standard_normal((trays, STATIONS))
    begin = datetime(2025, 6, 2, 6)
    with path.open("w", encoding="utf-8") as file:
        file.write("time,station,result,tray,batch,start_ms\n")
        for t in range(trays):
            stamp = (begin + timedelta(minutes=t)).isoformat()
            file.writelines(
                f"{stamp},{k + 1},{'bad' if bad[t, k] else 'good'},T{t},L{t // 5000},{start[t, k]:.0f}\n" for k in range(STATIONS)
            )
    return int(bad.sum())


def bare(log: Path, store: Path) -> int:
    """The least that can be done with the same rows: the number of bad pieces."""
    with log.open(encoding="utf-8") as file, closing(sqlite3.connect(store)) as raw:
        rows = csv.DictReader(file)
        raw.execute("create table shot (time real, station int, bad int, tray text, batch text, readings text)")
        raw.executemany("insert into shot values (?, ?, ?, ?, ?, ?)", (
            (datetime.fromisoformat(r["time"]).timestamp(), int(r["station"]), r["result"] == "bad", r["tray"], r["batch"],
             json.dumps({"start": float(r["start_ms"]) * 1e-3})) for r in rows
        ))  # fmt: skip
        raw.commit()
        counts = "select station, count(*), sum(bad), avg(json_extract(readings, '$.start')) from shot group by station"
        return sum(row[2] for row in raw.execute(counts))


def causes(folder: Path) -> Answer:
    """`coilwright why` on the log, from the job file on."""
    os.environ[kept.VARIABLE] = str(folder / "kept")
    return why(load(JOB), store=str(folder / "log.db"), machine="m")


def timed(work: Callable[[], object]) -> tuple[object, float, float]:
    """Result, seconds on the clock and of the processor."""
    wall, own = time.perf_counter(), time.process_time()
    got = work()
    return got, time.perf_counter() - wall, time.process_time() - own


def run(shots: int) -> list[tuple[str, float, float, float]]:
    """(what, clock, processor, processor over the reference's) of every step."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        log, mapping = folder / "log.csv", folder / "map.toml"
        mapping.write_text(MAP, encoding="utf-8")
        bad = write_log(log, shots // STATIONS)
        counted, wall, least = timed(lambda: bare(log, folder / "bare.db"))
        assert counted == bad
        rows = [("bare library: read, write unchecked, count", wall, least, 1.0)]
        with ShotStore(folder / "log.db") as store:
            for what, work in (
                ("import with every check", lambda: add_log(log, read_map(mapping), store)),
                ("all charts, tests, change points", lambda: watch(store, "m")),
                ("charts, tests and causes, first time", lambda: causes(folder)),
                ("charts, tests and causes, again", lambda: causes(folder)),
                ("old shots to sums", lambda: summarise(store, "m", 1)),
                ("all charts again, over sums", lambda: watch(store, "m")),
                ("charts, tests and causes, over sums", lambda: causes(folder)),
            ):
                got, wall, own = timed(work)
                rows.append((what, wall, own, own / least))
                if what.startswith("charts"):
                    assert int(np.argmax(got.stations)) == BAD_STATION - 1  # type: ignore[attr-defined]
                    assert got.stations[BAD_STATION - 1] > 0.95  # type: ignore[attr-defined]
                if what.startswith("all"):
                    assert (got.tried, got.bad) == (shots // STATIONS * STATIONS, bad)  # type: ignore[attr-defined]
                    assert int(np.argmin(got.against_rest)) == BAD_STATION - 1  # type: ignore[attr-defined]
        return rows


def main() -> None:
    shots = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    print(f"{shots} shots of {STATIONS} stations with one reading each")
    for what, wall, own, ratio in run(shots):
        print(f"{what:45s} {wall:8.1f} s clock {own:8.1f} s processor {ratio:6.2f} x the bare library")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f} MB")


if __name__ == "__main__":
    main()
