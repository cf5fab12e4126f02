"""Every example of the guide to the tank runs, and every key is written down."""

import re
import tomllib
from pathlib import Path

import pytest

from coilwright.tank import schema
from coilwright.tank.operating import operating_point
from coilwright.tank.schema import from_job_tables
from coilwright.tank.stock import COLUMNS

GUIDE = (Path(__file__).parents[2] / "docs" / "tank.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
COILS = [(0.0141, 0.17e-6), (0.06, 3e-6), (0.08, 1e-6), (0.06, 2e-6)]


@pytest.mark.parametrize(("text", "coil"), list(zip(EXAMPLES, COILS, strict=True)))
def test_each_example_finds_its_operating_point(text, coil):
    point = operating_point(from_job_tables(tomllib.loads(text), "job.toml"), coil)
    assert point.coil_power > 0.0 and point.energy_error < 1e-9


def test_every_key_is_written_down():
    models = [
        schema._Tank,
        schema._Capacitor,
        schema._Source,
        schema._Limits,
        schema._Leads,
        schema._Cable,
        schema._Transformer,
    ]
    keys = {key for model in models for key in model.model_fields}
    assert not [k for k in keys if not re.search(rf"\b{k}\b", schema.__doc__)]


def test_every_column_of_the_shelf_is_written_down():
    assert not [c for c in COLUMNS if c not in GUIDE]
