"""The pack as data for the typesetter: the first page, the seven documents, the running head and foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from coilwright.pack.blocks import Block, bullets, chapter, notice, table, text
from coilwright.pack.card_words import Words
from coilwright.pack.contents import PackContents
from coilwright.pack.documents_card import card
from coilwright.pack.documents_design import acceptance, design
from coilwright.pack.documents_machine import cautions, hand_over, upkeep
from coilwright.pack.documents_offer import offer
from coilwright.pack.documents_workshop import drawing_pages, table_pages
from coilwright.pack.drawing import Drawing
from coilwright.pack.pack_pictures import identity_picture, pack_pictures
from coilwright.pack.tables import Table
from coilwright.pack.traced import Ledger, Traced, value_of
from coilwright.pack.typeset import UNDATED
from coilwright.pack.workshop_drawings import not_drawn

FAILS: Final = "FAILS ITS ACCEPTANCE"
TITLES: Final = (
    "Offer", "Design sheet", "Drawings", "Workshop tables", "Test and hand-over sheet", "Operator's card", "Maintenance card",
)  # fmt: skip
# What a result is called on paper, by its name in the contents.
_CALLED: Final = {
    "tank": "source and tank", "cooling": "water circuit", "window": "tolerance window and yield",
    "machine": "limits and intervals", "price": "price", "quick": "hand calculation",
}  # fmt: skip
_DECIDES: Final = (
    "Written by a computation from the job file named below. It stands beside, and never replaces, the maker's "
    "own risk assessment: "
    "local codes and licensed practice decide, and a qualified person checks before power is applied."
)


@dataclass(frozen=True)
class Pages:
    """`data` for the template, its own `pictures` by file name, `ledger` of every figure, `card` alone for a sheet of its own."""

    data: dict[str, Any]
    pictures: dict[str, str]
    ledger: Ledger
    card_ledger: Ledger

    def with_drawn(self, pictures: Mapping[str, str]) -> dict[str, str]:
        """All pictures by file name, with those of the pack: SVG text by name."""
        return {**self.pictures, **{file_of(name): svg for name, svg in pictures.items()}}


def file_of(picture: str) -> str:
    """File name under which the pages show a picture of the pack."""
    return f"{picture}.svg"


def pages(
    contents: PackContents,
    drawings: Sequence[Drawing],
    tables: Sequence[Table],
    form: str,
) -> Pages:
    """All documents of a pack. They show its `pack_pictures` by name, which may be drawn later: see `Pages.with_drawn`."""
    c, ledger, words = Traced(contents), Ledger(), Words(contents.documents.language)
    own = Ledger(words.decimal_mark)
    files = {name: file_of(name) for name in pack_pictures(contents)}
    pictures = {"identity.svg": identity_picture(contents.title.identity)}
    for n, drawing in enumerate(drawings, 1):
        pictures[f"drawing-{n}.svg"] = drawing.svg()
    bodies = (
        offer(c, ledger), design(c, ledger, files),
        drawing_pages(drawings, not_drawn(contents), ledger), table_pages(tables, ledger),
        hand_over(c, ledger, form), None, upkeep(c, ledger),
    )  # fmt: skip
    shown = [
        {"file": files["position"], "alt": "section of coil and part with the gap to be set", "height": 62.0},
        {"file": files["limits"], "alt": "temperature of a good part through the shot", "height": 42.0},
    ]
    at_machine = card(c, own, words, shown)
    chapters = [
        {"number": n, "title": TITLES[n - 1], "card": at_machine} if body is None else chapter(n, TITLES[n - 1], body)
        for n, body in enumerate(bodies, 1)
    ]
    data = {
        **_frame(c, ledger),
        "front": _front(c, ledger),
        "chapters": chapters,
    }
    return Pages(data, pictures, ledger, own)


def _frame(c: Traced, ledger: Ledger) -> dict[str, Any]:
    """Head, foot and what the file says of itself."""
    title = value_of(c.title)
    day = tuple(int(x) for x in title.date.split("-")) if title.date else UNDATED
    name, digest = ledger.words(c.title.title), ledger.words(c.title.digest)
    number = " · ".join(x for x in (title.number, f"rev. {title.revision}" if title.revision else "", title.date) if x)
    return {
        "title": name,
        "author": title.shop or "coilwright",
        "keywords": ["induction heating", "build pack", digest],
        "day": list(day),
        "lang": "en",
        "failed": not value_of(c.passed),
        "fails": FAILS,
        "head": [name, number or "undated"],
        "foot": f"{ledger.words(c.title.file)} · {digest} · coilwright {ledger.words(c.title.version)}",
        "page-words": ["page", "of"],
        "digest": digest,
    }


def _front(c: Traced, ledger: Ledger) -> dict[str, Any]:
    title = c.title
    lines = [ledger.words(x) for x in (title.customer, title.shop) if value_of(x)]
    return {
        "kind": "Build pack",
        "lines": lines,
        "qr": "QR code with the title and the digest of the job",
        "blocks": [_verdict(c, ledger), acceptance(c, ledger), *_contents(c, ledger), *_warnings(c, ledger), text(_DECIDES)],
        "corner": [
            ["number", ledger.words(title.number)], ["drawn by", ledger.words(title.drawn_by)],
            ["checked by", ledger.words(title.checked_by)], ["revision", ledger.words(title.revision)],
            ["job file", ledger.words(title.file)], ["digest", ledger.words(title.digest)],
            ["date", ledger.words(title.date) if value_of(title.date) else "undated"],
            ["card in", ledger.words(c.documents.language)],
        ],
    }  # fmt: skip


def _verdict(c: Traced, ledger: Ledger) -> Block:
    if value_of(c.passed):
        if not c.shot.verdicts:
            return notice("missing", "Nothing is asked of the part", "The job has no [[accept]].")
        return notice(
            "good",
            "The computed shot meets the acceptance",
            "Margins stand in the table; how sure they are, in the design sheet.",
        )
    failed = [ledger.words(v.said) for v in c.shot.verdicts if not value_of(v.met)]
    return notice("bad", FAILS, "Do not build from this pack. Of the acceptance the computed shot fails:", *failed)


def _contents(c: Traced, ledger: Ledger) -> list[Block]:
    numbers = [(ledger.count(Traced(n, f"{n}")), name) for n, name in enumerate(TITLES, 1)]
    missing = value_of(c.missing)
    blocks = [table(("", "document"), numbers, left=(0, 1), wide=(0, 1))]
    if missing:
        rows = [f"{_CALLED.get(k, k)}: {ledger.words(c.missing[k])}" for k in missing]
        blocks.append(notice("missing", "Not in this pack", *rows))
    return blocks


def _warnings(c: Traced, ledger: Ledger) -> list[Block]:
    return [notice("caution", "Cautions", *cautions(c, ledger)[:4], "All of them stand in the hand-over sheet.")]


__all__ = ["Pages", "bullets", "pages"]
