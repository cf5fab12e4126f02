"""What a page is made of: plain dictionaries that the typesetter turns into paper. Words stay words: nothing is markup."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

Block = dict[str, Any]


def heading(text: str) -> Block:
    return {"kind": "heading", "text": text}


def text(*sentences: str) -> Block:
    return {"kind": "text", "text": " ".join(s for s in sentences if s)}


def small(*sentences: str) -> Block:
    return {"kind": "small", "text": " ".join(s for s in sentences if s)}


def bullets(items: Iterable[str], fine: bool = False) -> Block:
    """A list, in smaller letters when `fine`."""
    return {"kind": "bullets", "items": list(items), "fine": fine}


def pairs(rows: Iterable[tuple[str, str]]) -> Block:
    """Labels and what belongs to them, in two columns."""
    return {"kind": "pairs", "rows": [list(r) for r in rows]}


def table(head: Sequence[str], rows: Iterable[Sequence[str]], left: Sequence[int] = (0,), wide: Sequence[float] = (),
          roomy: bool = False) -> Block:  # fmt: skip
    """A table; columns in `left` are set to the left, the others to the right; `wide` are shares of the width (0: as wide
    as needed); `roomy` rows leave place to write in."""
    body = [list(r) for r in rows]
    align = ["left" if n in left else "right" for n in range(len(head))]
    return {"kind": "table", "head": list(head), "rows": body, "align": align, "wide": list(wide), "roomy": roomy}


def notice(tone: str, title: str, *sentences: str) -> Block:
    """A framed remark; `tone` is good | bad | caution | missing | plain."""
    return {"kind": "notice", "tone": tone, "title": title, "text": [s for s in sentences if s]}


def picture(file: str, alt: str, caption: str = "", width: float = 1.0, height: float = 0.0) -> Block:
    """A picture of the folder; `width` in shares of the page, `height` in mm (0: as it comes)."""
    return {"kind": "picture", "file": file, "alt": alt, "caption": caption, "width": width, "height": height}


def beside(left: Sequence[Block], right: Sequence[Block], share: float = 0.5) -> Block:
    """Two columns; `share` of the width for the left one."""
    return {"kind": "beside", "left": list(left), "right": list(right), "share": share}


def together(*blocks: Block) -> Block:
    """Blocks that stay on one page."""
    return {"kind": "together", "blocks": list(blocks)}


def blanks(labels: Iterable[str]) -> Block:
    """Lines to be filled in by hand."""
    return {"kind": "blanks", "labels": list(labels)}


def sheet(file: str, alt: str, width: float, height: float, margin: float = 0.0) -> Block:
    """A drawing on a page of its own size, mm."""
    return {"kind": "sheet", "file": file, "alt": alt, "width": width, "height": height, "margin": margin}


def page_break() -> Block:
    return {"kind": "break"}


def chapter(number: int, title: str, blocks: Iterable[Block | None]) -> dict[str, Any]:
    """One document of the pack, beginning on its own page. A sentence before a table stays with it."""
    some = [b for b in blocks if b is not None]
    for sentence, following in pairwise(some):
        if sentence["kind"] in ("text", "small") and following["kind"] == "table":
            sentence["leads"] = True
    return {"number": number, "title": title, "blocks": some}
