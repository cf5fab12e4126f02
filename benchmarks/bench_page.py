"""`python -m benchmarks.bench_page`: how long a hand waits while it drags the coil on the page.

A real server and a real browser (chromium on the path). Fifty moves each on the washer with its curve, on the getter ring
in its bulb with a charge that fires, and on a pin that saturates (whose curve waits until the hand rests); every figure is
the time from the move to the painted answer, measured in the browser, with the median of 50 solves in the process beside
it. Asserts that answers came, that they were right, and that the curve followed.
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.bench.server import BROWSER, FLAGS, Server
from tests.heating.jobs import WASHER

import coilwright as cw

MOVES = 50
JOBS = {
    "washer, curve follows": (WASHER.lstrip(), True),
    "getter ring in its bulb, with charge": (cw.template("ring-through-glass"), True),
    "steel pin that saturates": (cw.template("bar-in-coil"), False),
}


@dataclass(frozen=True)
class Waits:
    """Milliseconds from a move to its painted answer; `curve` whether the temperature curve followed."""

    median: float
    late: float
    worst: float
    answers: int
    curve: bool


def drag(text: str, moves: int = MOVES) -> Waits:
    """Drag the second turn of the winding back and forth."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        (Path(folder) / "job.toml").write_text(text, encoding="utf-8")
        server = Server(Path(folder))
        browser = play.chromium.launch(executable_path=BROWSER, args=FLAGS)
        try:
            page = browser.new_page(viewport={"width": 1400, "height": 900})
            page.goto(server.address)
            page.locator(".doing[data-settled=true]").wait_for(timeout=120_000)
            box = page.locator('[data-id="turn:2"] .fill').first.bounding_box()
            if box is None:
                raise RuntimeError("the turn is not on the drawing")
            x, y = box["x"] + 0.1 * box["width"], box["y"] + 0.5 * box["height"]
            figure = page.locator("tr.lead td")
            seen = {figure.inner_text()}
            page.mouse.move(x, y)
            page.mouse.down()
            for step in range(moves + 5):  # the first ones make the meshes
                page.mouse.move(x, y - 8 - 6 * ((step * 7) % 12))
                page.wait_for_timeout(130)
                seen.add(figure.inner_text())
            waits = page.evaluate("document.querySelector('.sheet').sheet.delays")[-moves:]
            curve = "older" not in (page.locator(".chart").first.get_attribute("class") or "")
            page.mouse.up()
        finally:
            browser.close()
            server.stop()
    assert len(seen) > 2  # the figure follows the hand, whatever it comes back to at the end
    late = float(np.quantile(waits, 0.95))
    return Waits(statistics.median(waits), late, max(waits), len(waits), curve)


def main() -> None:
    out = {}
    print(f"load when it began: {os.getloadavg()[0]:.1f}")
    for name, (text, follows) in JOBS.items():
        waits = drag(text)
        assert waits.answers >= MOVES // 2, name
        assert waits.curve or not follows, f"{name}: the curve did not follow"
        out[name] = waits.__dict__
        print(
            f"{name}: median {waits.median:.0f} ms, 95 % {waits.late:.0f} ms, worst {waits.worst:.0f} ms, "
            f"{waits.answers} answers, curve {'followed' if waits.curve else 'waited for rest'} (target 95 % < 100 ms)"
        )
    if "--json" in sys.argv:
        print(json.dumps(out))


if __name__ == "__main__":
    main()
