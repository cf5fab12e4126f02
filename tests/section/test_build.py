"""From a job text to its section."""

import ezdxf
import pytest

from coilwright.errors import BadInput
from coilwright.job import TEMPLATES, loads, template
from coilwright.section.build import build_section
from coilwright.section.overlap import check_geometry

MM = 1e-3
HEAD = """
format = 1
[drive]
frequency = "100 kHz"
coil_current = "100 A"
[coil]
winding = "helix"
turns = 2.5
mean_diameter = "60 mm"
pitch = "6 mm"
conductor = { section = "round tube", outside = "4 mm", bore = "2.5 mm" }
"""


def section_of(*shapes, extra="", folder=None):
    bodies = "".join(
        f'[[body]]\nname = "b{i}"\nmaterial = "copper"\ncentre = "{7 * i} mm"\nshape = {shape}\n'
        for i, shape in enumerate(shapes)
    )
    return build_section(loads(HEAD + bodies + extra, folder=folder))


@pytest.mark.parametrize("kind", list(TEMPLATES))
def test_every_template_has_a_sound_section(kind):
    section = build_section(loads(template(kind)))
    check_geometry(section)
    assert section.bodies


def test_every_shape_of_the_schema():
    section = section_of(
        '{ kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm" }',
        '{ kind = "bar", diameter = "8 mm", length = "2 mm" }',
        '{ kind = "tube", outer_diameter = "9 mm", inner_diameter = "5 mm", length = "3 mm" }',
        '{ kind = "disc", diameter = "8 mm", height = "1 mm" }',
        '{ kind = "ball", diameter = "4 mm" }',
        '{ kind = "wire-ring", mean_diameter = "8 mm", wire_diameter = "1 mm" }',
        '{ kind = "channel-ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "2 mm", wall = "0.2 mm" }',
        '{ kind = "profile", points = [["0 mm","0 mm"],["3 mm","0 mm"],["2 mm","2 mm"],["0 mm","2 mm"]] }',
        '{ kind = "film", diameter = "9 mm", length = "3 mm", thickness = "100 nm" }',
        '{ kind = "film", outer_diameter = "9 mm", inner_diameter = "4 mm", thickness = "100 nm" }',
        extra='[[point]]\nname = "spot"\nr = "3 mm"\nz = "1 mm"\n',
    )
    assert [b.name for b in section.bodies] == [f"b{i}" for i in range(8)]
    for i, body in enumerate(section.bodies):
        box = body.outer.box
        middle = 0.5 * (box[2] + box[3]) if i != 7 else box[2]  # a profile is measured from its own zero
        assert middle == pytest.approx(7 * i * MM, abs=1e-12)
    assert section.films[0].start == pytest.approx((4.5 * MM, 54.5 * MM))
    assert section.films[1].end == pytest.approx((4.5 * MM, 63 * MM))
    assert section.points[0].r == pytest.approx(3 * MM)
    assert check_geometry(section) == ()


def test_part_turn_is_said_in_a_note():
    section = section_of('{ kind = "bar", diameter = "8 mm", length = "2 mm" }')
    assert [t.weight for t in section.turns] == [1.0, 1.0, 0.5]
    assert any("counted 0.5 times" in note for note in section.notes)


def test_joints_make_groups_over_several_steps():
    bar = '{ kind = "bar", diameter = "8 mm", length = "7 mm" }'
    joints = "".join(f'[[joint]]\nbodies = ["b{a}", "b{b}"]\n' for a, b in ((1, 2), (0, 1)))
    section = section_of(bar, bar, bar, extra=joints)
    assert len({b.group for b in section.bodies}) == 1
    assert check_geometry(section) == ()


def test_drawing_beside_the_job_file(tmp_path):
    document = ezdxf.new(units=4)  # millimetres
    document.modelspace().add_lwpolyline([(2, 0), (4, 0), (3, 2)], close=True, dxfattribs={"layer": "outline"})
    document.saveas(tmp_path / "cone.dxf")
    shape = '{ kind = "drawing", file = "cone.dxf", layer = "outline" }'
    bar = '{ kind = "bar", diameter = "2 mm", length = "2 mm" }'
    section = section_of(bar, shape, folder=tmp_path)
    assert section.body("b1").outer.box == pytest.approx((2 * MM, 4 * MM, 7 * MM, 9 * MM))
    with pytest.raises(BadInput, match=r'body "b1": shape.file: layer "0" of cone\.dxf has no lines'):
        section_of(bar, shape.replace(', layer = "outline"', ""), folder=tmp_path)
