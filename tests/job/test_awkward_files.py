"""Job files that are wrong on purpose: each gives exactly its sentences, and no other.

The folder tests/awkward_files holds one file per fault, named for it, and `sentences.txt`: a line with the name of the file,
then each sentence, indented, without the file name it begins with; three dots stand for words of the TOML reader.
`valid.toml` is the file they were all made from.
"""

from pathlib import Path

import pytest

from coilwright.errors import BadInput
from coilwright.job import load

FOLDER = Path(__file__).parents[1] / "awkward_files"


def read_sentences():
    found = {}
    stem = ""
    for line in (FOLDER / "sentences.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("    "):
            found[stem].append(line.strip())
        elif line.strip():
            stem = line.strip()
            found[stem] = []
    return found


SENTENCES = read_sentences()


def test_every_file_of_the_folder_is_checked():
    assert {p.stem for p in FOLDER.glob("*.toml")} == {*SENTENCES, "valid"}


def test_the_file_they_were_made_from_is_right():
    assert load(FOLDER / "valid.toml").bodies[0].shape.outer_diameter == 0.009


@pytest.mark.parametrize("stem", sorted(SENTENCES))
def test_sentences(stem):
    with pytest.raises(BadInput) as caught:
        load(FOLDER / f"{stem}.toml")
    received = [str(f) for f in caught.value.faults]
    assert len(received) == len(SENTENCES[stem]), received
    for got, sentence in zip(received, SENTENCES[stem], strict=True):
        begins, dots, ends = f"{stem}.toml: {sentence}".partition(" ... ")
        assert got == begins if not dots else got.startswith(begins) and got.endswith(ends)
    assert caught.value.exit_code == 2
