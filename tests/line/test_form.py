"""The hand-over form: written from the sheet, typed into, read back as the section [machine]."""

import csv

import pytest

import coilwright as cw
from coilwright.line.form import KIND, form_csv, form_unit, read_form
from coilwright.line.hand_over import HandOverRow, HandOverSheet
from coilwright.line.machine import READINGS, Machine, baseline
from coilwright.steps.pack import digest, with_record

JOB = cw.loads(cw.template("ring-through-glass"))
MARK = digest(JOB)


def sheet():
    predicted = {"frequency": 350e3, "q": 54.7, "start": 4.79, "setback": 1.16e-3}
    rows = tuple(
        HandOverRow(what, int(r.each), r.asked, r.kind, r.minutes, predicted.get(what), None, None, None, None)
        for what, r in READINGS.items()
    )
    return HandOverSheet(rows, Machine(), (), 1, ())


def filled(tmp_path, values, text=None, name="form.csv"):
    """The form with values typed in by reading; a value may be a pair (value, uncertainty)."""
    rows = list(csv.reader((text or form_csv(sheet(), JOB.title, MARK)).splitlines()))
    for row in rows:
        if row and row[0] in values:
            given = values[row[0]]
            where = 1 if len(row) < 7 else 5
            row[where : where + 2] = given if isinstance(given, tuple) else (given, *row[where + 1 : where + 2])
    path = tmp_path / name
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(rows)
    return path


def test_every_reading_has_a_line_with_its_unit_and_expected_value():
    text = form_csv(sheet(), JOB.title, MARK)
    assert f"form,{KIND}\n" in text
    assert "frequency,,the frequency by counter or oscilloscope,350,kHz,," in text
    assert "setback,1,the setting gauge or a feeler at every coil nose,1.16,mm,," in text
    for what, reading in READINGS.items():
        assert f"\n{what}," in text
        assert form_unit(reading.kind)


def test_values_come_back_as_the_machine_of_the_job(tmp_path):
    path = filled(
        tmp_path,
        {
            "frequency": ("351.2", "0.2"),
            "q": "53.9",
            "start": "4.9",
            "setback": "1100 um",
            "date": "2025-04-02",
            "by": "A. Fitter",
        },
    )
    job = with_record(JOB, path)
    values = baseline(job).values
    assert values["frequency", 0] == (pytest.approx(351.2e3), pytest.approx(200.0))
    assert values["q", 0][0] == 53.9
    assert values["start", 1][0] == pytest.approx(4.9)
    assert values["setback", 1][0] == pytest.approx(1.1e-3)
    assert job.later["machine"]["date"] == "2025-04-02"
    again = cw.loads(job.text)
    assert baseline(again).values == values
    assert digest(again) == MARK


def test_a_spreadsheet_with_semicolons_and_decimal_commas(tmp_path):
    path = filled(tmp_path, {"frequency": "351.2", "q": "53.9"})
    text = "\n".join(";".join(r) for r in csv.reader(path.read_text(encoding="utf-8").splitlines()))
    path.write_text("\ufeff" + text.replace("351.2", "351,2").replace("53.9", "53,9"), encoding="utf-8")
    assert baseline(with_record(JOB, path)).values["frequency", 0][0] == pytest.approx(351.2e3)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, "holds no reading"),
        ({"form": "a shopping list"}, "must be a hand-over form"),
        ({"digest": "000000000000", "q": "50"}, "belongs to another job or to an older state of it"),
        ({"q": "fifty"}, 'q is a plain number; received "fifty"'),
        ({"frequency": "350 bananas"}, "frequency"),
        ({"frequency": ("350", "much")}, "frequency|much"),
    ],
)
def test_faults_are_one_sentence(tmp_path, values, said):
    with pytest.raises(cw.BadInput, match=said) as caught:
        read_form(filled(tmp_path, values), MARK)
    assert len(str(caught.value).splitlines()) == 1


def test_other_files_are_refused(tmp_path):
    with pytest.raises(cw.BadInput, match="is not a file"):
        read_form(tmp_path / "none.csv", MARK)
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(cw.BadInput, match="UTF-8"):
        read_form(tmp_path / "binary.csv", MARK)
    text = form_csv(sheet(), JOB.title, MARK).replace("what,station", "was,station")
    (tmp_path / "headless.csv").write_text(text, encoding="utf-8")
    with pytest.raises(cw.BadInput, match="lost its line of headings"):
        read_form(tmp_path / "headless.csv", MARK)


def test_the_command_writes_a_new_job_and_overwrites_nothing(tmp_path, capsys):
    from coilwright.cli.main import main

    file = tmp_path / "ring.toml"
    file.write_text(JOB.text, encoding="utf-8")
    form = filled(tmp_path, {"q": "53.9"})
    arguments = ["pack", str(file), "--filled", str(form), "--out", str(tmp_path / "out")]
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code in (0, None)
    assert "1 readings under [machine]" in capsys.readouterr().out
    assert baseline(cw.load(tmp_path / "out" / "ring-handed-over.toml")).values["q", 0][0] == 53.9
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 2
    assert "not overwritten" in capsys.readouterr().err
