"""LCR tables, temperature traces and stopwatch notes."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.readings.lcr import read_lcr
from coilwright.readings.notes import read_notes
from coilwright.readings.temperature import read_temperature

F = np.array([10e3, 50e3, 100e3, 200e3])
L = np.full(4, 0.85e-6)
R = 0.012 * np.sqrt(F / 1e5)
W = 2 * np.pi * F
Z = R + 1j * W * L
Y = 1 / Z
C = np.full(4, 0.33e-6)


@pytest.fixture
def write(tmp_path):
    def put(text):
        path = tmp_path / "table.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return put


def table(head, *columns, sep=","):
    rows = [sep.join(f"{v:.12g}" for v in row) for row in zip(*columns, strict=True)]
    return "\n".join([head, *rows]) + "\n"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (table("Frequency [Hz],Ls [uH],Rs [mohm]", F, L * 1e6, R * 1e3), Z),
        (table("f [kHz],Ls [H],Q", F / 1e3, L, W * L / R), Z),
        (table("f,|Z|,phase [deg]", F, np.abs(Z), np.degrees(np.angle(Z))), Z),
        (table("f,R,X", F, Z.real, Z.imag), Z),
        (table("f,Lp,Rp", F, -1 / (Y.imag * W), 1 / Y.real), Z),
        (table("f,Cs [uF],D", F, C * 1e6, np.full(4, 5e-4)), (5e-4 - 1j) / (W * C)),
        (table("f [kHz];Ls [uH];Rs [mohm]", F / 1e3, L * 1e6, R * 1e3, sep=";").replace(".", ","), Z),
        (table("f,Ls,Rs", F[::-1], L, R[::-1]), Z),
    ],
    ids=["L R", "L Q", "Z phase", "R X", "parallel", "C D", "decimal comma", "falling frequency"],
)
def test_lcr_tables_give_the_same_impedance(write, text, expected):
    sweep = read_lcr(write(text))
    assert sweep.frequency == pytest.approx(F)
    assert np.max(np.abs(sweep.impedance / expected - 1)) < 1e-8


def test_bare_heads_take_units_from_the_option(write):
    sweep = read_lcr(write(table("f,Ls,Rs", F, L * 1e6, R)), units={"Ls": "uH"})
    assert sweep.impedance == pytest.approx(Z)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (table("f,Ls", F, L), "needs two quantities"),
        (table("a,Ls,Rs", F, L, R), "no frequency column; it has a, Ls, Rs"),
        (table("f,Z,phase", F, np.abs(Z), np.angle(Z)), "degrees or radians"),
        (table("f,Ls [kg],Rs", F, L, R), '"kg" of column "Ls" is not a unit of H'),
        (table("f,Ls,Rs", F - 1e4, L, R), "greater than zero"),
        (table("f,Ls,Rs", [1e3, 1e3, 2e3, 3e3], L, R), "same frequency twice"),
        (table("f,Ls,Q", F, L, [1, 0, 1, 1]), "no finite impedance"),
        ("f,Ls,Rs\n1e3,NaN,1\n2e3,1,1\n", "no number .first in line 2"),
    ],
)
def test_lcr_faults(write, text, sentence):
    with np.errstate(divide="ignore"), pytest.raises(BadInput, match=sentence) as caught:
        read_lcr(write(text))
    assert len(caught.value.faults) == 1


TIME = np.array([0.0, 0.5, 1.0, 1.5])
CELSIUS = np.array([20.0, 120.5, 300.25, 500.0])


@pytest.mark.parametrize(
    "text",
    [
        table("time [s],T1 [degC]", TIME, CELSIUS),
        table("Time [ms],T1 [°F]", TIME * 1e3, CELSIUS * 1.8 + 32),
        table("t,T1 [K]", TIME, CELSIUS + 273.15),
        table("Zeit;T1 [°C]", TIME, CELSIUS, sep=";").replace(".", ","),
        "stamp,T1 [C]\n10:00:00.0,20.0\n10:00:00.5,120.5\n10:00:01.0,300.25\n10:00:01.5,500.0\n",
        "Datum;T1 [C]\n03.05.2024 10:00:00,0;20,0\n03.05.2024 10:00:00,5;120,5\n"
        "03.05.2024 10:00:01,0;300,25\n03.05.2024 10:00:01,5;500,0\n",
        "stamp,T1 [C]\n23:59:59.0,20.0\n23:59:59.5,120.5\n00:00:00.0,300.25\n00:00:00.5,500.0\n",
    ],
    ids=["plain", "ms and F", "kelvin", "decimal comma", "clock", "date and clock", "over midnight"],
)
def test_temperature_traces(write, text):
    trace = read_temperature(write(text))
    assert trace.time == pytest.approx(TIME)
    assert trace.channel("T1") - 273.15 == pytest.approx(CELSIUS)
    assert trace.channel() is trace.channel("T1")


@pytest.mark.parametrize(
    ("text", "options", "sentence"),
    [
        (table("t,T1", TIME, CELSIUS), {}, 'does not say its unit; give unit = "degC"'),
        (table("t,T1 [bar]", TIME, CELSIUS), {}, 'unknown unit "bar"'),
        (table("t,T1 [C]", TIME[::-1], CELSIUS), {}, "runs backwards"),
        (table("t,T1 [C]", TIME * 0, CELSIUS), {}, "stands still"),
        (table("t,T1 [C]", TIME, CELSIUS - 400), {}, "absolute zero"),
        (table("t,T1 [C]", TIME, CELSIUS), {"columns": ["T2"]}, 'no temperature column "T2"'),
        (table("t,T1 [C]", TIME, CELSIUS), {"time_column": "clock"}, 'no column "clock"'),
        ("t;T1 [C]\n0,0;20,5\n0,5;21.5\n1,0;22,0\n", {}, "mixes decimal commas and points"),
        ("t,T1 [C]\n0.0,20\n0.5,NaN\n1.0,30\n", {}, "no number .first in line 3"),
        ("t,T1 [C]\n0.0,20\n0.5,25\n1.0", {}, "ends in the middle of line 4"),
        ("s,T1 [C]\n10:00:00,20\n10:00:01,x\n", {}, 'received "x"'),
        ("s,T1 [C]\n10:00:00,20\n10:00:01,\n", {}, "line 3 must have 1"),
        ("s,T1 [C]\n10:00:05,20\n10:00:01,30\n", {}, "runs backwards"),
    ],
)
def test_temperature_faults(write, text, options, sentence):
    with pytest.raises(BadInput, match=sentence) as caught:
        read_temperature(write(text), **options)
    assert len(caught.value.faults) == 1


def test_channels_are_named(write):
    trace = read_temperature(write(table("t,ring [C],glass [C]", TIME, CELSIUS, CELSIUS / 2)))
    with pytest.raises(BadInput, match="needs a channel name; it has ring, glass"):
        trace.channel()


def test_notes_as_written_by_hand(write):
    notes = read_notes(
        write(
            "# new batch\n4.8 s  start of flash\nstation 2: 0:05.1  start of flash # late\n12,6 s end\n2 min off\n7.0\n"
        )
    )
    assert [(e.time, e.what, e.station) for e in notes.events] == [
        (4.8, "start of flash", None),
        (5.1, "start of flash", 2),
        (12.6, "end", None),
        (120.0, "off", None),
        (7.0, "", None),
    ]
    assert notes.sigma == 0.2


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("4.8 s start\nflash at five\n", 'line 2: must begin with a time .* received "flash at five"'),
        ("0:75 start\n", "75 seconds after the minutes"),
        ("# nothing\n", "holds no event"),
    ],
)
def test_note_faults(write, text, sentence):
    with pytest.raises(BadInput, match=sentence):
        read_notes(write(text))
