"""What holds for every test."""

import os

import pytest

os.environ.setdefault("COILWRIGHT_CACHE", "off")  # a solved machine of an earlier run answers for no test


@pytest.fixture(scope="session")
def browser():
    """One browser for all tests of the page; a second one in the same process would not start."""
    from tests.bench.server import BROWSER, FLAGS, need_browser

    need_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=BROWSER, args=FLAGS)
        yield running
        running.close()
