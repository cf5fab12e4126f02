"""The page about the store does what it says."""

import pytest

from coilwright.cli.main import main
from tests.test_docs import DOCS, blocks

PAGE = DOCS / "store.md"


@pytest.fixture(autouse=True)
def folder(place, tmp_path, monkeypatch):
    import coilwright as cw

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COILWRIGHT_STORE", place)
    (tmp_path / "job.toml").write_text(cw.template("ring-through-glass"), encoding="utf-8")
    return tmp_path


def test_commands_run(capsys):
    import shlex

    for line in "".join(blocks(PAGE, "sh")).splitlines():
        words = shlex.split(line)
        assert words.pop(0) == "coilwright"
        with pytest.raises(SystemExit) as leave:
            main(words)
        assert leave.value.code in (0, None), f"{line}: {capsys.readouterr().err}"


def test_python_runs():
    for block in blocks(PAGE, "python"):
        exec(compile(block, PAGE.name, "exec"), {})  # the guide's own code
