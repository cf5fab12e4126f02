"""The grid of a search: values as the file takes them, and back."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.seek.schema import read_seek
from coilwright.seek.space import Range, drawn_place, key_of, read_sizes, space_of
from coilwright.units import parse

from .jobs import SEEK, washer


def axis(text):
    job = washer('[seek]\nobjectives = ["time"]\n[[seek.over]]\n' + text)
    return space_of(job, read_seek(job)).axes[0]


def test_a_stepped_range_holds_its_ends_and_short_texts():
    found = axis('what = "coil.mean_diameter"\nfrom = "18 mm"\nto = "20 mm"\nstep = "0.1 mm"')
    values = [found.values[k] for k in range(len(found.values))]
    assert values[0] == "18 mm"
    assert values[7] == "18.7 mm"
    assert values[-1] == "20 mm"
    assert len(values) == 21
    assert found.place("20 mm") == 1.0


def test_a_range_takes_the_unit_of_from_whatever_to_has():
    found = axis('what = "coil.mean_diameter"\nfrom = "18 mm"\nto = "0.02 m"')
    assert (found.values[0], found.values[1000], found.values[500]) == ("18 mm", "20 mm", "19 mm")
    warm = axis('what = "surroundings.temperature"\nfrom = "10 degC"\nto = "300 K"\nstep = "5 K"')
    assert parse(warm.values[0], "temperature") == pytest.approx(283.15)
    assert parse(warm.values[3], "temperature") == pytest.approx(298.15)
    assert len(warm.values) == 4


def test_plain_numbers_stay_numbers():
    found = axis('what = "coil.turns"\nfrom = 1\nto = 3\nstep = 0.5')
    assert [found.values[k] for k in range(5)] == [1, 1.5, 2, 2.5, 3]


@pytest.mark.parametrize("step", [1.0, 0.1, 0.004, 1e-7, 12345.0])
def test_texts_of_a_range_are_all_different_and_true(step):
    values = Range(3.0, step, 1000, "mm")
    texts = {values[k] for k in range(1000)}
    assert len(texts) == 1000
    assert parse(values[617], "length") == pytest.approx((3.0 + 617 * step) * 1e-3, rel=1e-9)


def test_the_cube_falls_on_every_place_and_nothing_else():
    job = washer()
    space = space_of(job, read_seek(job))
    assert space.size == 3 * 6
    found = {space.place(x) for x in np.random.default_rng(0).random((2000, 2))}
    assert found == {(a, b) for a in range(3) for b in range(6)}
    assert space.place(np.ones(2)) == (2, 5)
    for place in found:
        assert space.place(space.middle(place)) == place
    assert space.values((1, 2)) == {"coil.turns": 2, "drive.coil_current": "448 A"}
    assert drawn_place(space, job) == (1, 1)  # 400 A is nearer to 364 than to 448 A


def test_equal_values_have_one_key():
    assert key_of({"a": "1 mm", "b": {"x": 1, "y": 2}}) == key_of({"b": {"y": 2, "x": 1}, "a": "1 mm"})
    assert key_of({"a": 1}) != key_of({"a": "1"})


def test_stock_sizes_become_tables(tmp_path):
    path = tmp_path / "sizes.csv"
    path.write_text("\ufeffname, outside , bore\n4 x 1,4 mm,2 mm\n\n ,5 mm,\n", encoding="utf-8")
    names, rows = read_sizes(path)
    assert names == ("4 x 1", "5 mm")
    assert rows == [{"outside": "4 mm", "bore": "2 mm"}, {"outside": "5 mm"}]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("name,outside\n", "is empty"),
        ("name,outside\na,1 mm,2\n", "line 2"),
        (b"\xff\xfe\x00", "cannot be read"),
    ],
)
def test_a_list_of_sizes_that_is_none_is_refused(tmp_path, text, words):
    path = tmp_path / "sizes.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(BadInput, match=words):
        read_sizes(path)


def test_the_drawn_row_of_a_stock_list_is_found(tmp_path):
    (tmp_path / "wires.csv").write_text("name,diameter\nthin,2 mm\nas drawn,0.4 cm\nthick,5 mm\n", encoding="utf-8")
    more = SEEK.replace('what = "coil.turns"\namong = [1, 2, 3]', 'what = "coil.conductor"\nstock = "wires.csv"')
    job = washer(more, folder=tmp_path)
    space = space_of(job, read_seek(job))
    assert space.axes[0].shown(space.axes[0].values[0]) == "thin"
    assert drawn_place(space, job)[0] == 1
