"""The benchmarks run and assert their answers; times are theirs to print, not ours to judge."""

import pytest
from benchmarks.table import attempt, told

from benchmarks import __main__ as bench
from benchmarks import whole_jobs

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


def test_a_group_that_fails_leaves_a_row_that_says_so(capsys):
    def broken():
        raise RuntimeError("no browser | here")

    rows, fine = attempt("page", broken)
    assert not fine and rows[0].ours == "failed: RuntimeError no browser / here"
    assert "RuntimeError" in capsys.readouterr().err


def test_the_banks_of_a_shelf_become_a_row():
    (row,) = whole_jobs.bank_rows()
    assert row.what.startswith("banks from a shelf") and row.target == "5 s"


def test_the_written_report_holds_every_row_once():
    rows = [bench.Row("ours alone", "1 ms", "-", "-", "-", "2 ms")]
    others = [bench.Row("a pack", "2 s", "1 s its shot", "2.0 shots", "same bytes", "-")]
    text = bench.written("- machine: any", 100.0, rows, others, "| shot |")
    assert text.startswith("# Speed\n") and text.count("| ours alone |") == 1 and text.count("| a pack |") == 1
    assert "| what | ours | reference |" in text and "| what | ours | ngsolve |" in text


def test_times_are_told_in_a_unit_that_suits_them():
    assert [told(s) for s in (24.8e-6, 0.0123, 3.456)] == ["24.8 us", "12.3 ms", "3.46 s"]


def test_the_shares_of_a_shot_make_the_whole():
    shares = bench._shares(bench.charged_washer(drive__on_time="2 s"), bench.PARTS)
    assert sum(shares) == pytest.approx(1.0) and min(shares) > 0.0
