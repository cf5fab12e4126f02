"""Texts with units as the job file takes them, and how received values are shown."""

import pytest
from pydantic_core import PydanticCustomError

from coilwright.job.values import Quantity, as_written

LENGTH = Quantity("length", above=0.0, at_most=1.0)


def test_reads_into_si():
    assert LENGTH.read("9 mm") == 0.009
    assert Quantity("temperature").read("850 degC") == 1123.15


@pytest.mark.parametrize(
    ("quantity", "value", "says"),
    [
        (LENGTH, "9", '"9" has no unit; write e.g. "9 mm"'),
        (LENGTH, 9, '9 has no unit; write e.g. "9 mm"'),
        (LENGTH, True, 'must be a text with a unit, not true; write e.g. "9 mm"'),
        (LENGTH, ["9 mm"], 'must be a text with a unit, not a list; write e.g. "9 mm"'),
        (LENGTH, "0 mm", 'must be greater than zero, not "0 mm"; write e.g. "9 mm"'),
        (LENGTH, "2 m", 'must be at most 1 m, not "2 m"; write e.g. "9 mm"'),
        (
            Quantity("time", at_least=0.0, example="0 s"),
            "-1 s",
            'must not be negative, but is "-1 s"; write e.g. "0 s"',
        ),
        (Quantity("length", at_least=-1.0), "-2 m", 'must be at least -1 m, but is "-2 m"; write e.g. "9 mm"'),
        (Quantity("temperature", above=250.0), "0 K", 'must be greater than 250 K, not "0 K"; write e.g. "20 degC"'),
    ],
)
def test_refuses_with_a_sentence(quantity, value, says):
    with pytest.raises(PydanticCustomError) as caught:
        quantity.read(value)
    assert caught.value.context["text"] == says


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("9 mm", '"9 mm"'),
        (True, "true"),
        (4.5, "4.5"),
        ({"a": 1}, "a table"),
        ([1], "a list"),
        ("two\nlines", '"two lines"'),
    ],
)
def test_as_written(value, shown):
    assert as_written(value) == shown


def test_long_texts_are_cut():
    assert len(as_written("x" * 10_000)) == 82


def test_numbers_of_thousands_of_digits_have_no_text():
    assert as_written(10**5000) == "a number of thousands of digits"
