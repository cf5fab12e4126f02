"""[[varies]]: what it takes, what it refuses, and that its draws are what they say."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.window.margins import Runner
from coilwright.window.quantities import quantities
from tests.window.jobs import ring_job


def varied(table):
    return quantities(ring_job(2, "60 mm", "\n[[varies]]\n" + table + "\n"))[0]


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ('what = "coil.center"\nby = "0.1 mm"', r'varies "coil.center": is not a quantity.*did you mean "coil.centre"'),
        ('what = "coil.centre"\nby = "-0.1 mm"', "must be a width above zero"),
        ('what = "coil.centre"\nby = "0 mm"', "must be a width above zero"),
        ('what = "coil.centre"\nby = "0.1 kg"', "is not a length"),
        ('what = "coil.centre"\nby = 0.1', "must be a text in quotes"),
        ('what = "coil.centre"', "by: is missing"),
        ('what = "coil.centre"\nby = "1 mm"\nshape = "gaussian"', 'must be one of "normal"'),
        ('what = "coil.sideways"\nby = "3 %"', "of a nominal value of zero"),
        ('what = "mains"\nby = "1 %"\neach = "station"', 'write each = "common"'),
        ('what = "body.ring.material"\nby = "1 mm"', "must name a value with a unit or a number"),
        ('what = "coil.centre"\nshape = "sample"\nvalues = ["16 mm"]', "at least 2 measured values"),
        ('what = "coil.centre"\nshape = "sample"\nvalues = ["16 mm", "16 mm"]', "must differ"),
        ('what = "body.ring.shape.wall"\nby = "0.4 mm"', r"cannot be -0.1 mm, which the width allows"),
        ('what = "body.ring.overrides.resistivity"\nby = "5 %"', "give its value with about"),
    ],
)
def test_refusals_name_the_quantity(table, sentence):
    with pytest.raises(BadInput, match=sentence):
        varied(table)


def test_two_tables_of_one_quantity():
    twice = '\n[[varies]]\nwhat = "coil.centre"\nby = "1 mm"\n' * 2
    with pytest.raises(BadInput, match="stands twice"):
        quantities(ring_job(2, "60 mm", twice))


def test_a_draw_that_collides_is_named():
    job = ring_job(2, "60 mm", '\n[[varies]]\nwhat = "coil.centre"\nby = "0.5 mm"\n')
    runner = Runner(job, quantities(job), "current", 100.0, 350e3)
    with pytest.raises(
        BadInput, match=r"the draw with coil.centre = 14.5 mm cannot be built: .*bulb.*narrow the width"
    ):
        runner.run({"coil.centre": 14.5e-3})


@pytest.mark.parametrize(
    ("table", "mean", "sigma"),
    [
        ('what = "coil.centre"\nby = "0.15 mm"', 16.25e-3, 0.15e-3),
        ('what = "coil.centre"\nby = "2 %"\nshape = "uniform"', 16.25e-3, 0.325e-3 / math.sqrt(3)),
        ('what = "coil.centre"\nby = "1 mm"\nshape = "one-sided"', 16.75e-3, 1e-3 / math.sqrt(12)),
        ('what = "coil.centre"\nby = "-1 mm"\nshape = "one-sided"', 15.75e-3, 1e-3 / math.sqrt(12)),
        ('what = "surroundings.temperature"\nby = "3 K"\neach = "common"', 293.15, 3.0),
        ('what = "body.ring.overrides.resistivity"\nabout = "0.72 uohm m"\nby = "5 %"', 0.72e-6, 0.036e-6),
        ('what = "coil.tilt"\nby = "2 deg"', 0.0, math.radians(2.0)),
    ],
)
def test_draws_have_the_moments_they_should(table, mean, sigma):
    q = varied(table)
    x = q.ppf((np.arange(100_000) + 0.5) / 100_000)
    assert x.mean() == pytest.approx(mean, abs=1e-3 * sigma)
    assert x.std() == pytest.approx(sigma, rel=1e-3) and q.sigma == pytest.approx(sigma, rel=1e-9)
    assert q.range[0] <= np.quantile(x, 1e-4) and q.range[1] >= np.quantile(x, 1 - 1e-4)


def test_a_sample_is_drawn_as_measured():
    q = varied('what = "coil.centre"\nshape = "sample"\nvalues = ["16.0 mm", "16.2 mm", "16.3 mm", "16.7 mm"]')
    assert q.ppf(np.array([0.0, 1.0])) == pytest.approx([16.0e-3, 16.7e-3])
    assert q.ppf(1.0 / 3.0) == pytest.approx(16.2e-3)
