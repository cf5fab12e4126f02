"""Every sheet of every example: opens clean, measures what the job says, and nothing stands on anything else."""

import io
import math
from itertools import pairwise

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox

from coilwright.pack.dimension_layout import layout
from coilwright.pack.drawing import LETTERS, Linear, Round, Text, text_width
from coilwright.pack.gauge_drawing import clipped_polygon, gauges, inside_runs
from coilwright.pack.sheet import HIGH, LOW, SIZE, fitted, wrapped
from coilwright.pack.workshop_drawings import drawings, not_drawn
from coilwright.section.winding import winding_of
from coilwright.window.limits import Tolerance
from coilwright.window.quantities import VariedQuantity

from .workshop_contents import COILS, JOBS, contents_of, example, other_coil, with_coil

ALL = [("example", name) for name in JOBS] + [("other", name) for name in COILS]
MM = 1e3


def contents(kind, name):
    return example(name) if kind == "example" else other_coil(name)


def sheets(found):
    return {d.name: d for d in drawings(found)}


def reread(drawing):
    """(document, {name: measurement mm}) from the DXF as a file."""
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        text = drawing.write_dxf(Path(folder) / "x.dxf").read_text(encoding="utf-8")
    document = ezdxf.read(io.StringIO(text))
    return document, {
        d.get_xdata("COILWRIGHT")[0].value: d.get_measurement() for d in document.modelspace().query("DIMENSION")
    }


@pytest.mark.parametrize(("kind", "name"), ALL, ids=lambda x: x)
def test_dxf_opens_clean_and_its_frame_is_the_sheet(kind, name):
    for drawing in drawings(contents(kind, name)):
        document, measured = reread(drawing)
        audit = document.audit()
        assert not audit.errors and not audit.fixes, drawing.name
        assert measured and all(v > 0.0 for v in measured.values()), drawing.name
        frame = bbox.extents(e for e in document.modelspace() if e.dxf.layer == "FRAME")
        assert frame.size.x * drawing.scale == pytest.approx(277.0) and frame.size.y * drawing.scale == pytest.approx(
            190.0
        )


@pytest.mark.parametrize(("kind", "name"), ALL, ids=lambda x: x)
def test_dimensions_reread_from_dxf_are_those_of_the_job(kind, name):
    found = contents(kind, name)
    coil, c = found.job.coil, found.job.coil.conductor
    there = sheets(found)
    _, coil_dims = reread(there["work-coil"])
    wanted = {}
    if coil.winding == "helix":
        wanted["mean diameter"] = coil.mean_diameter
        if coil.turns > 1:
            wanted |= {"pitch": coil.pitch, "inside diameter": coil.mean_diameter - c.radial_size}
    elif coil.winding == "spiral":
        wanted = {
            "mean diameter of the first turn": coil.inner_diameter,
            "mean diameter of the last turn": coil.outer_diameter,
        }
    else:
        wanted = {f"mean diameter {d:g}": d / MM for d in (40.0, 60.0)} | {"turn 2 above turn 1": 8e-3}
    if coil.leads is not None:
        wanted["lead length"] = coil.leads.length
        if coil.turns == int(coil.turns) if coil.winding != "turns" else True:
            wanted["lead spacing"] = coil.leads.spacing
    assert {k: coil_dims[k] for k in wanted} == pytest.approx({k: v * MM for k, v in wanted.items()}, abs=1e-6)
    _, own = reread(there["conductor"])
    keys = {"round tube": ("outside", "bore"), "round wire": ("diameter",), "litz": ("diameter",)}.get(c.section, ())
    assert {k: own[k] for k in keys} == pytest.approx({k: getattr(c, k) * MM for k in keys})
    if not keys:
        assert own["width, along the radius"] == pytest.approx(c.width * MM)
        assert own["height, along the axis"] == pytest.approx(c.height * MM)


@pytest.mark.parametrize("name", JOBS)
def test_gauge_sheets_measure_the_gap_and_its_limits(name):
    found = example(name)
    there = sheets(found)
    assert gauges(found)
    for gauge in gauges(found):
        _, measured = reread(there[gauge.name.replace(" ", "-")])
        assert measured["distance"] == pytest.approx(gauge.distance * MM, abs=1e-6)
        assert measured["go"] == pytest.approx(gauge.low * MM) and measured["no-go"] == pytest.approx(gauge.high * MM)


def test_turns_drawn_in_section_stand_where_the_helix_is_cut():
    """Circles on the outline layer of the section: every half turn, half a pitch higher, alternately left and right."""
    found = example("brazed-ferrule/job.toml")
    document, _ = reread(sheets(found)["work-coil"])
    circles = [e for e in document.modelspace().query("CIRCLE") if abs(e.dxf.radius - 3.0) < 1e-9]
    at = np.array(sorted((e.dxf.center.y, e.dxf.center.x) for e in circles))
    assert len(at) == 5 and np.diff(at[:, 0]) == pytest.approx(4.0) and np.abs(np.diff(at[:, 1])) == pytest.approx(36.0)


def test_left_hand_is_the_mirror_image_in_plan():
    right, left = (
        winding_of(f.job.coil, f.workshop, f.check.scene.section)
        for f in (other_coil("wire"), other_coil("wire", "left"))
    )
    assert left.length == pytest.approx(right.length)
    assert np.allclose(left.centre_line * [1, -1, 1], right.centre_line)
    assert "left hand" in sheets(other_coil("wire", "left"))["work-coil"].title


@pytest.mark.parametrize(("arrangement", "columns"), [("circle", None), ("grid", 3), ("line", None)])
def test_fixture_pitch(arrangement, columns):
    more = f'\n[fixture]\nstations = 6\narrangement = "{arrangement}"\nspacing = "90 mm"\n'
    found = contents_of(with_coil(COILS["single"], more + (f"columns = {columns}\n" if columns else "")))
    document, measured = reread(sheets(found)["fixture"])
    assert measured["spacing"] == pytest.approx(90.0, abs=1e-6)
    assert measured["coil outside"] == pytest.approx(46.0)
    coils = [e for e in document.modelspace().query("CIRCLE") if abs(e.dxf.radius - 23.0) < 1e-6]
    assert len(coils) == 6
    if arrangement == "circle":
        assert measured["pitch circle"] == pytest.approx(90.0 / math.sin(math.pi / 6))
    elif arrangement == "line":
        assert measured["over all axes"] == pytest.approx(450.0)
    else:
        assert measured["spacing between rows"] == pytest.approx(90.0)


def test_fixture_of_the_six_stations():
    _, measured = reread(sheets(example("indicator-tube-getter/six-stations.toml"))["fixture"])
    assert measured["spacing"] == pytest.approx(80.0) and measured["over all axes"] == pytest.approx(400.0)
    assert "fixture" not in sheets(example("hardened-pin/job.toml"))


def tolerance(what, nominal, low, high):
    quantity = VariedQuantity(what, "job", "length", nominal, 1e-4, "normal", True)
    return Tolerance(quantity, None, None, ("", ""), (low, high), (low, high))


def test_window_sets_the_limits_of_the_gauge():
    from types import SimpleNamespace

    job = example("indicator-tube-getter/six-stations.toml").job
    window = SimpleNamespace(tolerances=(tolerance("coil.centre", 16.25e-3, 16.0e-3, 16.6e-3),))
    (gauge,) = gauges(contents_of(job, window=window))
    assert gauge.limited_by == "window" and gauge.distance == pytest.approx(1e-3)
    assert (gauge.low, gauge.high) == pytest.approx((0.75e-3, 1.35e-3))
    (plain,) = gauges(example("indicator-tube-getter/six-stations.toml"))
    assert plain.limited_by == "assumed tolerance" and (plain.low, plain.high) == pytest.approx((0.8e-3, 1.2e-3))


def boxes(drawing):
    """(words, x0, y0, x1, y1) in paper mm of every text and dimension text."""
    out = []
    for item in drawing.items:
        if isinstance(item, Text):
            words, height, angle = item.text, item.height, item.angle
            wide = text_width(words, height, item.bold)
            x = item.at[0] * drawing.scale - {"left": 0.0, "centre": 0.5, "right": 1.0}[item.across] * wide
            y = item.at[1] * drawing.scale - {"bottom": 0.0, "middle": 0.5, "top": 1.0}[item.up] * height
            assert angle == 0.0
            out.append((words, x, y, x + wide, y + height))
        elif isinstance(item, Linear | Round):
            plan = layout(item, drawing.scale)
            a, wide = math.radians(plan.angle), text_width(item.text, LETTERS)
            w = 0.5 * (abs(wide * math.cos(a)) + abs(LETTERS * math.sin(a)))
            h = 0.5 * (abs(wide * math.sin(a)) + abs(LETTERS * math.cos(a)))
            x, y = plan.middle
            out.append((item.text, x - w, y - h, x + w, y + h))
    return out


@pytest.mark.parametrize(("kind", "name"), ALL, ids=lambda x: x)
def test_words_neither_overlap_nor_leave_the_sheet(kind, name):
    for drawing in drawings(contents(kind, name)):
        found = boxes(drawing)
        for words, x0, y0, x1, y1 in found:
            assert x0 > 9.9 and x1 < 287.1 and y0 > 5.0 and y1 < HIGH[1] + 0.1, f"{drawing.name}: {words}"
        for k, (a, ax0, ay0, ax1, ay1) in enumerate(found):
            for b, bx0, by0, bx1, by1 in found[:k]:
                apart = ax1 <= bx0 or bx1 <= ax0 or ay1 <= by0 or by1 <= ay0
                assert apart, f"{drawing.name}: {a!r} stands on {b!r}"


@pytest.mark.parametrize(("kind", "name"), ALL, ids=lambda x: x)
def test_views_stay_in_the_room_above_the_title_block(kind, name):
    for drawing in drawings(contents(kind, name)):
        document, _ = reread(drawing)
        drawn = [e for e in document.modelspace() if e.dxf.layer in ("OUTLINE", "HIDDEN", "PART", "CONDUCTOR")]
        drawn = [e for e in drawn if e.dxftype() != "TEXT"]
        box = bbox.extents(drawn)
        low, high = box.extmin * drawing.scale, box.extmax * drawing.scale
        assert low.x > LOW[0] and low.y > LOW[1] and high.x < HIGH[0] and high.y < HIGH[1], drawing.name


def test_title_block_says_what_the_job_says():
    found = example("hardened-pin/job.toml")
    sheet = sheets(found)["work-coil"].svg()
    block = found.title
    for words in (block.title, block.number, block.date, block.digest, block.customer, block.shop, "general tolerance as ordered",
                  "first angle", "1:1", "1 of 4"):  # fmt: skip
        assert words in sheet
    assert "does not meet its own acceptance" not in sheet


def test_a_failing_job_says_so_on_every_sheet():
    found = contents_of(example("hardened-pin/job.toml").job, passed=False)
    for drawing in drawings(found):
        assert "does not meet its own acceptance" in drawing.svg()


def test_same_job_same_bytes(tmp_path):
    for a, b in zip(*(drawings(example(JOBS[0])) for _ in range(2)), strict=True):
        assert a.svg() == b.svg()
        assert a.write_dxf(tmp_path / "a.dxf").read_bytes() == b.write_dxf(tmp_path / "b.dxf").read_bytes()


def test_assumed_figures_are_marked():
    sheet = sheets(example("hardened-pin/job.toml"))["work-coil"].svg()
    assert "right hand (assumed)" in sheet and "tolerances assumed" in sheet
    stated = '\n[workshop]\nhand = "right"\ninductance_tolerance = 0.03\nresistance_tolerance = 0.1\ncut_allowance = "20 mm"\n'
    sheet = sheets(contents_of(with_coil(COILS["wire"], stated)))["work-coil"].svg()
    assert "assumed" not in sheet and "± 3 %" in sheet


def test_capacitor_bank_counts_every_can():
    found = example("indicator-tube-getter/with-tank.toml")
    drawing = sheets(found)["capacitor-bank"]
    document, measured = reread(drawing)
    (group,) = found.tank.tank.bank.groups
    assert group.cans == 2
    labels = [e.dxf.text for e in document.modelspace().query("TEXT") if e.dxf.text in ("1.1", "2.1")]
    assert sorted(labels) == ["1.1", "2.1"]
    assert measured["height of a can"] == pytest.approx(60.0) and "assumed" in drawing.svg()
    assert measured["pitch of the strings"] == pytest.approx(60.0)
    for words, x0, y0, x1, y1 in boxes(drawing):
        assert x0 > 9.9 and x1 < 287.1 and y0 > 5.0 and y1 < HIGH[1] + 0.1, words


def test_stated_can_sizes_replace_the_assumed():
    job = example("indicator-tube-getter/with-tank.toml").job
    report = example("indicator-tube-getter/with-tank.toml").tank
    name = report.tank.bank.groups[0].can.name
    size = f'[{{ name = "{name}", width = "42 mm", depth = "30 mm", height = "55 mm" }}]'
    from coilwright.job import loads

    told = loads(job.text + f"\n[workshop]\ncan = {size}\n", folder=job.folder)
    drawing = sheets(contents_of(told, shot=report.shot, report=report))["capacitor-bank"]
    _, measured = reread(drawing)
    assert measured["height of a can"] == pytest.approx(55.0) and measured["pitch of the strings"] == pytest.approx(
        52.0
    )
    assert "42 x 30 x 55 (width, depth, height), job" in drawing.svg()


def test_what_is_not_drawn_is_named():
    said = not_drawn(example("hardened-pin/job.toml"))
    assert set(said) == {"capacitor bank", "fixture"}


def test_long_words_are_broken_and_fitted():
    lines = wrapped("one two three four five six seven eight nine ten", 30.0, 2.5)
    assert len(lines) > 1 and all(text_width(line.strip(), 2.5) <= 30.0 for line in lines)
    text, height = fitted("a very long title of a job that nobody would ever want to read to its end", 60.0, 3.2)
    assert height >= 1.8 and text.endswith("…") and text_width(text, height, True) <= 60.0


def test_clipping_keeps_the_part_inside():
    window = ((0.0, 0.0), (10.0, 10.0))
    square = [(-5.0, 5.0), (5.0, 5.0), (5.0, 15.0), (-5.0, 15.0)]
    corners = np.array(clipped_polygon(square, window))
    x, y = corners.T
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    assert area == pytest.approx(25.0)
    runs = list(inside_runs([*square, square[0]], window))
    assert sum(math.dist(a, b) for run in runs for a, b in pairwise(run)) == pytest.approx(10.0)


def test_sheets_are_a4():
    assert all(d.size == SIZE for d in drawings(example(JOBS[0])))
