"""Loading: the file itself, all faults at once, the Job that comes out."""

import os

import pytest

from coilwright.errors import BadInput
from coilwright.job import load, loads

from .making import job, text


def refused(path):
    with pytest.raises(BadInput) as caught:
        load(path)
    assert len(caught.value.faults) == 1
    return str(caught.value)


def test_a_missing_file(tmp_path):
    path = str(tmp_path / "jbo.toml")
    assert refused(path) == f"{path}: is not there; check the name, or write a new one with: coilwright new {path}"


def test_a_folder(tmp_path):
    assert refused(tmp_path) == f"{tmp_path}: is a folder; name the job file in it, e.g. {tmp_path}/job.toml"


def test_a_name_no_file_can_have():
    assert refused("job\0.toml").startswith("job?.toml: ")
    assert "cannot be read" in refused("x" * 5000)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    assert "is not a plain file" in refused(tmp_path / "pipe.toml")


def test_ten_megabytes_are_refused_before_they_are_parsed(tmp_path):
    big = tmp_path / "job.toml"
    big.write_text("# " + "x" * 10_000_000, encoding="ascii")
    assert (
        refused(big) == "job.toml: is 10.0 MB of text; a job file holds at most 2 MB, so this is probably another file"
    )
    with pytest.raises(BadInput, match=r"is 10\.0 MB of text"):
        loads("#" * 10_000_000)


def test_byte_order_mark_and_carriage_returns_are_read(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text().replace("\n", "\r\n").encode())
    assert load(path) == load(path)
    assert loads("\ufeff" + text()).bodies == load(path).bodies


def test_a_number_written_in_hexadecimal_of_any_length_gives_a_sentence():
    with pytest.raises(BadInput, match=r"coil\.turns: "):
        loads(text().replace("turns = 4", "turns = 0x" + "f" * 8000))


def test_faults_come_in_the_order_of_the_file_and_all_at_once():
    broken = (
        text(more='[[point]]\nname = "p"\nr = "-1 mm"\nz = "0"')
        .replace('"9 mm"', '"9"')
        .replace("turns = 4", "turns = 0")
    )
    with pytest.raises(BadInput) as caught:
        loads(broken, name="getter.toml")
    assert [f.where for f in caught.value.faults] == [
        'getter.toml: body "ring": shape.outer_diameter',
        "getter.toml: coil.turns",
        'getter.toml: point "p": r',
        'getter.toml: point "p": z',
    ]


def test_the_list_of_faults_has_an_end():
    many = text() + "".join(f'[[point]]\nname = "p{k}"\nr = "0"\nz = "0"\n' for k in range(300))
    with pytest.raises(BadInput) as caught:
        loads(many)
    assert len(caught.value.faults) == 101
    assert str(caught.value.faults[-1]) == "job.toml: has more than 100 faults; the first 100 are listed"


def test_too_many_tables():
    many = text() + "".join(f'[[point]]\nname = "p{k}"\nr = "0 mm"\nz = "0 mm"\n' for k in range(501))
    with pytest.raises(BadInput, match="must be at most 500 tables, not 501"):
        loads(many)


def test_later_sections_are_kept_as_they_stand():
    read = job(
        more="[tank]\nx = 1\n[[capacitor]]\ny = 2\n[[varies]]\nz = 3\n[machine]\n[fixture]\n[cooling]\n[source]\n"
    )
    assert set(read.later) == {"tank", "capacitor", "varies", "machine", "fixture", "cooling", "source"}
    assert read.later["capacitor"] == [{"y": 2}]


@pytest.mark.parametrize(
    ("lines", "says"), [("[[tank]]", r"under the heading \[tank\]"), ("[capacitor]", r"\[\[capacitor\]\] in double")]
)
def test_later_sections_need_their_brackets(lines, says):
    with pytest.raises(BadInput, match=says):
        job(more=lines)


def test_round_trip():
    first = job(more='[job]\ntitle = "one"')
    again = loads(first.text)
    assert again == first
    assert again.to_dict() == first.to_dict()
    first.to_dict()["coil"]["turns"] = 99  # a copy: the job stays as it is
    assert first.coil.turns == 4


def test_what_it_looks_like():
    assert repr(job()) == 'Job "job.toml": ring (stainless steel 304, ring); helix of 4 turns at 100 kHz'
    assert job(more='[job]\ntitle = "one"').title == "one"


def test_names_that_are_not_there():
    with pytest.raises(KeyError, match='"rung" is not in the job; known are ring'):
        job().body("rung")
    with pytest.raises(KeyError, match="known are none"):
        job().point("spot")
