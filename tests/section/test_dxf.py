"""Drawings written with ezdxf and read back; awkward ones give one sentence."""

import math

import ezdxf
import pytest

from coilwright.errors import BadInput
from coilwright.section.dxf import read_outline

MM = 1e-3


@pytest.fixture
def draw(tmp_path):
    """draw(add, units=4): a drawing on disc; `add` gets the model space."""

    def write(add, units=4):
        document = ezdxf.new()
        document.header["$INSUNITS"] = units
        add(document.modelspace())
        path = tmp_path / "part.dxf"
        document.saveas(path)
        return path

    return write


def lines(space, *points, layer="outline", closed=True):
    ends = [*points[1:], points[0]] if closed else points[1:]
    for a, b in zip(points, ends, strict=False):
        space.add_line(a, b, dxfattribs={"layer": layer})


def refusal(path, layer="outline"):
    with pytest.raises(BadInput) as caught:
        read_outline(path, layer, where='job.toml: body "part": shape.file')
    (fault,) = caught.value.faults
    text = str(fault)
    assert text.startswith('job.toml: body "part": shape.file')
    assert "\n" not in text
    return text


def test_shuffled_lines_and_an_arc_make_one_outline(draw):
    def pin(space):  # bar of 10 mm with a hemispherical nose, its pieces in no order and drawn either way
        at = {"layer": "outline"}
        space.add_line((5, 20), (5, 0), dxfattribs=at)
        space.add_arc((0, 20), 5, 0, 90, dxfattribs=at)
        space.add_line((0, 0), (5, 0), dxfattribs=at)
        space.add_text("nose", dxfattribs=at)
        space.add_line((0, 25), (0, 0), dxfattribs=at)

    (pin_outline,) = read_outline(draw(pin), "OUTLINE")
    assert pin_outline.volume == pytest.approx(math.pi * 25e-6 * 20e-3 + 2 / 3 * math.pi * 125e-9, rel=1e-12)


def test_outline_left_open_on_the_axis_is_closed_along_it(draw):
    path = draw(lambda s: lines(s, (0, 0), (5, 0), (5, 20), (0, 20), closed=False))
    assert read_outline(path, "outline")[0].volume == pytest.approx(math.pi * 25e-6 * 20e-3)


@pytest.mark.parametrize(("units", "scale"), [(0, 1e-3), (1, 0.0254), (4, 1e-3), (5, 1e-2), (6, 1.0)])
def test_units_of_the_header(draw, units, scale):
    path = draw(lambda s: lines(s, (1, 0), (2, 0), (2, 1), (1, 1)), units)
    assert read_outline(path, "outline")[0].box == pytest.approx((scale, 2 * scale, 0.0, scale))


@pytest.mark.parametrize("old", [False, True], ids=["LWPOLYLINE", "POLYLINE"])
def test_polyline_with_bulges(draw, old):
    points = [(5, 0, 0), (8, 0, 1), (8, 4, 0), (5, 4, 0)]  # a half round rim of radius 2

    def rim(space):
        add = space.add_polyline2d if old else space.add_lwpolyline
        add(points, format="xyb", close=True, dxfattribs={"layer": "outline"})

    (outline,) = read_outline(draw(rim), "outline")
    assert outline.area == pytest.approx(12e-6 + 2e-6 * math.pi, rel=1e-12)
    assert outline.box[1] == pytest.approx(10 * MM)


def test_mirrored_entities(draw):
    """Drawn from behind (extrusion -z): x is turned round, arcs run the other way."""

    def rim(space):
        space.add_lwpolyline(
            [(-5, 0, 0), (-8, 0, -1), (-8, 4, 0), (-5, 4, 0)],
            format="xyb",
            close=True,
            dxfattribs={"layer": "outline", "extrusion": (0, 0, -1)},
        )

    def halves(space):
        lines(space, (8, 0), (5, 0), (5, 4), (8, 4), closed=False)
        space.add_arc((-8, 2), 2, 90, 270, dxfattribs={"layer": "outline", "extrusion": (0, 0, -1)})

    for add in (rim, halves):
        assert read_outline(draw(add), "outline")[0].area == pytest.approx(12e-6 + 2e-6 * math.pi, rel=1e-12)


def test_hollow_body_and_three_quarter_arc(draw):
    def tube(space):
        space.add_arc((20, 0), 5, 0, 270, dxfattribs={"layer": "outline"})
        space.add_arc((20, 0), 5, 270, 0, dxfattribs={"layer": "outline"})
        space.add_circle((20, 0), 3, dxfattribs={"layer": "outline"})

    outer, hole = read_outline(draw(tube), "outline")
    assert outer.area == pytest.approx(25e-6 * math.pi)
    assert outer.as_circle is not None
    assert hole.area == pytest.approx(9e-6 * math.pi)


def test_gaps_below_the_closing_tolerance_and_lines_drawn_twice(draw):
    def sloppy(space):
        lines(space, (1, 0), (2, 0.004), (2, 1), (1, 1))
        lines(space, (2, 0.004), (2, 1), closed=False)
        space.add_line((1.5, 3), (1.5, 3.0001), dxfattribs={"layer": "outline"})

    assert read_outline(draw(sloppy), "outline")[0].area == pytest.approx(1e-6, rel=3e-3)


def test_open_outline_names_gap_and_place(draw):
    text = refusal(draw(lambda s: lines(s, (1, 0), (2, 0), (2, 1), (1, 1), (1, 0.25), closed=False)))
    assert "a gap of 0.25 mm" in text
    assert "(r = 1 mm, z = 0 mm)" in text
    assert "(r = 1 mm, z = 0.25 mm)" in text


def test_empty_or_missing_layer_lists_the_layers(draw):
    text = refusal(draw(lambda s: lines(s, (1, 0), (2, 0), (2, 1), layer="contour")))
    assert 'layer "outline"' in text
    assert '"contour"' in text


@pytest.mark.parametrize(
    ("add", "says"),
    [
        (lambda s: lines(s, (1, 0), (3, 2), (3, 0), (1, 2)), "cross or touch itself; it does at r = 2 mm, z = 1 mm"),
        (lambda s: lines(s, (-1, 0), (2, 0), (2, 1)), "r >= 0 .* r = -1 mm"),
        (lambda s: s.add_spline([(1, 0), (2, 0), (3, 3)], dxfattribs={"layer": "outline"}), "SPLINE"),
        (lambda s: (lines(s, (1, 0), (2, 0), (2, 1)), lines(s, (5, 0), (6, 0), (6, 1))), "2 outlines"),
        (
            lambda s: (lines(s, (1, 0), (2, 0), (2, 1)), lines(s, (2, 1), (3, 3), closed=False)),
            "3 lines meet at|outline is open",
        ),
        (lambda s: s.add_line((1, 0), (1, 0.001), dxfattribs={"layer": "outline"}), "specks"),
        (lambda s: lines(s, (1, 0), (2, 0), (3, 0)), "touch itself|area"),
    ],
    ids=["crossing", "negative r", "spline", "two parts", "branch", "speck", "flat"],
)
def test_awkward_drawings(draw, add, says):
    import re

    assert re.search(says, refusal(draw(add)))


def test_unit_nobody_uses(draw):
    assert "$INSUNITS" in refusal(draw(lambda s: lines(s, (1, 0), (2, 0), (2, 1)), units=18))


@pytest.mark.parametrize("content", [b"", b"not a drawing", b"\x00\xff" * 500, b"  0\nSECTION\n  2\nENTITIES\n"])
def test_files_that_are_no_drawings(tmp_path, content):
    path = tmp_path / "part.dxf"
    path.write_bytes(content)
    refusal(path)


def test_missing_file_and_folder(tmp_path):
    assert "not there" in refusal(tmp_path / "absent.dxf")
    refusal(tmp_path)
