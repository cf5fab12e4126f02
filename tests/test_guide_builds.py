"""The guide builds without a warning: no broken link, no page left out of the contents."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_guide_builds(tmp_path):
    command = [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-b", "html", "-d", str(tmp_path / "trees")]
    done = subprocess.run([*command, str(ROOT / "docs"), str(tmp_path / "html")], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "coilwright" in (tmp_path / "html" / "index.html").read_text(encoding="utf-8")
