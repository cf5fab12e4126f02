"""Searches on processes of their own: the same outcome on one process and on two."""

from __future__ import annotations

import pytest

from coilwright.window.pool import each


@pytest.mark.parametrize("workers", [1, 2])
def test_each_keeps_the_order(workers: int) -> None:
    assert each(lambda x: x * x, list(range(7)), workers) == [0, 1, 4, 9, 16, 25, 36]
