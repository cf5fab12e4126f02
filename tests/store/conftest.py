"""Both kinds of store: every test that takes `place` runs on SQLite and on PostgreSQL."""

import pytest

from tests.store import postgres


@pytest.fixture(scope="session")
def server():
    postgres.need()
    made = postgres.Server()
    try:
        made.start()
        yield made
    finally:
        made.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    if request.param == "sqlite":
        return str(tmp_path / "store.db")
    return request.getfixturevalue("server").address()
