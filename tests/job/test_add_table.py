"""One more table under a heading: nothing else of the text moves."""

import pytest

from coilwright.errors import BadInput
from coilwright.job import loads, template
from coilwright.job.edit import add_table

STEEL = {"name": "trial steel", "like": "medium-carbon steel", "density": "7800 kg/m^3"}


def test_comments_and_order_stay():
    text = template("ring-through-glass")
    one = add_table(text, "material", STEEL)
    two = add_table(one, "material", {**STEEL, "name": "other steel"})
    assert one.startswith(text.rstrip())
    assert [m["name"] for m in loads(two).materials] == ["trial steel", "other steel"]
    assert [line for line in two.splitlines() if "#" in line] == [line for line in text.splitlines() if "#" in line]


def test_a_comment_inside_an_earlier_table_stays():
    text = 'format = 1\n[[material]]\nname = "a"  # mine\n[drive]\non_time = "1 s"  # short\n'
    assert "# mine" in add_table(text, "material", STEEL)
    assert "# short" in add_table(text, "material", STEEL)


@pytest.mark.parametrize("text", ["format = ", "material = 3", 'material = "steel"'])
def test_what_cannot_take_a_table_is_told(text):
    with pytest.raises(BadInput, match="material"):
        add_table(text, "material", STEEL)
