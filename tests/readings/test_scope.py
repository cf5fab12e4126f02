"""Oscilloscope text files of many shapes read to the same capture; faulty ones refused with one sentence each."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.readings.scope import read_scope_csv

STEP = 4e-7
TIME = -2e-5 + STEP * np.arange(200)
VOLT = 30.0 * np.sin(2 * np.pi * 100e3 * TIME)
AMP = 200.0 * np.sin(2 * np.pi * 100e3 * TIME - 1.4)


def rows(form, times=TIME, one=VOLT, two=AMP):
    return [form.format(t=t, v=v, a=a, k=k) for k, (t, v, a) in enumerate(zip(times, one, two, strict=True))]


def comma(lines):
    return [line.replace(".", ",") for line in lines]


POINT = "{t:.9e},{v:.6f},{a:.6f}"
SEMI = "{t:.9e};{v:.6f};{a:.6f}"
SHAPES = {
    "plain header": ["time,coil voltage,coil current", *rows(POINT)],
    "no header": rows(POINT),
    "units in brackets": ["Time (s),U (V),I (A)", *rows(POINT)],
    "units in a row of their own": ["x-axis,1,2", "second,Volt,Ampere", *rows(POINT)],
    "milliseconds and millivolts": [
        "t [ms],U [mV],I [kA]",
        *rows("{t:.9e},{v:.6f},{a:.9f}", TIME * 1e3, VOLT * 1e3, AMP / 1e3),
    ],
    "settings above": [
        "Instrument,bench one",
        "Sample Interval,4e-07",
        "Record Length,200",
        "",
        "TIME,CH1,CH2",
        *rows(POINT),
    ],
    "settings beside the data": [
        f"{head},{line}"
        for head, line in zip(
            ["Record Length,200,Points", "Sample Interval,4e-07,s", "Source,CH1,"] + [",,"] * 197,
            rows(POINT),
            strict=True,
        )
    ],
    "start and increment": [
        "X,CH1,CH2,Start,Increment",
        "Sequence,Volt,Ampere,-2.0e-05,4.0e-07",
        *rows("{k},{v:.6f},{a:.6f},,"),
    ],
    "interval only": ["Start: ,-2e-05", "Interval: ,4e-07", "CH1,CH2", *rows("{v:.6f},{a:.6f}")],
    "semicolons and decimal commas": ["Zeit;U;I", *comma(rows(SEMI))],
    "tabs and decimal commas": ["Zeit\tU\tI", *comma(rows(SEMI.replace(";", "\t")))],
    "blanks": ["time U I", *rows(SEMI.replace(";", "  "))],
    "quoted": ['"time","U","I"', *rows('"{t:.9e}","{v:.6f}","{a:.6f}"')],
    "trailing separator and blank lines": ["time,U,I,", *rows(POINT + ","), "", ""],
    "coarsely printed time": ["time,U,I", *rows("{t:.6f},{v:.6f},{a:.6f}")],
}


@pytest.fixture
def write(tmp_path):
    def put(lines, encoding="utf-8", end="\r\n"):
        path = tmp_path / "capture.csv"
        path.write_bytes((end.join(lines) + end).encode(encoding))
        return path

    return put


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_every_shape_reads_to_the_same_capture(write, shape, encoding):
    capture = read_scope_csv(write(SHAPES[shape], encoding))
    assert len(capture) == 200
    assert capture.step == pytest.approx(STEP, rel=2e-2 if "coarsely" in shape else 1e-6)
    assert capture.start == pytest.approx(-2e-5, abs=1e-6 if "coarsely" in shape else 1e-12)
    voltage, current = capture.channels
    assert voltage.values() == pytest.approx(VOLT, abs=1e-5)
    assert current.values() == pytest.approx(AMP, abs=1e-5)


def test_names_units_and_choice_of_columns(write):
    capture = read_scope_csv(write(SHAPES["milliseconds and millivolts"]), columns=["I"])
    assert [(c.name, c.unit) for c in capture.channels] == [("I", "A")]
    assert read_scope_csv(write(SHAPES["plain header"]), columns=["3"]).channels[0].name == "coil current"
    assert "coil voltage" in repr(read_scope_csv(write(SHAPES["plain header"])))
    assert capture.channel("1").name == "I"
    with pytest.raises(BadInput, match='no channel "U"; it has I'):
        capture.channel("U")


def test_latin_1_micro_sign(write):
    lines = ["t [µs],U [V],I [A]", *rows(POINT, TIME * 1e6)]
    assert read_scope_csv(write(lines, "latin-1")).step == pytest.approx(STEP, rel=1e-6)


def test_commas_only_is_refused_unless_something_decides(write):
    whole = [f"{k},{k * k % 7}" for k in range(50)]
    with pytest.raises(BadInput, match="read in two ways"):
        read_scope_csv(write(whole))
    assert len(read_scope_csv(write(whole), decimal=".").channels) == 1
    named = read_scope_csv(write(["time,U", *whole]))  # a header with a name for each cell decides
    assert named.step == pytest.approx(1.0)


def damaged(change):
    lines = list(SHAPES["plain header"])
    change(lines)
    return lines


def cut(lines):
    lines[-1] = lines[-1][:12]


def swap(lines):
    lines[60], lines[61] = lines[61], lines[60]


def nan(lines):
    lines[50] = lines[50].rsplit(",", 1)[0] + ",NaN"


def word(lines):
    lines[50] = lines[50].rsplit(",", 1)[0] + ",broken"


def short(lines):
    lines[50] = lines[50].rsplit(",", 1)[0]


def gap(lines):
    del lines[50:53]


def still(lines):
    lines[1:] = rows(POINT, np.zeros(200))


FAULTS = [
    ("cut short", damaged(cut), {}, "ends in the middle of line 201"),
    ("time backwards", damaged(swap), {}, "runs backwards .* line 62"),
    ("NaN", damaged(nan), {}, 'column "coil current" has a value that is no number .first in line 51.'),
    ("a word", damaged(word), {}, 'line 51, column 3 must be a number, received "broken"'),
    ("short line", damaged(short), {}, "line 51 has 2 of 3 columns"),
    ("samples missing", damaged(gap), {}, "evenly spaced.* line 51"),
    ("time stands still", damaged(still), {}, "stands still"),
    ("unknown column", SHAPES["plain header"], {"columns": ["CH9"]}, 'no column "CH9"; it has time, coil voltage'),
    ("time as channel", SHAPES["plain header"], {"columns": ["time"]}, "is the time, not a channel"),
    ("swapped", SHAPES["units in brackets"], {"columns": ["I", "U"], "units": ["V", "A"]}, "two channels swapped"),
    ("units count", SHAPES["units in brackets"], {"units": ["V"]}, "units were given for 1"),
    ("mixed decimals", ["t;U", *["0,1;2.5"] * 5, *["0,2;3,5"] * 5], {}, "mixes decimal commas and points"),
    ("declared longer", ["Record Length,500", "time,U,I", *rows(POINT)], {}, "says it holds 500 samples but has 200"),
    ("no numbers", ["nothing to", "see here"], {}, "no column of numbers"),
    ("no time", ["U,I", *[f"{v:.3f},{a:.3f}" for v, a in zip(VOLT, AMP, strict=True)]], {}, "has no time"),
    ("odd unit", ["t [fortnight],U [V],I [A]", *rows(POINT)], {}, '"fortnight" of its time column'),
    ("bad option", SHAPES["plain header"], {"decimal": "x"}, 'must be "." or ","'),
]


@pytest.mark.parametrize(("lines", "options", "sentence"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_faults_are_refused_with_one_sentence(write, lines, options, sentence):
    with pytest.raises(BadInput, match=sentence) as caught:
        read_scope_csv(write(lines), **options)
    assert len(caught.value.faults) == 1
    assert "\n" not in str(caught.value)


def test_a_cut_file_may_be_kept_on_request(write):
    capture = read_scope_csv(write(damaged(cut)), keep_whole_lines=True)
    assert len(capture) == 199


def test_missing_empty_and_binary_files(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        read_scope_csv(tmp_path / "none.csv")
    (tmp_path / "empty.csv").write_bytes(b"")
    with pytest.raises(BadInput, match="is empty"):
        read_scope_csv(tmp_path / "empty.csv")
    (tmp_path / "picture.csv").write_bytes(b"BM\0\1\2\0\0" * 100)
    with pytest.raises(BadInput, match="not a text file"):
        read_scope_csv(tmp_path / "picture.csv")


def test_overdriven_input_is_found(write):
    flat = np.clip(VOLT, -20.0, 20.0)
    found = read_scope_csv(write(["time,U,I", *rows(POINT, TIME, flat, AMP)])).findings
    assert [f.code for f in found] == ["clipped"]
    assert found[0].where == "U"
