"""Whatever is done to a right job file, reading it gives a job or sentences, never another error."""

import copy
import string
import time
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.job import TEMPLATES, Job, loads, set_value, template
from coilwright.job.edit import put
from coilwright.job.read import from_document

from .making import text

FULL = text(
    more="""
[job]
title = "all keys"
[surroundings]
temperature = "20 degC"
convection = "10 W/m^2/K"
[[drive.step]]
from = "0 s"
to = "3 s"
level = 1
[[body]]
name = "lid"
material = "own"
role = "shield"
shape = { kind = "profile", points = [["1 mm", "0 mm"], ["3 mm", "0 mm"], ["2 mm", "2 mm"]] }
overrides = { density = "1000 kg/m^3" }
support = { conductance = "2 mW/K" }
charge = { mass = "12 mg" }
slit = true
[[material]]
name = "own"
like = "copper"
emissivity = 0.5
[[accept]]
body = "ring"
reaches = "850 degC"
at = "spot"
[[point]]
name = "spot"
r = "3 mm"
z = "0 mm"
[[joint]]
bodies = ["ring", "lid"]
[[contact]]
bodies = ["ring", "lid"]
conductance = "1 W/K"
[tank]
x = 1
"""
)
SOURCES = [FULL, *(template(kind) for kind in TEMPLATES)]
DOCUMENTS = [tomllib.loads(source) for source in SOURCES]

units = st.sampled_from(
    ["mm", "m", "degC", "K", "kHz", "A", "W/m^2/K", "uohm m", "", "mm mm", "1/0", "furlong", "µm", "**", "m^1e9", "%"]
)
numbers = st.one_of(
    st.integers(-(10**30), 10**30),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0, -1, 1e308, 5e-324, 2**5000]),
)
quantities = st.builds(lambda n, u: f"{n} {u}", st.one_of(st.floats(), st.integers(-99, 99)), units)
names = st.one_of(
    st.sampled_from(["ring", "kind", "name", "turns", "body", "helix", "at", "from"]), st.text(max_size=12)
)
values = st.recursive(
    st.one_of(
        st.text(max_size=30),
        quantities,
        numbers,
        st.booleans(),
        st.dates(),
        st.sampled_from(["helix", "ring", "copper", "x" * 9999]),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(names, inner, max_size=4)),
    max_leaves=8,
)


def places(holder, path=()):
    """Every place of a nested document, as (path of keys and indices)."""
    for key, inside in holder.items() if isinstance(holder, dict) else enumerate(holder):
        yield (*path, key)
        if isinstance(inside, dict | list):
            yield from places(inside, (*path, key))


PLACES = [list(places(document)) for document in DOCUMENTS]


def read_or_refuse(make):
    """The Job, or None when it was refused with proper sentences; anything else fails the test."""
    try:
        made = make()
    except BadInput as error:
        assert error.faults
        for fault in error.faults:
            sentence = str(fault)
            assert sentence.startswith("job.toml")
            assert sentence.isprintable(), sentence
            assert 15 < len(sentence) < 1200
            assert not any(word in sentence for word in ("pydantic", "Traceback", "Error", "Input should"))
        return None
    assert isinstance(made, Job)
    return made


@st.composite
def damaged(draw):
    number = draw(st.integers(0, len(DOCUMENTS) - 1))
    document = copy.deepcopy(DOCUMENTS[number])
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(PLACES[number]))
        holder = document
        try:
            for step in path[:-1]:
                holder = holder[step]
            holder[path[-1]]
        except (KeyError, IndexError, TypeError):
            continue  # an earlier blow took this place away
        blow = draw(st.sampled_from(["replace", "drop", "rename", "add", "twice", "empty"]))
        inside = holder[path[-1]]
        if blow == "drop":
            del holder[path[-1]]
        elif blow == "rename" and isinstance(holder, dict):
            holder[draw(names)] = holder.pop(path[-1])
        elif blow == "add" and isinstance(inside, dict):
            inside[draw(names)] = draw(values)
        elif blow == "twice" and isinstance(inside, list):
            inside.extend(copy.deepcopy(inside))
        elif blow == "empty" and isinstance(inside, list | dict):
            inside.clear()
        else:
            holder[path[-1]] = draw(values)
    return document


@settings(max_examples=600, deadline=None, suppress_health_check=list(HealthCheck))
@given(damaged())
def test_damaged_tables(document):
    from pathlib import Path

    read_or_refuse(lambda: from_document(document, "job.toml", None, Path(), ""))


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(SOURCES),
    st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 12), st.text(string.printable + "µ°\ufeff\0é", max_size=8)),
        min_size=1,
        max_size=4,
    ),
)
def test_damaged_text(source, blows):
    for place, length, inserted in blows:
        at = int(place * len(source))
        source = source[:at] + inserted + source[at + length :]
    read = read_or_refuse(lambda: loads(source))
    if read is not None:
        assert loads(read.text) == read or "nan" in source


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200))
def test_any_text(source):
    assert read_or_refuse(lambda: loads(source)) is None


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(range(len(DOCUMENTS))), st.data())
def test_any_change_of_the_text_arrives_or_is_refused(number, data):
    """The edited text reads as the edited tables, or the change is refused."""
    path = data.draw(st.sampled_from(PLACES[number]))
    key = ".".join(str(step + 1) if isinstance(step, int) else step for step in path)
    value = data.draw(
        st.one_of(st.none(), quantities, st.booleans(), st.integers(-9, 9), st.lists(quantities, max_size=3))
    )
    expected = copy.deepcopy(DOCUMENTS[number])
    try:
        put(expected, key, value)
        changed = set_value(SOURCES[number], key, value)
    except BadInput as error:
        assert str(error).startswith('key "')
        return
    assert tomllib.loads(changed) == expected


@pytest.mark.parametrize("opening", ["[", "{a=", "[[", "a."])
@pytest.mark.parametrize("depth", [21, 500, 20_000])
def test_deep_nesting(opening, depth):
    assert read_or_refuse(lambda: loads(f"format = 1\nx = {opening * depth}")) is None


def effort(source):
    """Processor time (s) of reading or refusing a text, the better of two."""
    taken = []
    for _ in range(2):
        began = time.process_time()
        read_or_refuse(lambda: loads(source))
        taken.append(time.process_time() - began)
    return min(taken)


def grows_like_its_length(make, length):
    """Four times the text may take four times the effort and some, never the sixteen of a quadratic reader."""
    return effort(make(length)) < 10.0 * effort(make(length // 4)) + 0.05


@pytest.mark.parametrize("joint", [".", " . "])
def test_a_long_dotted_key_is_refused_without_ado(joint):
    assert grows_like_its_length(lambda n: joint.join("a" * n) + " = 1", 400_000)
    assert grows_like_its_length(lambda n: "x = { " + joint.join("a" * n) + " = 1 }", 400_000)


@pytest.mark.parametrize(
    "line", ["[a{k}]\n", "k{k} = 1\n", "[[body]]\n", "[machine.a{k}]\n", "[[accept]]\nbody = 'b{k}'\n"]
)
def test_long_files_of_nonsense_are_refused_without_ado(line):
    assert grows_like_its_length(lambda n: text() + "".join(line.format(k=k) for k in range(n)), 16_000)
