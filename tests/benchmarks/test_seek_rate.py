"""The rate of a search: the pool gives the outcomes of one process, which the benchmark asserts."""

import pytest

from benchmarks import seek_rate

pytestmark = pytest.mark.crosscheck


def test_a_pool_and_one_process_give_the_same_points(capsys):
    seek_rate.main(3)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) >= 2 and all("points/s" in line for line in lines)
