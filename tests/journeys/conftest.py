"""The browser of the page's tests, for the journey through the page."""

from tests.bench.conftest import browser  # noqa: F401
