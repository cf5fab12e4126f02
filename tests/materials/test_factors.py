"""Factors on whole curves: resistivity and susceptibility, as a job file may give them."""

import numpy as np
import pytest

import coilwright as cw
from coilwright.materials import library


def test_resistivity_factor_lifts_the_whole_curve():
    steel = library().get("stainless steel 304")
    lifted = steel.with_factors(resistivity=1.1)
    kelvin = np.array([300.0, 700.0, 1200.0])
    np.testing.assert_allclose(lifted.resistivity(kelvin), 1.1 * steel.resistivity(kelvin), rtol=1e-12)
    assert "1.1" in str(lifted.resistivity.source)


def test_permeability_factor_scales_the_susceptibility_and_keeps_the_curie_point():
    steel = library().get("medium-carbon steel")
    lifted = steel.with_factors(permeability=0.5)
    kelvin = np.array([300.0, 900.0, 1300.0])
    before, after = (m.magnetic.relative_permeability(kelvin) - 1.0 for m in (steel, lifted))
    np.testing.assert_allclose(after, 0.5 * before, atol=1e-12)
    # what saturates keeps its saturation flux density
    assert lifted.magnetic.saturation.flux_density == steel.magnetic.saturation.flux_density


def test_a_job_file_takes_factors():
    job = cw.loads(cw.template("ring-through-glass"))
    changed = job.with_value("body.ring.overrides.resistivity_factor", 1.2)
    plain, lifted = (cw.field(j, estimate_error=False).result.body_powers["ring"] for j in (job, changed))
    assert lifted != pytest.approx(plain, rel=0.01)
    assert "resistivity_factor = 1.2" in changed.text


def test_an_insulator_has_no_resistivity_to_lift():
    with pytest.raises(cw.BadInput, match="insulator"):
        library().get("soda-lime glass").with_factors(resistivity=1.1)
