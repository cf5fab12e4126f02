"""Every shape of the schema: what is read, what is refused."""

import pytest

from coilwright.errors import BadInput

from .making import job


def shape(inline):
    return job(shape=f"shape = {{ {inline} }}").body("ring").shape


@pytest.mark.parametrize(
    ("inline", "key", "value"),
    [
        ('kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm"', "height", 0.6e-3),
        ('kind = "bar", diameter = "12 mm", length = "4 cm"', "length", 0.04),
        ('kind = "tube", outer_diameter = "9 mm", inner_diameter = "5 mm", length = "1 in"', "length", 0.0254),
        ('kind = "disc", diameter = "120 mm", height = "4 mm"', "diameter", 0.12),
        ('kind = "ball", diameter = "10 mm"', "diameter", 0.01),
        ('kind = "wire-ring", mean_diameter = "10 mm", wire_diameter = "1 mm"', "wire_diameter", 1e-3),
        (
            'kind = "channel-ring", outer_diameter = "12 mm", inner_diameter = "8 mm", height = "2 mm", wall = "0.3 mm", '
            'opens = "inwards"',
            "opens",
            "inwards",
        ),
        ('kind = "film", diameter = "20 mm", length = "5 mm", thickness = "2 um"', "thickness", 2e-6),
        ('kind = "film", outer_diameter = "20 mm", inner_diameter = "5 mm", thickness = "2 um"', "is_flat", True),
        (
            'kind = "profile", points = [["0 mm", "0 mm"], ["5 mm", "0 mm"], ["0 mm", "5 mm"]]',
            "outline",
            ((0.0, 0.0), (0.005, 0.0), (0.0, 0.005)),
        ),
    ],
)
def test_is_read(inline, key, value):
    assert getattr(shape(inline), key) == value


def test_a_closing_corner_may_be_repeated():
    closed = shape(
        'kind = "profile", points = [["0 mm", "0 mm"], ["5 mm", "0 mm"], ["0 mm", "5 mm"], ["0 mm", "0 mm"]]'
    )
    assert len(closed.outline) == 3


def test_a_drawing_must_stand_beside_the_job(tmp_path):
    from coilwright.job import loads

    from .making import text

    wanted = text(shape='shape = { kind = "drawing", file = "part.dxf" }')
    with pytest.raises(BadInput, match=r'"part.dxf" is not there'):
        loads(wanted, folder=tmp_path)
    (tmp_path / "part.dxf").write_text("0\nEOF\n", encoding="ascii")
    assert loads(wanted, folder=tmp_path).body("ring").shape.layer == "0"


@pytest.mark.parametrize(
    ("inline", "says"),
    [
        (
            'kind = "tube", outer_diameter = "5 mm", inner_diameter = "9 mm", length = "1 mm"',
            '"9 mm" is not below "5 mm"',
        ),
        ('kind = "wire-ring", mean_diameter = "1 mm", wire_diameter = "1 mm"', "the ring has no hole"),
        (
            'kind = "channel-ring", outer_diameter = "12 mm", inner_diameter = "8 mm", height = "0.3 mm", wall = "0.3 mm"',
            "the floor of",
        ),
        (
            'kind = "channel-ring", outer_diameter = "12 mm", inner_diameter = "8 mm", height = "2 mm", wall = "1 mm", '
            'opens = "outwards"',
            "in the height of 2 mm",
        ),
        ('kind = "film", diameter = "20 mm", outer_diameter = "5 mm", thickness = "2 um"', "not both"),
        ('kind = "film", thickness = "2 um"', "needs diameter and length"),
        ('kind = "film", outer_diameter = "5 mm", inner_diameter = "5 mm", thickness = "2 um"', "must be smaller"),
        ('kind = "profile", points = [["0 mm", "0 mm"], ["5 mm", "0 mm"]]', "at least 3 entries"),
        ('kind = "profile", points = [["0 mm", "0 mm"], ["0 mm", "0 mm"], ["5 mm", "0 mm"]]', "are the same place"),
        (
            'kind = "profile", points = [["1 mm", "0 mm"], ["3 mm", "0 mm"], ["2 mm", "0 mm"], ["2 mm", "2 mm"]]',
            "crosses",
        ),
    ],
)
def test_is_refused(inline, says):
    with pytest.raises(BadInput, match=says):
        shape(inline)
