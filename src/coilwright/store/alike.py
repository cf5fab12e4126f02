"""Which jobs are like this one: figures compared one by one, the reasons said.

Figures of a job, worked out when it is kept (keys of `JobVersion.figures`):

| key | meaning |
|---|---|
| title | of the job |
| mass_kg | of everything to be heated |
| depths | size of the part in skin depths, hot, of the heaviest part |
| winding | helix, spiral or turns |
| frequency_Hz | of the drive |
| power_W | mean power into the parts |
| materials | names, of the parts to be heated |

A figure counts by its ratio: the same is 1, a factor of e is 0.37. Doubling a mass halves how like it is. That measure is
our own choice, common practice has none.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from coilwright.errors import BadInput
from coilwright.store.records import JobVersion

# What is compared: key, how a person calls it, its weight, its unit in a sentence.
_RATIOS: Final = (
    ("mass_kg", "mass", 1.0),
    ("depths", "size in skin depths", 1.0),
    ("power_W", "power", 1.0),
    ("frequency_Hz", "frequency", 0.5),
)
_WINDING, _MATERIALS, _WORDS = 1.0, 0.5, 1.0  # weights
_SHORT: Final = 3  # letters: shorter words say nothing


@dataclass(frozen=True)
class Like:
    """A kept job that was compared: `likeness` from 0 to 1, and why, the weightiest first."""

    version: JobVersion
    likeness: float
    reasons: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        v = self.version
        return {
            "job": v.job, "version": v.number, "likeness": self.likeness, "reasons": list(self.reasons),
            "figures": dict(v.figures), "note": v.note,
        }  # fmt: skip


def alike(versions: Iterable[JobVersion], wanted: Mapping[str, Any], words: str = "", *, most: int = 10) -> list[Like]:
    """The jobs most like `wanted` (figures as above, any of them) and `words`, the likest first; unlike ones left out.

    Raises BadInput when nothing is asked.
    """
    asked = {k: v for k, v in wanted.items() if v not in (None, "", [], ())}
    titled = _words(words)
    if not asked and not titled:
        raise BadInput("find needs something to look for: a job file, words of a title, --mass, --depths, --power ...")
    found = [like for v in versions if (like := _compare(v, asked, titled)) is not None and like.likeness > 0.05]
    return sorted(found, key=lambda like: (-like.likeness, like.version.job))[:most]


def _compare(version: JobVersion, asked: Mapping[str, Any], titled: frozenset[str]) -> Like | None:
    """Weighted mean over what was asked; a figure that the kept job lacks counts as unlike."""
    parts: list[tuple[float, float, str]] = []
    for key, label, weight in _RATIOS:
        if key in asked:
            parts.append((weight, *_ratio(label, key, asked[key], version.figures.get(key))))
    if "winding" in asked:
        kept = version.figures.get("winding")
        same = kept == asked["winding"]
        parts.append(
            (_WINDING, float(same), f"winding {kept or 'none'}" + ("" if same else f", not {asked['winding']}"))
        )
    if "materials" in asked:
        parts.append((_MATERIALS, *_shared(set(asked["materials"]), set(version.figures.get("materials", ())))))
    if titled:
        there = _words(f"{version.job} {version.figures.get('title', '')} {version.note}")
        hit = {w for w in titled if any(w in t or t in w for t in there)}
        said = f"words: {', '.join(sorted(hit))}" if hit else "none of the words"
        parts.append((_WORDS, len(hit) / len(titled), said))
    if not parts:
        return None
    total = sum(weight for weight, _, _ in parts)
    reasons = [said for weight, value, said in sorted(parts, key=lambda p: -p[0] * p[1])]
    return Like(version, sum(weight * value for weight, value, _ in parts) / total, tuple(reasons))


def _ratio(label: str, key: str, asked: float, kept: float | None) -> tuple[float, str]:
    if not kept or kept <= 0.0:
        return 0.0, f"{label} not known"
    likeness = math.exp(-abs(math.log(kept / asked)))
    return likeness, f"{label} {_amount(key, kept)} for {_amount(key, asked)}"


def _shared(asked: set[str], kept: set[str]) -> tuple[float, str]:
    both = asked & kept
    return (len(both) / len(asked | kept), f"material {', '.join(sorted(both))}") if both else (0.0, "other materials")


def _amount(key: str, value: float) -> str:
    unit = {"mass_kg": "g", "power_W": "W", "frequency_Hz": "Hz"}.get(key, "")
    value *= 1e3 if unit == "g" else 1.0
    for scale, prefix in ((1e6, "M"), (1e3, "k")):
        if unit and value >= scale:
            return f"{value / scale:.3g} {prefix}{unit}"
    return f"{value:.3g} {unit}".rstrip()


def _words(text: str) -> frozenset[str]:
    return frozenset(w for w in re.findall(r"\w+", text.casefold()) if len(w) >= _SHORT)
