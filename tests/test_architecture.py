"""The layer rule as a test: imports point down only, files stay readable, folders stay flat.

The table below is the diagram; CONTRIBUTING.md explains it in words.
"""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "src" / "coilwright"

# Top layer first. A module may import from lower lines only: never its own line's neighbours, never upward.
LAYERS = [
    {"cli", "bench"},
    {"steps"},
    {"pack"},
    {"window", "seek", "trials", "line"},
    {"heating"},
    {"field", "heat", "tank", "cooling", "safety"},
    {"section"},
    {"job", "readings", "store"},
    {"materials", "migrations"},
    {"units", "errors", "evidence", "threads", "collector", "beside"},
]
# same-line exceptions, kept short
ALSO_ALLOWED = {("errors", "evidence"), ("units", "errors"), ("beside", "errors"), ("cli", "bench")}
# Code that only one door may import, by top-level package.
DOORS = {
    "matplotlib": {"pack"},
    "typst": {"pack"},
    "ezdxf": {"section", "pack"},
    "nicegui": {"bench"},
    "sqlalchemy": {"store", "migrations"},
    "alembic": {"store", "migrations"},
    "typer": {"cli"},
    "rich": {"cli"},
    "pymoo": {"seek"},
    "distributed": {"seek"},
}
MAX_LINES = 500
RANK = {name: rank for rank, line in enumerate(LAYERS) for name in line}


def modules():
    return [p for p in sorted(PACKAGE.rglob("*.py")) if p.parent != PACKAGE or p.stem not in ("__init__", "__main__")]


def part(path):
    """Top-level folder or module of the package that this file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path):
    """(full dotted name as a list, line) of everything a file imports, typing-only imports included."""
    here = path.relative_to(PACKAGE.parent).with_suffix("").parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = list(here[: len(here) - node.level]) if node.level else []
            base += node.module.split(".") if node.module else []
            names = [[*base, alias.name] for alias in node.names]
        else:
            continue
        for name in names:
            yield name, node.lineno


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_only_point_down(path):
    mine = part(path)
    assert mine in RANK, f"{path}: put '{mine}' into LAYERS before adding files to it"
    for name, line in imported(path):
        if name[0] == PACKAGE.name and len(name) > 1:
            other = name[1]
            if other == mine or (mine, other) in ALSO_ALLOWED:
                continue
            assert RANK.get(other, -1) > RANK[mine], f"{path}:{line}: '{mine}' may not import '{other}'"
        elif name[0] in DOORS:
            assert mine in DOORS[name[0]], f"{path}:{line}: only {DOORS[name[0]]} may import {name[0]}"


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_stay_readable(path):
    lines = path.read_text(encoding="utf-8").count("\n")
    assert lines <= MAX_LINES, f"{path} has {lines} lines (limit {MAX_LINES}): split it by topic"
    depth = len(path.relative_to(PACKAGE).parts)
    assert depth <= 2, f"{path}: folders inside folders are not used in this package"


def test_bare_raise_says_nothing():
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                assert node.exc.args or node.exc.keywords, f"{path}:{node.lineno}: say what went wrong"
