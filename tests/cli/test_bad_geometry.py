"""What cannot be drawn is refused with one sentence and exit code 2, at every command."""

import ezdxf
import pytest

from tests.cli.test_commands import run
from tests.heating.jobs import WASHER

SHAPE = 'shape = { kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm" }'


def drawing(path, *, closed):
    document = ezdxf.new(setup=True)
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    document.layers.add("outline")
    corners = [(2.5, 0), (4.5, 0), (4.5, 0.6), (3.5, 0.9), (2.5, 0.6)]
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        if closed or a != corners[-1]:
            space.add_line(a, b, dxfattribs={"layer": "outline"})
    document.saveas(path)


@pytest.fixture
def drawn(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(
        WASHER.replace(SHAPE, 'shape = { kind = "drawing", file = "ring.dxf", layer = "outline" }'), encoding="utf-8"
    )
    return path


def test_a_drawn_ring_heats(capsys, drawn, tmp_path):
    drawing(tmp_path / "ring.dxf", closed=True)
    code, out, err = run(capsys, "heat", drawn)
    assert code in (0, 1), err
    assert "washer" in out


@pytest.mark.parametrize("command", ["check", "field", "heat"])
def test_an_open_outline_is_named_with_its_gap(capsys, drawn, tmp_path, command):
    drawing(tmp_path / "ring.dxf", closed=False)
    code, _, err = run(capsys, command, drawn)
    assert code == 2
    assert "ring.dxf" in err
    assert "open" in err
    assert "mm" in err


@pytest.mark.parametrize("command", ["check", "field", "heat"])
def test_zero_gap_names_both_and_the_place(capsys, tmp_path, command):
    path = tmp_path / "job.toml"
    text = WASHER.replace('outer_diameter = "9 mm"', 'outer_diameter = "20 mm"').replace(
        'centre = "3 mm"', 'centre = "0 mm"'
    )
    path.write_text(text, encoding="utf-8")  # the washer's rim touches the end turn, whose tube begins at 10 mm
    code, _, err = run(capsys, command, path)
    assert code == 2
    assert "washer" in err
    assert "turn" in err
    assert "mm" in err


def test_ten_megabytes_of_text(capsys, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("# x\n" * 2_500_000, encoding="utf-8")
    code, _, err = run(capsys, "check", path)
    assert code == 2
    assert "MB" in err
