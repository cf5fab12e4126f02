"""The PDF of a pack read back: every number traced to its result, every word there, fonts and PDF/A as they should be."""

import json
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from html import unescape
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

import coilwright as cw
from coilwright.pack.build import FORM, write_pack
from coilwright.pack.card_words import LANGUAGES, Words
from coilwright.pack.documents import FAILS, TITLES, pages
from coilwright.pack.documents_card import READ_BY_OPERATOR
from coilwright.pack.pack_pictures import drawn
from coilwright.pack.traced import Ledger, Traced, called, pick
from coilwright.pack.typeset import typeset
from coilwright.steps.pack import PackWishes, contents, digest

from .reading_back import agrees, bare, looked_up, numbers, printed_words

EXAMPLES = Path(__file__).parents[2] / "examples"
PAPER = {
    "customer": "#panic() & Söhne *bold* _x_ $y$ <b> @c", "number": "A-17", "revision": "b", "date": "2025-03-31",
    "telephone": "555 0100", "rate": "900 1/h", "handling": "6 s", "measured": ["body.ring.shape.wall"],
    "guessed": ["body.ring.emissivity"], "excluded": ["Travel #strike[x] beyond the works"],
}  # fmt: skip


def job_with_paper(**changes):
    job = cw.loads(cw.template("ring-through-glass"))
    return job.with_values({"documents": PAPER, **changes})


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    rates = tmp_path_factory.mktemp("rates") / "rates.toml"
    rates.write_text(
        'currency = "EUR"\noverhead = 0.15\nprofit = 0.1\n'
        'delivery = "six weeks after the order"\n'
        '[[line]]\nwhat = "tube"\nof = "coil conductor, m"\nunit = "m"\nrate = 14.0\n'
        '[[line]]\nwhat = "trial in the shop"\namount = 8\nunit = "h"\nrate = 60.0\noption = true\n',
        encoding="utf-8",
    )
    return contents(job_with_paper(), PackWishes(rates=rates))


@pytest.fixture(scope="module")
def pack(found, tmp_path_factory):
    return write_pack(found, tmp_path_factory.mktemp("pack"))


@pytest.fixture(scope="module")
def data(pack, found):
    return pages(found, pack.drawings, pack.tables, FORM).data


@pytest.fixture(scope="module")
def pictures(found):
    """Drawn once for tests about words: a test whose words stand in a picture draws that one anew."""
    return drawn(found)


@pytest.fixture(scope="module")
def text(pack):
    return [page.extract_text() for page in PdfReader(pack.pdf).pages]


def digits(text):
    return Counter(c for c in text if c.isdigit())


def without_drawings(pack, text):
    """The other pages; the sheets of drawings hold the digits of their own words, each as often (neighbours run together when
    the text of a drawing is taken out, so whole numbers cannot be compared there)."""
    sheets = [n for n, page in enumerate(text) if "first angle" in page]
    assert len(sheets) == len(pack.drawings)
    for n, drawing in zip(sheets, pack.drawings, strict=True):
        words = "".join(unescape(w) for w in re.findall(r">([^<>]+)</text>", drawing.svg()))
        assert digits(text[n]) == digits(words), drawing.name
    return [(n, page) for n, page in enumerate(text, 1) if n - 1 not in sheets]


def allowed_numbers(pack, data, text):
    """Numbers that may stand in the PDF: booked ones, heads and feet, repeated headings of tables, places."""
    allowed = Counter()
    for entry in pack.entries:
        allowed += numbers(entry.text)
    for n, page in without_drawings(pack, text):
        for line in (*data["head"], data["foot"]):
            allowed += numbers(line)
        allowed += numbers(f"{n} {len(text)}")
        for head in heads(data):
            if all(bare(cell) in bare(page) for cell in head):
                allowed += numbers(" ".join(head))
    for chapter in data["chapters"]:
        allowed += numbers(str(chapter["number"]))
    return allowed


def strange_numbers(pack, data, text):
    """Numbers of the PDF that nobody booked."""
    return numbers("\n".join(page for _, page in without_drawings(pack, text))) - allowed_numbers(pack, data, text)


def heads(data):
    """Headings of all tables, however deep they stand."""
    if isinstance(data, dict):
        if data.get("kind") == "table":
            yield data["head"]
        for value in data.values():
            yield from heads(value)
    elif isinstance(data, list):
        for value in data:
            yield from heads(value)


def stands_in(words, sheets):
    """Whether the words stand on a page, or run from one over to the next."""
    if any(words in sheet for sheet in sheets):
        return True
    halves = [(words[:k], words[k:]) for k in range(1, len(words))]
    return any(a in one and b in two for one, two in pairwise(sheets) for a, b in halves)


def check_traced(pack, found, data):
    text = [page.extract_text() for page in PdfReader(pack.pdf).pages]
    assert not strange_numbers(pack, data, text)
    sheets = [bare(page) for page in text]
    mark = Words(found.documents.language).decimal_mark
    lost = [e.text for e in pack.entries if not stands_in(bare(e.text), sheets)]
    assert not lost
    for entry in pack.entries:
        value = looked_up(entry, found, pack.drawings, pack.tables)
        assert agrees(entry, value, "." if entry.text.count(",") == 0 else mark), (entry, value)


def test_every_number_is_traced_to_its_result(pack, found, data):
    assert len(pack.entries) > 500
    check_traced(pack, found, data)


def test_a_number_typed_by_hand_would_be_found(pack, data, text):
    assert strange_numbers(pack, data, [*text[:-1], text[-1] + " gap 1.2345 mm"]) == Counter({"1.2345": 1})


def test_the_ledger_sees_a_wrong_figure(found):
    c, ledger = Traced(found), Ledger()
    ledger.figure(c.field.result.loaded.inductance, "uH")
    entry = ledger.entries[0]
    assert agrees(entry, found.field.result.loaded.inductance)
    assert not agrees(entry, 1.01 * found.field.result.loaded.inductance)
    assert entry.path == "contents.field.result.loaded.inductance"


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [(0.009, "mm", 4, "9 mm"), (1.2346e-7, "uH", 4, "0.1235 µH"), (123456.0, "", 4, "123500"), (1123.15, "degC", 4, "850 °C"),
     (0.05, "%", 3, "5 %"), (1.3e-9, "%", 2, "0.00000013 %"), (12.5, "", -2, "12.50"), (-3.0, "K", 3, "−3 K"),
     (None, "K", 3, "–")],
)  # fmt: skip
def test_figures_are_printed_plainly(value, unit, digits, text):
    assert Ledger().figure(Traced(value, "x"), unit, digits).replace("\u00a0", " ") == text


def test_figures_take_the_decimal_mark_of_a_language():
    assert Ledger(",").figure(Traced(1.5e-3, "x"), "mm") == "1,5\u00a0mm"


def test_paths_say_where_a_value_came_from(found):
    c = Traced(found)
    largest = pick("max", c.shot.trace.coil.current)
    assert repr(largest) == "Traced(max(contents.shot.trace.coil.current))"
    said = repr(called(c.check.scene.temperature_range, c.job.bodies[0].name))
    assert said.endswith("temperature_range(contents.job.bodies[0].name))")


def test_all_seven_documents_are_there(text):
    joined = "\n".join(text)
    for n, title in enumerate(TITLES, 1):
        assert title in joined
        assert n == 6 or re.search(rf"{n}\s+{title}", joined)


def test_names_are_shown_as_written_never_read_as_markup(text):
    assert "#panic() & Söhne *bold* _x_ $y$ <b> @c" in text[0]
    assert "Travel #strike[x] beyond the works" in "\n".join(text)


def test_what_is_told_measured_and_guessed_is_marked(text):
    offer = "\n".join(text[1:4])
    assert re.search(r"body\.ring\.shape\.wall\s+0\.3 mm\s+measured", offer)
    assert re.search(r"body\.ring\.emissivity\s+0\.6\s+guessed", offer)
    assert re.search(r"body\.ring\.shape\.height\s+1\.8 mm\s+told", offer)
    assert re.search(r"body\.bulb\.emissivity\s+from the library, soda-lime glass\s+usual", offer)


def test_the_rate_asked_for_is_judged(found, text):
    # one station, 8 s of shot and 6 s of handling: 257 an hour, 900 asked
    assert found.cycle.per_second * 3600 == pytest.approx(3600 / 14.0)
    assert "NOT met" in text[1]


def test_missing_sections_are_named(found, text):
    assert set(found.missing) == {"tank", "window"}
    for reason in found.missing.values():
        assert bare(printed_words(reason)) in bare(text[0])
    assert "No forecast of yield" in "\n".join(text)


def test_pdf_a_and_fonts(pack):
    reader = PdfReader(pack.pdf)
    xmp = reader.xmp_metadata.stream.get_data().decode("utf-8")
    assert re.search(r"<pdfaid:part>2</pdfaid:part>", xmp)
    assert re.search(r"<pdfaid:conformance>B</pdfaid:conformance>", xmp)
    root = reader.trailer["/Root"]
    intent = root["/OutputIntents"][0].get_object()
    assert intent["/S"] == "/GTS_PDFA1"
    assert intent["/DestOutputProfile"].get_object().get_data()[36:40] == b"acsp"  # an ICC profile
    assert "/OpenAction" not in root
    assert "/JavaScript" not in root.get("/Names", {})
    fonts = 0
    for page in reader.pages:
        for font in page.get("/Resources", {}).get("/Font", {}).values():
            descendant = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = descendant["/FontDescriptor"].get_object()
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor), font
            fonts += 1
    assert fonts
    assert reader.metadata["/CreationDate"].startswith("D:20250331")


def test_the_same_job_gives_the_same_bytes_in_another_process(pack, tmp_path):
    """Another process with other hashes, and the clock of a later second."""
    code = (
        "import sys, coilwright as cw; job = cw.loads(sys.stdin.read());"
        "print(cw.pack(job, sys.argv[1], limits=False).pdf)"
    )
    text = job_with_paper().text
    here = cw.pack(cw.loads(text), tmp_path / "here", limits=False)
    subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "there")], input=text, text=True, check=True, capture_output=True
    )
    names = sorted(p.name for p in (tmp_path / "here").iterdir())
    assert names == sorted(p.name for p in (tmp_path / "there").iterdir())
    for name in names:
        assert (tmp_path / "here" / name).read_bytes() == (tmp_path / "there" / name).read_bytes(), name
    assert here.pdf.read_bytes() != pack.pdf.read_bytes()


def test_a_failing_job_says_so_everywhere_and_ends_with_one(tmp_path, capsys):
    from coilwright.cli.main import main

    file = tmp_path / "weak.toml"
    file.write_text(
        job_with_paper(**{"drive.coil_current": "105 A", "documents.language": "de"}).text, encoding="utf-8"
    )
    with pytest.raises(SystemExit) as left:
        main(["pack", str(file), "--out", str(tmp_path / "out"), "--no-limits", "--json"])
    assert left.value.code == 1
    said = json.loads(capsys.readouterr().out)
    assert said["verdict"] == "fail"
    assert said["missing"]["machine"] == "limits were not asked for (--no-limits)"
    text = [page.extract_text() for page in PdfReader(said["pdf"]).pages]
    assert text[0].count(FAILS) == 3  # head, notice, and across the page
    assert "Do not build from this pack" in text[0]
    drawn = [t for t in text if "first angle" in t]
    for page in text:
        assert FAILS in page or page in drawn or Words("de")["not_released"] in page


def test_a_ring_heated_through_its_pins_names_what_it_lacks(tmp_path):
    text = """format = 1
[job]
title = "Pin ring"
[[body]]
name = "ring"
material = "stainless steel 304"
shape = { kind = "ring", outer_diameter = "9 mm", inner_diameter = "7 mm", height = "0.6 mm" }
[drive]
frequency = "100 kHz"
on_time = "1 s"
through = { body = "ring", current = "20 A" }
"""
    written = cw.pack(cw.loads(text), tmp_path, limits=False)
    said = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(written.pdf).pages)
    assert written.passed
    for words in (
        "No acceptance test",
        "No work coil",
        "Nothing is asked of the part",
        "No drawings",
        "No price",
        "No window",
    ):
        assert words in said, words
    assert "setting gauge slides" not in said
    assert not (tmp_path / FORM).exists()


def test_letters_no_font_holds_do_not_stop_the_pack(found, pictures, tmp_path):
    title = replace(found.title, title="日本 ring Łódź Ω")
    made = pages(replace(found, title=title), (), (), FORM)
    pdf = typeset(made.data, made.with_drawn(pictures), tmp_path / "x.pdf")
    assert "?? ring Łódź Ω" in PdfReader(pdf).pages[0].extract_text()


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_card_is_one_side_in_every_language(found, pictures, tmp_path, language):
    paper = found.documents.model_copy(update={"language": language})
    said = replace(found, documents=paper)
    made, position = pages(said, (), (), FORM), drawn(said, ["position"])
    only = {**made.data, "chapters": [c for c in made.data["chapters"] if "card" in c]}
    reader = PdfReader(typeset(only, made.with_drawn(pictures | position), tmp_path / "card.pdf"))
    assert len(reader.pages) == 2  # the first page and the card
    text = bare(reader.pages[1].extract_text())
    words = Words(language)
    for key in (
        "title",
        "settings",
        "before",
        "limits",
        "passed",
        "never",
        "cautions",
        "at_red",
        "never_dial",
        "native_check",
    ):
        assert bare(words[key]) in text, key
    assert bare(words.hazard("who decides")) in text
    assert "5550100" in text
    assert ("1,16mm" if language != "en" else "1.16mm") in text


def test_the_tables_of_words_hold_the_same_keys():
    english = Words("en").keys()
    assert len(english) > 60
    for language in LANGUAGES:
        words = Words(language)
        assert words.keys() == english, language
        assert "{distance}" in words["keep_away"]
        blank = [k for k in english - {("card", "native_check")} if not words.look(*k).strip()]
        assert not blank
        assert bool(words["native_check"]) == (language != "en")


def test_every_hazard_and_reading_has_its_words():
    from coilwright.line.machine import READINGS
    from coilwright.safety.cautions import Facts, cautions
    from coilwright.safety.stored import Store

    facts = Facts(
        350e3,
        70.0,
        600.0,
        (Store("the tank capacitors", 1e-6, 800.0),),
        (),
        True,
        300.0,
        1700.0,
        True,
        True,
        True,
        True,
    )
    said = {c.hazard for c in cautions(facts)} | {"magnetic field"}
    assert len(said) == 16
    for language in LANGUAGES:
        for hazard in said:
            assert Words(language).hazard(hazard)
        for reading in READ_BY_OPERATOR:
            assert reading in READINGS
            assert Words(language).reading(reading)
    with pytest.raises(KeyError, match=r"words/de\.toml has no \[card\] nonsense"):
        Words("de")["nonsense"]


def test_the_acceptance_row_is_worded_with_what_it_proves(found, text):
    # Hanley & Lippman-Hand, JAMA 249 (1983) 1743: 0 bad of n excludes about 3/n; exactly 59 for 5 % at 95 %
    assert found.test.parts == 59
    assert found.test.proven == pytest.approx(1 - 0.05 ** (1 / 59))
    assert found.test.chance_wrong == pytest.approx(0.95**59)
    assert "when 59 parts" in "\n".join(text).replace("\n", " ")


def test_the_qr_code_and_the_digest_name_the_job(found, text):
    assert found.title.digest == digest(job_with_paper())
    assert found.title.digest in text[0]
    assert digest(job_with_paper(**{"drive.coil_current": "133 A"})) != found.title.digest
    assert digest(job_with_paper(**{"documents.number": "B-1"})) == found.title.digest


def test_dates_and_languages_are_checked():
    job = cw.loads(cw.template("ring-through-glass"))
    with pytest.raises(cw.BadInput, match='must be a day written as "2025-03-31"'):
        contents(job, PackWishes(date="31.3.2025"))
    with pytest.raises(cw.BadInput, match=r"documents\.language"):
        contents(job, PackWishes(language="tlh"))


def test_options_terms_and_effects_stand_in_the_offer(found, pack, text):
    offer = " ".join(text[1:6]).replace("\n", " ")
    assert "option, not in the total" in offer and "Delivery six weeks after the order." in offer
    assert "Not in the file of rates, to be agreed: valid for, payment." in offer
    for effect in found.machine.effects:
        assert effect.what in offer
    by_power = {e.path: e.text for e in pack.entries if ".effects[" in e.path and e.path.endswith(".power")}
    assert len(by_power) == len(found.machine.effects) and all(t[0] in "+−0" for t in by_power.values())


EVERY = [
    pytest.param(f"{p.parent.name}/{p.name}", marks=pytest.mark.slow)
    for p in sorted(EXAMPLES.glob("*/*.toml"))
    if "[job]" in p.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", EVERY)
def test_every_example_is_traced(name, tmp_path):
    saturating = name.startswith("hardened-pin")  # its shots take half a minute each
    found = contents(cw.load(EXAMPLES / name), PackWishes(language="fr", limits=not saturating))
    written = write_pack(found, tmp_path)
    check_traced(written, found, pages(found, written.drawings, written.tables, FORM).data)
