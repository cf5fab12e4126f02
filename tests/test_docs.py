"""The guide cannot fall behind: its code runs, and every command, public name and finding code stands in it."""

import ast
import re
import shlex
from pathlib import Path

import pytest

import coilwright as cw
from coilwright.cli.main import app, main

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
TEXT = "\n".join(p.read_text(encoding="utf-8") for p in [*PAGES, ROOT / "README.md"])
WITH_CODE = [p for p in PAGES if p.name in ("first-job.md", "notebook.md", "questions.md")]


def blocks(page, language):
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(encoding="utf-8"), re.M | re.S)


@pytest.mark.parametrize("page", WITH_CODE, ids=lambda p: p.name)
def test_python_runs(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for block in blocks(page, "python"):
        exec(compile(block, page.name, "exec"), {})  # the guide's own code


@pytest.mark.parametrize("page", WITH_CODE, ids=lambda p: p.name)
def test_commands_run(page, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    if page.name != "first-job.md":
        (tmp_path / "job.toml").write_text(cw.template("ring-through-glass"), encoding="utf-8")
    for line in "".join(blocks(page, "sh")).splitlines():
        words = shlex.split(line)
        assert words[0] == "coilwright", line
        try:
            main(words[1:])
        except SystemExit as leave:
            assert leave.code in (0, 1, None), f"{line}: {capsys.readouterr().err}"


def test_every_command_is_in_the_guide():
    names = [c.name or c.callback.__name__ for c in app.registered_commands]
    names += [g.name for g in app.registered_groups if g.name]
    missing = [n for n in names if f"coilwright {n}" not in TEXT]
    assert not missing


def test_every_public_name_is_in_the_guide():
    assert not [n for n in cw.__all__ if n != "__version__" and f"cw.{n}" not in TEXT]


def finding_codes():
    for path in sorted((ROOT / "src").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and node.args:
                for part in ast.walk(node.args[0]):
                    if isinstance(part, ast.Constant) and isinstance(part.value, str):
                        yield part.value


def test_every_finding_code_is_explained():
    page = (DOCS / "findings.md").read_text(encoding="utf-8")
    assert not sorted({c for c in finding_codes() if f"`{c}`" not in page})


def test_links_between_pages_lead_somewhere():
    for page in [*PAGES, ROOT / "README.md"]:
        for target in re.findall(r"\]\((?!https?:)([^)#]+\.md)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"
