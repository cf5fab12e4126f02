"""The benchmark of the shot log asserts its answers; its times are for a person to read."""

from benchmarks import shot_log


def test_a_small_log():
    rows = shot_log.run(12_000)
    assert [r[0] for r in rows][1:3] == ["import with every check", "all charts, tests, change points"]
    assert all(ratio > 0.0 for *_, ratio in rows)
