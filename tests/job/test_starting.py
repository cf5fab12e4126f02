"""The annotated files to start from, and the examples made of them."""

import re
from pathlib import Path

import pytest

from coilwright.errors import BadInput
from coilwright.job import TEMPLATES, load, loads, template

EXAMPLES = Path(__file__).parents[2] / "examples"
MADE_OF = {
    "indicator-tube-getter": "ring-through-glass",
    "hardened-pin": "bar-in-coil",
    "brazed-ferrule": "ferrule-to-braze",
    "graphite-susceptor": "susceptor-crucible",
    "disc-over-pancake": "pancake-under-disc",
}


@pytest.mark.parametrize("kind", TEMPLATES)
def test_a_template_is_a_right_job_with_notes_for_a_person(kind):
    text = template(kind)
    read = loads(text)
    assert read.accept
    assert any(b.role == "work" for b in read.bodies)
    assert "INVENTED" in text.splitlines()[1]
    assert sum("#" in line for line in text.splitlines()) >= 15
    assert max(len(line) for line in text.splitlines()) <= 140


def test_an_unknown_kind_names_the_nearest():
    with pytest.raises(BadInput, match='"bar-in-coli" is not a kind of job file; did you mean "bar-in-coil"'):
        template("bar-in-coli")


def test_every_example_is_named_here():
    assert {p.parent.name for p in EXAMPLES.glob("*/job.toml")} >= set(MADE_OF)


@pytest.mark.parametrize("scenario", MADE_OF)
def test_examples_and_templates_are_the_same_text(scenario):
    example = (EXAMPLES / scenario / "job.toml").read_text(encoding="utf-8")
    assert example == template(MADE_OF[scenario]), f"copy the changed one over the other: {scenario}"
    assert load(EXAMPLES / scenario / "job.toml").title
    assert "(invented)" in (EXAMPLES / scenario / "README.md").read_text(encoding="utf-8")


def offered(first):
    """Inline tables, and only those that begin with `first`, that the foot of every template offers in comments."""
    foot = template("bar-in-coil").partition("More that may stand")[2]
    return re.findall(rf"\{{ {first} = [^}}]*\}}", foot)


@pytest.mark.parametrize("inline", offered("kind"))
def test_shapes_offered_in_the_comments_are_right(inline, tmp_path):
    (tmp_path / "part.dxf").write_text("0\nEOF\n", encoding="ascii")
    text = template("bar-in-coil") + f'\n[[body]]\nname = "further"\nmaterial = "nickel"\nshape = {inline}\n'
    assert loads(text, folder=tmp_path).body("further").shape.kind in inline


@pytest.mark.parametrize("inline", offered("section"))
def test_conductors_offered_in_the_comments_are_right(inline):
    text = template("susceptor-crucible").replace(
        '{ section = "round tube", outside = "8 mm", bore = "6 mm", material = "copper" }', inline, 1
    )
    assert loads(text).coil.conductor.section in inline


def test_there_are_comments_to_check():
    assert len(offered("kind")) == 8
    assert len(offered("section")) == 4
