"""A mesh that is its own image half-way up it is seen to be, and no other."""

import numpy as np
import pytest

from coilwright.section.blocks import rectangle
from coilwright.section.mesh import union
from coilwright.section.mirror import mirror_of


def test_a_mesh_mirrors_itself_or_not():
    even = rectangle(np.linspace(0.0, 0.01, 5), 0.2 + np.linspace(-0.015, 0.015, 10), "bar")
    mirror = mirror_of(even)
    r, z = even.points.T
    assert z[mirror.nodes] == pytest.approx(0.4 - z, abs=1e-9)
    assert np.array_equal(r[mirror.nodes], r)
    assert mirror.difference(even.gauss.r) < 1e-12
    assert mirror.mean(even.gauss.z) == pytest.approx(0.2, abs=1e-9)
    skewed = rectangle(np.linspace(0.0, 0.01, 4), np.array([0.0, 1e-3, 3e-3, 7e-3]), "bar")
    assert mirror_of(skewed) is None


def test_two_bodies_that_mirror_each_other_are_no_pair():
    """Each is a region of its own, whose temperature and loop voltage are its own."""
    both = union([rectangle(np.linspace(5e-3, 0.01, 3), z + np.linspace(-2e-3, 2e-3, 3), name)
                  for name, z in (("low", -0.01), ("high", 0.01))])  # fmt: skip
    assert mirror_of(both) is None


def test_bodies_that_touch_without_sharing_nodes_are_no_pair():
    """Two nodes stand at one place there, and which of them images which cannot be told from the place."""
    both = union([rectangle(np.array(r), np.linspace(-2e-3, 2e-3, 5), name)
                  for name, r in (("inner", [5e-3, 8e-3]), ("outer", [8e-3, 0.01]))])  # fmt: skip
    assert len(both.points) == 2 * 3 * 9 and mirror_of(both) is None
