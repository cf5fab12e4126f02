"""Instruments on the bench: simulated ones through PyVISA, and a line of our own that breaks in every way."""

import json
from pathlib import Path

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.errors import BadInput, CoilwrightError
from coilwright.readings.live import (
    Instrument,
    LcrReading,
    capture,
    connected,
    instruments,
    read_meter,
    save_capture,
    save_meter,
)  # fmt: skip
from coilwright.readings.live_driver import ScopeDriver, driver
from coilwright.steps.instrument import LiveOptions, live_reading

BENCH = f"{Path(__file__).parent / 'data' / 'bench.yaml'}@sim"
BYTES = b"PZcjnqpmhbYPF=61/.048@IPZcjnqpmhbYPF=61/."

OWN_SCOPE = """
[mine]
kind = "scope"
prepare = ["*CLS"]
error = ":SYSTem:ERRor?"
channels = ["1", "2"]
data = ":TRACe:DATA? CH{channel}"
sample = "int8"
step = ":SENSe:SWEep:TINTerval?"
start = ":SENSe:SWEep:OFFSet:TIME?"
scale = ":SCALe? CH{channel}"
offset = -10.0
unit = "V"
"""


def run(capsys, *words):
    try:
        main(list(words))
        code = 0
    except SystemExit as leave:
        code = leave.code
    return code, *capsys.readouterr()


def test_lists_who_answers():
    there = {a.address: a.says for a in instruments(BENCH)}
    assert there["TCPIP0::10.0.0.1::inst0::INSTR"] == "TEST BENCH,LCR METER,0,1"
    assert there["GPIB0::9::INSTR"] == ""  # it is there but does not say


def test_reads_a_meter():
    with connected("TCPIP::10.0.0.1::INSTR", backend=BENCH) as bench:
        met = read_meter(bench, driver("lcr"))
    assert met.frequency == 1e5
    assert met.values == {"Ls": 2.14e-7, "Rs": 2.4e-3}
    assert "LCR METER" in met.says


def test_captures_a_scope(tmp_path):
    (tmp_path / "own.toml").write_text(OWN_SCOPE)
    how = driver("scope", tmp_path / "own.toml")
    with connected("TCPIP::10.0.0.2::INSTR", backend=BENCH) as bench:
        record = capture(bench, how)
    expected = np.frombuffer(BYTES[:40], np.int8).astype(float)
    np.testing.assert_allclose(record.channel("1").values(), 0.5 * expected - 10.0)
    np.testing.assert_allclose(record.channel("2").values(), 0.25 * expected - 10.0)
    assert record.step == 1e-6
    saved = save_capture(record, tmp_path / "shot.npz")
    from coilwright.readings.binary import read_npz

    back = read_npz(saved)
    np.testing.assert_array_equal(back.channel("1").values(), record.channel("1").values())
    assert back.channel("2").unit == "V"


def test_a_live_reading_becomes_a_file_and_a_reading(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = live_reading("TCPIP::10.0.0.1::INSTR", "lcr", LiveOptions(backend=BENCH))
    assert found["inductance_H"] == pytest.approx(2.14e-7)
    assert found["resistance_ohm"] == pytest.approx(2.4e-3)
    assert found.file == "lcr-1.csv"
    again = live_reading("TCPIP::10.0.0.1::INSTR", "lcr", LiveOptions(backend=BENCH))
    assert again.file == "lcr-2.csv"  # nothing is written over
    with pytest.raises(BadInput, match="is there already"):
        live_reading("TCPIP::10.0.0.1::INSTR", "lcr", LiveOptions(backend=BENCH, save=Path("lcr-1.csv")))


def test_goes_to_the_record_of_a_kept_job(tmp_path, monkeypatch, capsys):
    import coilwright as cw

    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text(cw.template("ring-through-glass"), encoding="utf-8")
    assert run(capsys, "keep", "job.toml", "--as", "ring job", "--store", "s.db")[0] == 0
    code, out, _ = run(capsys, "reading", "--live", "TCPIP::10.0.0.1::INSTR", "--as", "lcr", "--backend", BENCH,
                       "--job", "ring job", "--store", "s.db", "--json")  # fmt: skip
    assert code == 0
    assert json.loads(out)["readings"][0]["quantities"]["inductance_H"]["value"] == pytest.approx(2.14e-7)
    with cw.open_store("s.db") as store:
        (kept,) = store.readings_of("ring job")
    assert {r["what"]: r["value"] for r in kept.readings}["resistance_ohm"] == pytest.approx(2.4e-3)


def test_command_lists_and_refuses(capsys):
    code, out, _ = run(capsys, "reading", "--instruments", "--backend", BENCH)
    assert code == 0
    assert "TEST BENCH,SCOPE" in out
    code, _, err = run(capsys, "reading")
    assert code == 2
    assert "needs a file, or --live" in err
    code, _, err = run(capsys, "reading", "--live", "TCPIP::10.0.0.1::INSTR", "--as", "temperature", "--backend", BENCH)
    assert code == 2
    assert "lcr or scope" in err


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("TCPIP::10.0.0.3::INSTR", 'complains "-113'),
        ("TCPIP::10.0.0.4::INSTR", "sign for no reading"),
        ("GPIB::8::INSTR", 'answered "READY" to :FETCh?, which is no number'),
        ("GPIB::9::INSTR", "does not answer *IDN?"),
        ("NO-ADDRESS", "cannot be opened"),
    ],
)
def test_trouble_is_one_sentence(address, said, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "quick.toml").write_text(
        '[m]\nkind = "lcr"\nerror = ":SYSTem:ERRor?"\ntimeout = 0.3\nfrequency = ":SOURce:FREQuency?"\n'
        'measure = ":FETCh?"\nanswer = ["Ls", "Rs"]\n'
    )
    code, out, err = run(
        capsys, "reading", "--live", address, "--as", "lcr", "--backend", BENCH, "--driver", "quick.toml"
    )
    assert code == 3, err
    assert said in err
    assert "Traceback" not in err + out
    assert not list(tmp_path.glob("lcr-*")), "nothing half-read is kept"


class Broken:
    """A line that answers from a list of bytes and then does as told."""

    def __init__(self, answer, then=None):
        self.answer, self.then = answer, then

    def write(self, text):
        if self.then == "gone":
            raise OSError("No such device (it may have been disconnected)")

    def read_line(self):
        taken, _, self.answer = self.answer.partition(b"\n")
        return taken.decode()

    def read_exactly(self, count):
        if len(self.answer) < count and self.then == "timeout":
            raise TimeoutError("timeout before the answer was complete")
        taken, self.answer = self.answer[:count], self.answer[count:]
        return taken


def test_a_block_comes_through_whatever_its_bytes():
    data = bytes(range(256)) * 4  # line ends and all
    head = f"#{len(str(len(data)))}{len(data)}".encode()
    assert Instrument(Broken(head + data + b"\n"), "x").block("DATA?") == data
    assert Instrument(Broken(b"#10\n"), "x").block("DATA?") == b""


@pytest.mark.parametrize(
    ("answer", "then", "said"),
    [
        (b"#14ab", None, "sent 2 of 4 bytes"),
        (b"#14ab", "timeout", "stopped in the middle of its block"),
        (b"1.0,2.0\n", None, "where a block"),
        (b"#0abc\n", None, "where a block"),
        (b"#2x4abcd", None, "which is no length"),
        (b"", "gone", "No such device"),
    ],
)
def test_broken_blocks(answer, then, said):
    with pytest.raises(CoilwrightError, match=said):
        Instrument(Broken(answer, then), "GPIB::1").block("DATA?")


def test_wrong_byte_order_and_cut_samples_are_told():
    base = {"kind": "scope", "channels": ("1",), "data": "D?", "sample": "real32", "step": "S?"}
    real = np.array([np.nan, 1.0], ">f4").tobytes()
    with pytest.raises(CoilwrightError, match="no numbers"):
        capture(Instrument(Broken(b"me\n1e-6\n#18" + real + b"\n"), "x"), ScopeDriver(**base))
    with pytest.raises(CoilwrightError, match="whole number of real32"):
        capture(Instrument(Broken(b"me\n1e-6\n#17" + real[:7] + b"\n"), "x"), ScopeDriver(**base))
    with pytest.raises(CoilwrightError, match="above zero"):
        capture(Instrument(Broken(b"me\n0\n"), "x"), ScopeDriver(**base))


def test_a_frequency_the_meter_does_not_tell_must_be_said(tmp_path):
    how = driver("lcr").model_copy(update={"frequency": "", "error": "", "prepare": ()})
    with pytest.raises(BadInput, match="--frequency"):
        read_meter(Instrument(Broken(b"me\n1e-7,1e-3\n"), "x"), how)
    met = read_meter(Instrument(Broken(b"me\n1e-7,1e-3\n"), "x"), how, 5e4)
    assert met.frequency == 5e4
    few = how.model_copy(update={"answer": ("Ls", "Rs", "Q")})
    with pytest.raises(CoilwrightError, match="2 numbers"):
        read_meter(Instrument(Broken(b"me\n1e-7,1e-3\n"), "x"), few, 5e4)
    assert (
        save_meter(LcrReading(1e5, {"Cs": 1e-6, "D": 1e-3}, ""), tmp_path / "c.csv")
        .read_text()
        .startswith("f [Hz],Cs [F],D")
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("not toml [", "is not TOML"),
        ('[a]\nkind = "scope"\n', "must hold one table with kind"),
        ('[a]\nkind = "lcr"\nmeasure = "M?"\n', "answer: field required"),
        ('[a]\nkind = "lcr"\nmeasure = "M?"\nanswer = ["Ls", "Xx"]\n', "answer.1"),
        ('[a]\nkind = "lcr"\nmeasure = "M?"\nanswer = ["Ls"]\nspeed = 3\n', "speed"),
    ],
)
def test_driver_files_with_faults(text, said, tmp_path):
    (tmp_path / "d.toml").write_text(text)
    with pytest.raises(BadInput, match=said):
        driver("lcr", tmp_path / "d.toml")


def test_unknown_drivers_are_named():
    with pytest.raises(BadInput, match="there are lcr, scope"):
        driver("lcr", "nosuch")
    with pytest.raises(BadInput, match="is not there"):
        driver("lcr", "nosuch.toml")


def test_a_missing_extra_is_named(monkeypatch):
    import sys

    from coilwright.errors import MissingExtra

    monkeypatch.setitem(sys.modules, "pyvisa", None)
    with pytest.raises(MissingExtra, match=r"coilwright\[instruments\]"):
        instruments()
