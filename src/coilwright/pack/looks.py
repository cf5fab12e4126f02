"""The look of every picture: a workshop drawing on warm paper, one colour for hot, one for current.

Colour maps are perceptually uniform and read in grey and by the colour-blind; lines differ in dash as well as in hue.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any, Final

PAPER: Final = "#fbf8f1"
INK: Final = "#2b2a27"
FAINT: Final = "#a39d90"
HOT: Final = "#b8430f"
CURRENT: Final = "#1d5c78"
GOOD: Final = "#5d7f3f"
COPPER: Final = "#c98a5b"
BODY_FILL: Final = "#ded7c7"
GLASS_FILL: Final = "#dfe9ea"
TEMPERATURE_MAP: Final = "inferno"
POWER_MAP: Final = "viridis"
# Several bodies on one set of axes: distinct lightness first, so that a grey print still tells them apart.
SERIES: Final = ("#b8430f", "#1d5c78", "#5d7f3f", "#7a5a8c", "#8a6d1a", "#2b2a27")
DASHES: Final = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)), (0, (1, 1)))

_STYLE: Final[Any] = {
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titleweight": "bold",
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "grid.color": FAINT,
    "grid.alpha": 0.35,
    "grid.linewidth": 0.6,
    "axes.grid": True,
    "axes.axisbelow": True,
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "legend.frameon": False,
    "lines.linewidth": 1.8,
    "figure.dpi": 110,
    "savefig.dpi": 160,
    "text.parse_math": False,  # a dollar sign in the name of a part is a dollar sign
    "svg.hashsalt": "coilwright",  # the same job gives the same bytes
}


_METADATA: Final[Any] = {".svg": {"Date": None}, ".png": {"Software": None}}
_BOTH: Final[ContextVar[bool]] = ContextVar("both forms", default=False)


@contextmanager
def both_forms() -> Iterator[None]:
    """Every picture saved within is written as PNG and as SVG, whatever ending it was given."""
    before = _BOTH.set(True)
    try:
        yield
    finally:
        _BOTH.reset(before)


@contextmanager
def sheet(width: float = 7.2, height: float = 4.6, **subplots: Any) -> Iterator[tuple[Any, Any]]:
    """A figure and its axes in our style, without a window and without touching the caller's settings."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width, height), layout="constrained")
        FigureCanvasAgg(figure)
        yield figure, figure.subplots(**subplots)


def save(figure: Any, path: Path | str | None) -> Any:
    """Write PNG or SVG by the ending of `path` and return it; without a path return the figure.

    No time stamp is written, so that equal input gives equal bytes.
    """
    if path is None:
        return figure
    path = Path(path)
    for ending in _METADATA if _BOTH.get() else (path.suffix,):
        figure.savefig(path.with_suffix(ending), metadata=_METADATA.get(ending, _METADATA[".png"]))
    return path


def series(n: int) -> dict[str, Any]:
    """Colour and dash of the n-th line on one set of axes."""
    return {"color": SERIES[n % len(SERIES)], "linestyle": DASHES[n % len(DASHES)]}


def colour_table(name: str) -> list[list[int]]:
    """256 colours (red, green, blue, 0 to 255) of one of our maps, for pictures that are coloured elsewhere."""
    from matplotlib import colormaps

    return [[round(255 * c) for c in colormaps[name](k)[:3]] for k in range(256)]
