"""Touchstone files: own reader against scikit-rf on written and on published files, and sentences for faults."""

import importlib
import warnings
from pathlib import Path

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.readings.impedance import coil_reading
from coilwright.readings.records import Sweep, TwoPort
from coilwright.readings.touchstone import read_touchstone

FREQUENCY = np.linspace(50e3, 500e3, 31)
COIL = 0.02 * np.sqrt(FREQUENCY / 1e5) + 2j * np.pi * FREQUENCY * 0.9e-6


@pytest.fixture(scope="module")
def skrf():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return importlib.import_module("skrf")


def reference(skrf, path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        network = skrf.Network(str(path))
        return network.f, network.z


def reflection(z, unit):
    return np.linalg.solve(z + unit, z - unit)


def pairs(values, form):
    if form == "ri":
        return values.real, values.imag
    size = np.abs(values) if form == "ma" else 20 * np.log10(np.abs(values))
    return size, np.degrees(np.angle(values))


def one_port(tmp_path, kind="S", form="ri", unit="kHz", resistance=50.0, version=1):
    scale = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}[unit]
    ratio = COIL / resistance
    values = {"S": (ratio - 1) / (ratio + 1), "Z": ratio, "Y": 1 / ratio}[kind]
    if version == 2 and kind != "S":
        values = {"Z": COIL, "Y": 1 / COIL}[kind]
    head = ["[Version] 2.0"] if version == 2 else []
    head.append(f"# {unit} {kind} {form.upper()} R {resistance:g}")
    if version == 2:
        head += ["[Number of Ports] 1", f"[Number of Frequencies] {len(COIL)}", "[Network Data]"]
    one, two = pairs(values, form)
    rows = [f"{f / scale:.12g} {a:.15g} {b:.15g} ! row" for f, a, b in zip(FREQUENCY, one, two, strict=True)]
    path = tmp_path / "coil.s1p"
    path.write_text("\n".join(["! work coil, invented", *head, *rows, *(["[End]"] if version == 2 else [])]))
    return path


@pytest.mark.parametrize("kind", ["S", "Z", "Y"])
@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("version", [1, 2])
def test_one_port_in_every_form(tmp_path, kind, form, version):
    sweep = read_touchstone(one_port(tmp_path, kind, form, version=version))
    assert isinstance(sweep, Sweep)
    assert sweep.frequency == pytest.approx(FREQUENCY, rel=1e-11)
    assert np.max(np.abs(sweep.impedance / COIL - 1)) < 1e-8


@pytest.mark.parametrize("unit", ["Hz", "MHz", "GHz"])
def test_frequency_units_and_reference(tmp_path, unit):
    sweep = read_touchstone(one_port(tmp_path, unit=unit, resistance=75.0))
    assert sweep.frequency == pytest.approx(FREQUENCY, rel=1e-10)
    assert np.max(np.abs(sweep.impedance / COIL - 1)) < 1e-8


@pytest.mark.parametrize(("kind", "form"), [("S", "ri"), ("S", "db"), ("Z", "ma")])
def test_one_port_against_scikit_rf(tmp_path, skrf, kind, form):
    """Y of version 1 is left out: the format normalises it as Y R, scikit-rf 2.2 multiplies by R a second time."""
    path = one_port(tmp_path, kind, form)
    frequency, z = reference(skrf, path)
    ours = read_touchstone(path)
    assert ours.frequency == pytest.approx(frequency, rel=1e-12)
    assert ours.impedance == pytest.approx(z[:, 0, 0], rel=1e-8)


@pytest.mark.parametrize(
    "name", ["ntwk1.s2p", "line.s2p", "ring slot.s2p", "ring slot measured.s1p", "delay_short.s1p"]
)
def test_files_shipped_with_scikit_rf(skrf, name):
    """Real network-analyser files inside the scikit-rf wheel (skrf/data)."""
    path = Path(skrf.__file__).parent / "data" / name
    frequency, z = reference(skrf, path)
    ours = read_touchstone(path)
    found = ours.impedance if isinstance(ours, TwoPort) else ours.impedance[:, None, None]
    assert ours.frequency == pytest.approx(frequency, rel=1e-12)
    unit = 50.0 * np.eye(z.shape[1])  # compared as reflections: some of these ports are open at one frequency
    assert np.max(np.abs(reflection(found, unit) - reflection(z, unit))) < 1e-8


def test_two_port_order_and_noise(tmp_path):
    z = np.array([[3.0 + 10j, 1.0 + 2j], [0.5 + 4j, 2.0 + 7j]])
    flat = " ".join(f"{v.real} {v.imag}" for v in (z[0, 0], z[1, 0], z[0, 1], z[1, 1]))
    lines = ["# MHz Z RI R 1", f"1 {flat}", f"2 {flat}", "1 0.5 0.6 20 0.3", "2 0.5 0.6 20 0.3"]
    path = tmp_path / "pair.s2p"
    path.write_text("\n".join(lines))
    two = read_touchstone(path)
    assert two.impedance[1] == pytest.approx(z)
    assert two.frequency == pytest.approx([1e6, 2e6])
    straight = " ".join(f"{v.real} {v.imag}" for v in z.ravel())
    head = ["[Version] 2.0", "# MHz Z RI R 1", "[Number of Ports] 2", "[Two-Port Data Order] 12_21", "[Network Data]"]
    path.write_text("\n".join([*head, f"1 {straight}", "[End]"]))
    assert read_touchstone(path).impedance[0] == pytest.approx(z)


def test_a_point_at_direct_current_is_left_out(tmp_path):
    path = tmp_path / "coil.s1p"
    path.write_text("# kHz Z RI R 1\n0 0.01 0\n50 0.01 0.3\n200 0.02 1.2\n")
    sweep = read_touchstone(path)
    assert sweep.frequency == pytest.approx([50e3, 200e3])
    assert coil_reading(sweep, 100e3).inductance.value == pytest.approx(0.6 / (2e5 * np.pi), rel=1e-9)
    with pytest.raises(BadInput, match="covers 50000 to 200000 Hz"):
        coil_reading(sweep, 20e3)


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("a.s1p", "# Hz S RI R 50\n1 0.1 0.2\n2 0.1", "3 numbers per frequency for 1 port.*cut short"),
        ("a.s1p", "# Hz S RI R 50\n2 0.1 0.2\n1 0.1 0.2", "frequency must rise"),
        ("a.s1p", "# Hz S RI R 50\n-1 0.1 0.2\n1 0.1 0.2", "above 0 Hz; received -1 Hz"),
        ("a.s1p", "# Hz S RI R 50\n0 0.1 0.2", "above 0 Hz; received 0 Hz"),
        ("a.s1p", "# Hz S RI R 50\n1 0.1 nan", "no number at point 1"),
        ("a.s1p", "# Hz S XX R 50\n1 0.1 0.2", '"xx" is not a known option'),
        ("a.s1p", "# Hz S RI R fifty\n1 0.1 0.2", "must be a number"),
        ("a.s1p", "# Hz S RI R 0\n1 0.1 0.2", "greater than zero"),
        ("a.s1p", "# Hz S RI R 50\n1 0.1 abc", "line 2: must hold numbers only"),
        ("a.s1p", "# Hz S RI R 50\n1 1.0 0.0", "open there"),
        ("a.s3p", "# Hz S RI R 50\n1 0.1 0.2", "must end in .s1p or .s2p"),
        ("a.s1p", "! only remarks\n", "has 0"),
        ("a.ts", "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 4\n", "one or two ports"),
        ("a.ts", "[Version] 2.0\n# Hz S RI\n[Number of Ports] 2\n[Matrix Format] Lower\n", "full single-ended"),
        ("a.s2p", "[Version] 2.0\n# Hz S RI\n[Reference] 50\n1 0 0 0 0 0 0 0 0", "one resistance for each of 2"),
    ],
)
def test_faults(tmp_path, name, text, sentence):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(BadInput, match=sentence) as caught:
        read_touchstone(path)
    assert len(caught.value.faults) == 1
