"""What one process of a pack solves is sent to the other."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

import coilwright as cw

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.parametrize("example", ["hardened-pin", "brazed-ferrule"])
def test_a_cold_field_arrives_whole(example: str) -> None:
    report = cw.field(cw.load(EXAMPLES / example / "job.toml"), level="coarse")
    assert report.result.state.region_powers  # worked out before it is sent
    again = pickle.loads(pickle.dumps(report))
    assert again.to_dict() == report.to_dict()
    assert again.result.state.jacobian is None  # a factor stays where it was made
