"""The annotated files to start from, and the examples made of them."""

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
