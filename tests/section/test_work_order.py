"""The order of work: figures are those of the winding, hot and pressure work carry their cautions."""

import pytest

from coilwright.job.schema_workshop import Workshop
from coilwright.section.winding import wind
from coilwright.section.work_order import winding_steps

from .test_winding import LEADS, LISTED, SPIRAL, helix, job


@pytest.mark.parametrize("coil", [helix(3), SPIRAL, LISTED], ids=["helix", "spiral", "listed"])
def test_steps_carry_the_figures(coil):
    made = job(coil + LEADS).coil
    winding = wind(made, bend_radius=9e-3)
    steps = winding_steps(made, winding, Workshop())
    words = " ".join(steps)
    assert (
        f"Cut the tube to {winding.length * 1e3 + 30:.0f} mm" in words
        and f"{len(winding.bends)} bends, centre line R9 mm" in words
    )
    for caution in ("Never heat a plugged tube", "Not with air", "fire watch"):
        assert caution in words
    assert steps[-2].startswith("Measure L and R")


def test_mandrel_of_a_helix_is_named():
    made = job(helix(3)).coil
    words = " ".join(winding_steps(made, wind(made, bend_radius=9e-3), Workshop()))
    assert "mandrel of 42.96 mm" in words and "44.00 mm inside" in words  # 50 mean, 6 tube, and what it springs
    assert "Bend the leads" not in words
