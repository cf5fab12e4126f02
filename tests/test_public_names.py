"""The public list is short and pinned; importing the package loads neither plotting nor web."""

import subprocess
import sys

import coilwright as cw

NAMES = {
    "BadInput", "CheckResult", "CoilwrightError", "FieldReport", "Finding", "Job", "NotConverged", "PackResult",
    "QuickResult", "SeekResult", "ShotResult", "TankStudy", "TrialResult", "WindowResult", "charge_law", "check", "field",
    "heat", "library", "load", "loads", "open_store", "pack", "quick", "seek", "tank", "template", "trial", "why", "window",
}  # fmt: skip


def test_the_list_is_pinned():
    assert set(cw.__all__) - {"__version__"} == NAMES
    assert len(NAMES) <= 30


def test_every_name_can_be_had():
    for name in NAMES:
        assert getattr(cw, name).__name__ == name


def test_verbs_stay_in_front_of_folders():
    import coilwright.field.solve as solve
    import coilwright.heat.stepper  # noqa: F401

    assert callable(cw.field)
    assert callable(cw.heat)
    assert cw.field.solve is solve
    assert "error" in (cw.field.__doc__ or "")


def test_import_is_light():
    code = "import sys, coilwright; print(sorted(m for m in sys.modules if m.split('.')[0] in %r))"
    heavy = ("matplotlib", "nicegui", "numpy", "scipy", "pydantic", "pint", "typst", "sqlalchemy")
    out = subprocess.run([sys.executable, "-c", code % (heavy,)], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_help_needs_nothing_heavy():
    code = (
        "import sys\nfrom coilwright.cli.main import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numpy', 'pydantic', 'matplotlib', 'rich', 'pint') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip().endswith("[]")


def test_a_verb_holds_linear_algebra_to_one_thread_and_gives_back_what_was_set():
    from threadpoolctl import threadpool_info, threadpool_limits

    from coilwright.threads import on_one_thread

    def counts():
        return {p["num_threads"] for p in threadpool_info() if p["user_api"] == "blas"}

    with threadpool_limits(2, user_api="blas"):
        assert on_one_thread(counts)() == {1}
        assert counts() == {2}
