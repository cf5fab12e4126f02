"""[workshop]: defaults, what is stated, and sentences for what is wrong."""

import pytest

from coilwright.errors import BadInput
from coilwright.job import loads
from coilwright.job.schema_workshop import read_workshop
from coilwright.job.starting import template


def job(more=""):
    return loads(template("ring-through-glass") + more)


def test_left_out_keys_are_assumed():
    shop = read_workshop(job())
    assert shop.hand == "right" and shop.assumed("hand") and shop.cut_allowance == pytest.approx(0.03)
    shop = read_workshop(job('\n[workshop]\nhand = "left"\ngap_tolerance = "0.1 mm"\n'))
    assert not shop.assumed("hand") and shop.assumed("bend_radius") and shop.gap_tolerance == pytest.approx(1e-4)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('hand = "up"', r'workshop.hand: must be one of "right" or "left"'),
        ("gap_tolerance = 0.2", "workshop.gap_tolerance: 0.2 has no unit"),
        ("inductance_tolerance = 1.5", "workshop.inductance_tolerance"),
        ('can = [{ name = "a", width = "4 mm" }]', "workshop.can.1.depth: is missing"),
        ('colour = "red"', "workshop.colour"),
    ],
)
def test_faults_name_file_key_and_remedy(line, said):
    with pytest.raises(BadInput, match=said):
        read_workshop(job(f"\n[workshop]\n{line}\n"))
