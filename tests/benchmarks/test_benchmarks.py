"""The benchmarks run and assert their answers; times are theirs to print, not ours to judge."""

import pytest

from benchmarks import __main__ as bench

pytestmark = pytest.mark.crosscheck


def test_field_rows_in_a_quick_run():
    rows = bench.field_rows(times=1, positions=1)
    assert len(rows) == 3
    assert all(row.ratio.endswith(" x") and "part power" in row.errors for row in rows)


def test_a_wrong_answer_stops_the_run(monkeypatch):
    cases = {
        mm: {**c, "result": {**c["result"], "P_part": 1.01 * c["result"]["P_part"]}}
        for mm, c in bench.washer_cases().items()
    }
    monkeypatch.setattr(bench, "washer_cases", lambda: cases)
    with pytest.raises(AssertionError):
        bench.field_rows(times=1, positions=1)


def test_ring_row_and_the_printed_table():
    table = bench.report(bench.ring_shot_rows(times=1))
    assert table.count("\n") == 2
    assert "charged ring" in table


def test_positions_of_the_washer_are_found_in_the_stored_cases():
    assert len(bench.washer_cases()) >= 5
