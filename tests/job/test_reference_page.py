"""The reference page names every key of every table, and its example of a script runs."""

import re
from pathlib import Path

from coilwright.job import TEMPLATES
from coilwright.job.crosscheck import SECTIONS
from coilwright.job.read import LISTS
from coilwright.job.schema_coil import Coil
from coilwright.job.schema_process import Drive, JobNote, Surroundings

from .test_faults import tables

PAGE = (Path(__file__).parents[2] / "docs" / "job-file.md").read_text(encoding="utf-8")
WORDS = set(re.findall(r"[\w-]+", PAGE))


def test_every_key_and_section_is_on_the_page():
    every = {t for kind in (*LISTS.values(), JobNote, Surroundings, Coil, Drive) for t in tables(kind)}
    keys = {field.alias or name for table in every for name, field in table.model_fields.items()}
    assert not {*keys, *SECTIONS, *TEMPLATES} - WORDS


def test_the_script_on_the_page_runs(tmp_path, monkeypatch, capsys):
    from .making import text

    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(text(), encoding="utf-8")
    script = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)
    exec(script[1], {})
    assert 'coil_power = "1.2 kW"' in capsys.readouterr().out
