"""The words of faults: near matches, examples for what is missing."""

import pytest
from pydantic import BaseModel

from coilwright.errors import BadInput
from coilwright.job import loads
from coilwright.job.faults import _example, nearest, suggestion
from coilwright.job.read import LISTS, SINGLE
from coilwright.job.schema_coil import Coil

from .making import text


def test_nearest_ignores_case_and_gives_up():
    assert nearest("Pich", ["pitch", "turns"]) == "pitch"
    assert nearest("qqqq", ["pitch", "turns"]) is None
    assert suggestion("qqqq", ["pitch", "turns"]) == "known are pitch, turns"
    assert suggestion("qqqq", []) == "there are none in this file"
    assert suggestion("qqqq", [f"key{k}" for k in range(30)]).endswith("key19, ...")


def tables(kind):
    from coilwright.job.faults import _tables_in

    todo, found = list(_tables_in(kind)), set()
    while todo:
        table = todo.pop()
        if table not in found:
            found.add(table)
            todo += [t for f in table.model_fields.values() for t in _tables_in(f.annotation)]
    return found


def test_every_needed_key_has_an_example_to_copy():
    kinds = [*LISTS.values(), *(k for k in SINGLE.values() if isinstance(k, type) and issubclass(k, BaseModel)), Coil]
    missing = []
    for kind in kinds:
        for table in tables(kind):
            for name, field in table.model_fields.items():
                key = field.alias or name
                if (
                    field.is_required()
                    and key not in ("kind", "section", "winding")
                    and "..." in _example(table, (key,))
                ):
                    missing.append(f"{table.__name__}.{key}")
    assert not missing


@pytest.mark.parametrize(
    ("before", "after", "sentence"),
    [
        (
            'outer_diameter = "9 mm", ',
            "",
            'body "ring": shape.outer_diameter: is missing; write e.g. outer_diameter = "9 mm"',
        ),
        ('section = "round tube", ', "", "coil.conductor.section: is missing; write one of"),
        ('"round tube"', '"wire"', 'coil.conductor.section: "wire" is not known; did you mean "round wire"?'),
        ('"round tube"', '"tube"', 'coil.conductor.section: "tube" is not known; write one of "round tube", "rect'),
        ('winding = "helix"', "winding = 4", 'coil.winding: "4" is not known; write one of "helix", "spiral", "turns"'),
        ('bore = "2.5 mm"', 'bore = "2.5 mm", helix = 1', "coil.conductor.helix: is not a known key; known are"),
        ('height = "0.6 mm"', 'height = "0.6 mm", ring = { ring = 1 }', 'body "ring": shape.ring: is not a known key'),
    ],
)
def test_sentences_inside_variants(before, after, sentence):
    with pytest.raises(BadInput) as caught:
        loads(text().replace(before, after))
    assert str(caught.value.faults[0]).startswith(f"job.toml: {sentence}")
