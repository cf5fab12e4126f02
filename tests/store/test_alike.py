"""Likeness: closed figures of a small set, the order, the reasons, what is asked and what is missing."""

import math

import pytest

from coilwright.errors import BadInput
from coilwright.store.alike import alike
from coilwright.store.records import JobVersion


def version(name, **figures):
    return JobVersion(name, 1, 0.0, "", "", "", figures)


RING = version("getter ring", title="Ring through the glass", mass_kg=1e-3, depths=0.5, winding="helix", power_W=40.0,
               frequency_Hz=4e5, materials=["nickel"])  # fmt: skip
PIN = version("hardened pin", title="Pin", mass_kg=50e-3, depths=8.0, winding="helix", power_W=2e4, materials=["steel"])
DISC = version("disc", title="Disc on a flat coil", mass_kg=0.2, depths=4.0, winding="spiral", power_W=2e3)
ALL = [PIN, RING, DISC]


def test_the_same_is_one_and_twice_is_half():
    assert alike(ALL, {"mass_kg": 1e-3})[0].likeness == 1.0
    assert alike([RING], {"mass_kg": 2e-3})[0].likeness == pytest.approx(0.5)
    assert alike([RING], {"mass_kg": 0.5e-3})[0].likeness == pytest.approx(0.5)
    assert alike([RING], {"depths": 0.5 * math.e})[0].likeness == pytest.approx(math.exp(-1))


def test_the_mean_is_weighted():
    (found,) = alike([RING], {"mass_kg": 2e-3, "frequency_Hz": 4e5, "winding": "helix"})
    assert found.likeness == pytest.approx((1.0 * 0.5 + 0.5 * 1.0 + 1.0) / 2.5)
    assert found.reasons == ("winding helix", "mass 1 g for 2 g", "frequency 400 kHz for 400 kHz")


def test_order_and_reasons():
    found = alike(ALL, {"depths": 5.0, "power_W": 3e3})
    assert [f.version.job for f in found] == ["disc", "hardened pin", "getter ring"]
    assert found[2].likeness < 0.1
    assert found[0].reasons == ("size in skin depths 4 for 5", "power 2 kW for 3 kW")
    assert [f.version.job for f in alike(ALL, {"winding": "helix"})] == ["getter ring", "hardened pin"]
    assert len(alike(ALL, {"winding": "helix"}, most=1)) == 1


def test_words_of_name_title_and_note():
    (found,) = alike(ALL, {}, "Flat disc")
    assert (found.version.job, found.likeness) == ("disc", 1.0)
    assert found.reasons == ("words: disc, flat",)
    assert alike(ALL, {}, "glass bulb")[0].likeness == pytest.approx(0.5)
    assert alike(ALL, {}, "crucible") == []


def test_materials_count_by_what_is_shared():
    (found,) = alike(ALL, {"materials": ["steel", "copper"]})
    assert (found.version.job, found.likeness) == ("hardened pin", pytest.approx(0.5))


def test_a_figure_that_is_not_known_counts_as_unlike():
    (found,) = alike([version("bare", winding="helix")], {"winding": "helix", "mass_kg": 1.0})
    assert found.likeness == pytest.approx(0.5)
    assert "mass not known" in found.reasons


@pytest.mark.parametrize(("wanted", "words"), [({}, ""), ({"mass_kg": None, "winding": ""}, "of a")])
def test_nothing_asked_is_said(wanted, words):
    with pytest.raises(BadInput, match="needs something to look for"):
        alike(ALL, wanted, words)
