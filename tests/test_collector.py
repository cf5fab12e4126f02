"""The collector of garbage is held still, and let go again whatever happens."""

from __future__ import annotations

import gc
import subprocess
import sys

import pytest

from coilwright.collector import held_still


def test_held_still_and_let_go() -> None:
    assert gc.isenabled()
    with held_still():
        assert not gc.isenabled()
        with held_still():
            pass
        assert not gc.isenabled()  # the inner one leaves it as it was
    assert gc.isenabled()


def test_let_go_after_an_error() -> None:
    with pytest.raises(ValueError, match="no field"), held_still():
        raise ValueError("no field")
    assert gc.isenabled()


def test_every_call_holds_anew() -> None:
    @held_still()
    def seen() -> bool:
        return gc.isenabled()

    assert [seen(), seen()] == [False, False]
    assert gc.isenabled()


def test_a_caller_without_one_stays_without() -> None:
    gc.disable()
    try:
        with held_still():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()


def test_a_command_ends_without_a_search() -> None:
    told = (
        "import atexit, gc\n"
        "atexit.register(lambda: print('kept out:', gc.get_freeze_count() > 10_000))\n"
        "from coilwright.cli.main import main\n"
        "main(['--help'])\n"
    )
    done = subprocess.run([sys.executable, "-c", told], check=True, capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "kept out: True"
