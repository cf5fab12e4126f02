"""Read a PDF back: its text page by page, its numbers, and the ledger's entries looked up again by their paths."""

import math
import re
from collections import Counter

import numpy as np

from coilwright.pack.known import known_values
from coilwright.pack.traced import UNITS, Unit
from coilwright.pack.workshop_drawings import not_drawn

NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
SAME = str.maketrans({"−": "-", "\u00a0": " "})


def numbers(text):
    return Counter(NUMBER.findall(text))


def bare(text):
    """Without spaces, line ends and soft hyphens, so that wrapped words compare."""
    return re.sub(r"[\s\u00ad\u00a0]", "", text)


def looked_up(entry, contents, drawings=(), tables=()):
    """What stands at the entry's path now."""
    names = {
        "contents": contents, "drawings": drawings, "tables": tables, "known_values": known_values,
        "not_drawn": not_drawn, "abs": abs, "len": len, "list": list, "max": np.max, "min": np.min,
    }  # fmt: skip
    return eval(entry.path, {"__builtins__": {}}, names)


def agrees(entry, value, mark="."):
    """Whether the printed text is the value at its digits, worked out anew."""
    if entry.unit is None:
        return bare(entry.text) == bare(printed_words(value))
    shape = UNITS.get(entry.unit) or Unit(entry.unit)
    expected = (float(value) - shape.offset) * shape.factor
    text = entry.text.translate(SAME)
    if shape.mark:
        assert text.endswith(shape.mark), entry
        text = text[: -len(shape.mark)]
    shown = float(text.replace(mark, "."))
    if entry.digits < 0:
        step = 10.0**entry.digits
    else:
        step = 10.0 ** (math.floor(math.log10(abs(expected))) - entry.digits + 1) if expected else 0.0
    return abs(shown - expected) <= 0.501 * step + 1e-12 * abs(expected)


def printed_words(value):
    text = "" if value is None else str(value)
    for written, printed in (
        (" degC", "°C"),
        (" uT ", " µT "),
        (" uH", " µH"),
        ("mohm", "mΩ"),
        (" +- ", " ± "),
        ("^2", "²"),
        ("^3", "³"),
    ):
        text = text.replace(written, printed)
    return text
