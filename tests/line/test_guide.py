"""The tables printed in the guide to the line are read as they stand."""

import re
import tomllib
from pathlib import Path

from coilwright.line.machine import baseline
from coilwright.line.taken import from_tables
from tests.line.machines import ring_job

BLOCKS = re.findall(r"^```toml\n(.*?)^```", (Path(__file__).parents[2] / "docs" / "line.md").read_text("utf-8"), re.M | re.S)


def test_the_hand_over_record_of_the_guide():
    (record,) = [b for b in BLOCKS if "[machine]" in b]
    base = baseline(ring_job(more="\n" + record))
    assert {k for k, _ in base.values} == {"pick-up", "q-empty"}
    assert base.moved.station == 3


def test_the_readings_of_the_guide():
    (readings,) = [b for b in BLOCKS if "[[tally]]" in b]
    got = from_tables(tomllib.loads(readings), "guide", baseline(ring_job()), 6, {"frequency-hot": 349.7e3})
    assert [t.what for t in got.taken] == ["pick-up", "frequency-hot"]
    assert got.complaint
