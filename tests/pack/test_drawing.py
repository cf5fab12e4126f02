"""The display list: the same thing as SVG and as DXF, true sizes, same bytes."""

import math
import re
import xml.etree.ElementTree as ET

import ezdxf
import numpy as np
import pytest

from coilwright.pack.dimension_layout import layout
from coilwright.pack.drawing import (
    LAYERS,
    Drawing,
    Linear,
    Round,
    View,
    fitting_scale,
    scale_text,
    shown,
    text_width,
)
from coilwright.pack.drawing_svg import hatch_lines


def plate(scale=2.0):
    """A plate of 40 by 30 mm with a hole of 16 mm and one small dimension."""
    items = []
    v = View(items, scale, (60.0, 60.0))
    v.box((0, 0), (40, 30))
    v.circle((20, 15), 8.0)
    v.cross((20, 15), 11.0)
    hole = [(20 + 8 * math.cos(t), 15 + 8 * math.sin(t)) for t in np.linspace(0, 2 * math.pi, 73)[:-1]]
    v.hatch([(0, 0), (40, 0), (40, 30), (0, 30)], hole)
    v.arc((0, 0), 5.0, 0.0, 90.0)
    v.across("width", (0, 0), (40, 0), -5.0)
    v.across("small", (0, 30), (3, 30), 35.0, suffix=" ±0.2")
    v.up("height", (40, 0), (40, 30), 46.0)
    v.round("hole", (20, 15), 8.0, angle=30.0, out=20.0)
    v.round("corner", (0, 0), 5.0, angle=45.0, diameter=False)
    v.slanted("diagonal", (0, 0), (40, 30), (0, 5), math.degrees(math.atan2(30, 40)))
    v.text((0, 50), 'copper & "bar" <3>')
    return Drawing("plate", "Plate", scale, (297.0, 210.0), tuple(items))


@pytest.mark.parametrize("scale", [5.0, 2.0, 0.4])
def test_dxf_measures_true_sizes_at_every_scale(tmp_path, scale):
    document = ezdxf.readfile(plate(scale).write_dxf(tmp_path / "plate.dxf"))
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    assert document.header["$INSUNITS"] == 4 and document.header["$MEASUREMENT"] == 1
    measured = {
        d.get_xdata("COILWRIGHT")[0].value: d.get_measurement() for d in document.modelspace().query("DIMENSION")
    }
    wanted = {"width": 40.0, "small": 3.0, "height": 30.0, "hole": 16.0, "corner": 5.0, "diagonal": 50.0}
    assert measured == pytest.approx(wanted, abs=1e-9)
    assert set(LAYERS) <= {layer.dxf.name for layer in document.layers}


def test_dxf_dimensions_carry_the_words_of_the_svg(tmp_path):
    drawing = plate()
    document = ezdxf.readfile(drawing.write_dxf(tmp_path / "plate.dxf"))
    parts = [t for d in document.modelspace().query("DIMENSION") for t in d.virtual_entities()]
    shown_there = {t.dxf.text.replace("%%c", "⌀") for t in parts if t.dxftype() == "TEXT"}
    assert shown_there == {"40", "3 ±0.2", "30", "⌀16", "R5", "50"}
    for text in shown_there:
        assert f">{text}</text>" in drawing.svg()


def test_same_drawing_same_bytes(tmp_path):
    first, second = (plate().write_dxf(tmp_path / name).read_bytes() for name in ("a.dxf", "b.dxf"))
    assert first == second and plate().svg() == plate().svg()
    assert set(re.findall(rb"(?:19|20)\d\d-\d\d-\d\d", first)) == {b"2000-01-01"}  # the fixed stamp, not today's


def test_svg_is_in_paper_millimetres():
    root = ET.fromstring(plate().svg())
    assert root.get("width") == "297mm" and root.get("viewBox") == "0 0 297 210"
    name = {"s": "http://www.w3.org/2000/svg"}
    outline = root.find("s:g[@id='OUTLINE']/s:path", name).get("d")
    corners = np.array([float(x) for x in re.findall(r"-?[\d.]+", outline)]).reshape(-1, 2)
    assert np.ptp(corners, axis=0) == pytest.approx([80.0, 60.0])  # 40 by 30 at 2:1
    assert corners.min(axis=0) == pytest.approx([60.0, 210.0 - 60.0 - 60.0])
    words = [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert 'copper & "bar" <3>' in words


def test_hatch_fills_the_area_between_the_loops():
    """Total length of the lines times their distance is the area, for any angle (Cavalieri)."""
    square = [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)]
    hole = [(10.0, 10.0), (10.0, 20.0), (20.0, 20.0), (20.0, 10.0)]
    for angle in (0.0, 30.0, 45.0, 135.0):
        lines = hatch_lines([square, hole], angle, 0.05)
        assert sum(math.dist(a, b) for a, b in lines) * 0.05 == pytest.approx(1100.0, rel=2e-3)


def test_words_of_a_dimension_stay_clear_of_its_line():
    for angle in (0.0, 37.0, 90.0, 180.0):
        a = math.radians(angle)
        item = Linear("x", (0, 0), (30 * math.cos(a), 30 * math.sin(a)), (0, 0), angle)
        plan = layout(item, 1.0)
        (x0, y0), (x1, y1) = plan.lines[-1]
        away = abs((x1 - x0) * (plan.middle[1] - y0) - (y1 - y0) * (plan.middle[0] - x0)) / math.hypot(x1 - x0, y1 - y0)
        assert away > 1.25 and -90.0 < plan.angle <= 90.0


def test_narrow_dimensions_put_their_arrows_outside():
    wide, narrow = (layout(Linear("x", (0, 0), (d, 0), (0, 10)), 1.0) for d in (30.0, 2.0))
    assert [round(a, 6) for _, a in wide.arrows] == [round(math.pi, 6), 0.0]
    assert [round(a, 6) for _, a in narrow.arrows] == [0.0, round(math.pi, 6)]
    half = 0.5 * text_width("2", 2.5)
    assert narrow.middle[0] - half > 2.0  # the words stand beside, not on the arrows


def test_scales_are_those_of_the_standard():
    assert fitting_scale(100.0, 50.0, (150.0, 80.0)) == 1.0
    assert fitting_scale(272.0, 260.0, (149.0, 109.0)) == 0.4
    assert [scale_text(s) for s in (10.0, 1.0, 0.4, 0.2)] == ["10:1", "1:1", "1:2.5", "1:5"]


def test_lengths_are_written_without_idle_zeros():
    assert [shown(x) for x in (36.0, 5.5, 0.333333, 1250.0)] == ["36", "5.5", "0.33", "1250"]
    assert Round("d", (0, 0), 2.0).text == "⌀4" and Round("r", (0, 0), 2.0, diameter=False).text == "R2"


def test_unknown_dimension_names_those_there_are():
    with pytest.raises(KeyError, match="width"):
        plate().dimension("length")
