"""One browser for all tests of the page."""

import pytest

from tests.bench.server import BROWSER, FLAGS, need_browser


@pytest.fixture(scope="session")
def browser():
    need_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=BROWSER, args=FLAGS)
        yield running
        running.close()
