"""The build pack as a study: one PDF, drawings, tables, the form of the hand-over."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from coilwright.bench.shown import shown
from coilwright.bench.study_kinds import Report
from coilwright.job import Job
from coilwright.steps.pack import pack


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Write the pack into the folder of the study, and everything once more in one archive."""
    rates = settings.get("rates")
    written = pack(
        job,
        folder,
        date=settings.get("date") or None,
        language=settings.get("language") or None,
        rates=job.folder / rates if rates else None,
        limits=bool(settings.get("limits", True)),
        report=lambda share: report(0.95 * share, "gathering and writing"),
    )
    files = [written.pdf, *written.files]
    archive = folder / "pack.zip"
    with ZipFile(archive, "w", ZIP_DEFLATED) as whole:
        for path in (*files, folder / "job.toml"):
            whole.write(path, path.name)
    missing = [f"not in it: {what}: {why}" for what, why in written.contents.missing.items()]
    verdict = "pass" if written.passed else "the job fails its acceptance"
    return shown(
        f"{verdict}; {len(files)} files",
        lines=missing,
        tables=written.tables,
        pictures=[p for p in written.files if p.suffix == ".svg"],
        cautions=written.contents.cautions,
        files=(archive, *files, folder / "job.toml"),
    )
