"""The page on the folder of a journey: one server a module, a tab a test."""

import pytest

from .paging import serving, tab


@pytest.fixture(scope="module")
def server(folder):
    with serving(folder) as running:
        yield running


@pytest.fixture
def page(browser, server):
    with tab(browser, server) as opened:
        yield opened
