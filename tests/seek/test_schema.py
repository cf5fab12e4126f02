"""[seek] as written: every fault in one sentence with its place and what to do."""

import pytest

from coilwright.errors import BadInput
from coilwright.seek.schema import read_seek
from coilwright.seek.space import space_of
from coilwright.steps.seek import seek

from .jobs import SEEK, washer


def said(job):
    with pytest.raises(BadInput) as caught:
        seek(job)
    return "\n".join(str(f) for f in caught.value.faults)


AMONG = ("among = [1, 2, 3]", "among = []")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([('objectives = ["time", "coil kVA"]', "objectives = []")], ["at least one figure", "known are power margin"]),
        ([('"coil kVA"]', '"coil kvar"]')], ['"coil kvar" is not a figure', 'did you mean "coil kVA"?']),
        ([('"coil kVA"]', '"time"]')], ['"time" stands twice']),
        ([('"coil kVA"]', '"source current"]')], ["needs a [source]"]),
        ([('"coil kVA"]', '"bystander temperature"]')], ['role = "bystander"']),
        ([('what = "coil.turns"', 'what = "coil.turnes"')], ["seek.over.1.what", 'did you mean "coil.turns"?']),
        ([('what = "coil.turns"', 'what = "body.disc.centre"')], ["seek.over.1.what", "is not a quantity of this job"]),
        ([('what = "coil.turns"', 'what = "drive.coil_current"')], ["stands twice"]),
        ([AMONG], ["seek.over.1.among", "is empty"]),
        ([("among = [1, 2, 3]", "")], ["seek.over.1", "needs one of among", "received none of them"]),
        ([("among = [1, 2, 3]", 'among = [1]\nstock = "tubes.csv"')], ["received several"]),
        ([("among = [1, 2, 3]", 'among = ["many"]')], ["takes none of its values", "must be a number"]),
        ([("among = [1, 2, 3]", "among = [[1]]")], ["must hold texts, numbers or tables"]),
        ([("among = [1, 2, 3]", 'stock = "not-there.csv"')], ["not-there.csv", "cannot be read"]),
        ([('from = "280 A"', 'from = "700 A"')], ["seek.over.2.to", "nothing lies between"]),
        ([('to = "700 A"', 'to = "700 V"')], ["must be of the kind of from (current)"]),
        ([('to = "700 A"', "")], ["seek.over.2.to", "needs both of its ends"]),
        ([('from = "280 A"', 'from = "some"')], ["seek.over.2.from"]),
        ([('step = "84 A"', 'step = "0 A"')], ["seek.over.2.step", "above zero"]),
        ([('step = "84 A"', 'step = "1 mm"')], ["seek.over.2.step"]),
        ([("evaluations = 36", "evaluations = 2")], ["evaluations"]),
        ([("evaluations = 36", 'evaluation = 36')], ["is not a known key", 'did you mean "evaluations"?']),
    ],
)  # fmt: skip
def test_a_fault_is_said(changes, words):
    text = said(washer(SEEK, *changes))
    for word in words:
        assert word in text


def test_without_a_section_it_says_how_to_write_one():
    assert "objectives = [" in said(washer(""))
    assert "[[seek.over]]" in said(washer('[seek]\nobjectives = ["time"]\n'))


def test_requirements_are_read_and_checked():
    more = SEEK + '[[seek.require]]\nwhat = "efficiency"\nat_least = "60 %"\nat_most = 0.5\n'
    assert "nothing can be between" in said(washer(more))
    assert "needs [tank]" not in said(washer(more))
    for bound, words in (
        ('at_most = "3 V"', "is not a current"),
        ("at_most = 3", "has no unit"),
        ("", "at_least or at_most"),
    ):
        assert words in said(washer(SEEK + f'[[seek.require]]\nwhat = "coil current"\n{bound}\n'))
    assert "is not a figure" in said(washer(SEEK + '[[seek.require]]\nwhat = "beauty"\nat_most = 1\n'))


def test_every_fault_is_named_at_once():
    text = said(washer(SEEK, AMONG, ('"coil kVA"]', '"coil kVA", 3]')))
    assert "among" in text
    assert "objectives" in text
    axes = washer(
        SEEK, ('what = "coil.turns"', 'what = "coil.turnes"'), ('what = "drive.coil_current"', 'what = "drive.amps"')
    )
    with pytest.raises(BadInput) as caught:
        space_of(axes, read_seek(axes))
    assert len(caught.value.faults) == 2


def test_a_quantity_that_the_file_leaves_out_may_be_searched_over():
    job = washer(
        SEEK, ('what = "coil.turns"\namong = [1, 2, 3]', 'what = "body.washer.emissivity"\nfrom = 0.2\nto = 0.8')
    )
    assert space_of(job, read_seek(job)).axes[0].values[0] == 0.2


def test_a_job_without_an_end_of_the_shot_is_refused_before_anything_is_looked_at():
    job = washer(SEEK.replace('"time"', '"coil current"'), ('on_time = "3 s"\n', ""), (
        '[[accept]]\nbody = "washer"\nreaches = "200 degC"\nwithin = "2.5 s"\n', ""))  # fmt: skip
    assert "drive.on_time" in said(job)
