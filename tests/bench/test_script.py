"""The script of the drawing is checked by the type checker of its language, from the types in its comments."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

import coilwright.bench

SCRIPT = Path(coilwright.bench.__file__).parent / "drawing.js"
CHECKER = "typescript@5.9.3"
STRICT = {
    "strict": True, "noEmit": True, "allowJs": True, "checkJs": True, "target": "es2022", "module": "es2022",
    "lib": ["dom", "dom.iterable", "es2022"], "types": [],
}  # fmt: skip


def checked(folder, text):
    (folder / "drawing.js").write_text(text, encoding="utf-8")
    (folder / "tsconfig.json").write_text(
        json.dumps({"compilerOptions": STRICT, "files": ["drawing.js"]}), encoding="utf-8"
    )
    command = ["npx", "--yes", "--package", CHECKER, "tsc", "-p", str(folder / "tsconfig.json")]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=180)


def test_the_types_of_the_drawing_script_hold(tmp_path):
    if shutil.which("npx") is None:
        if os.environ.get("CI"):
            pytest.fail("npx (nodejs and npm) must be installed where CI=true")
        pytest.skip("npx is not installed (CI installs it)")
    text = SCRIPT.read_text(encoding="utf-8")
    done = checked(tmp_path, text)
    assert done.returncode == 0, done.stdout + done.stderr
    broken = checked(tmp_path, text.replace("this.zoom = 1;", 'this.zoom = "1";', 1))
    assert "drawing.js" in broken.stdout, "a slip in the types must be found"


def test_the_script_asks_no_other_host():
    text = SCRIPT.read_text(encoding="utf-8")
    assert "import" not in text.split("/**", 1)[0]
    assert [line for line in text.splitlines() if "http" in line] == ['const SVG = "http://www.w3.org/2000/svg";']
