"""A small job that a search can shoot hundreds of times: a steel washer over a pancake-like coil of two turns, invented."""

from coilwright.job import loads

WASHER = """
format = 1
[job]
title = "washer"   # kept
[[body]]
name = "washer"
role = "work"
material = "stainless steel 304"
shape = { kind = "ring", outer_diameter = "20 mm", inner_diameter = "12 mm", height = "1 mm" }
overrides = { resistivity = "0.72 uohm m", relative_permeability = 1 }
[coil]
winding = "helix"
turns = 2
mean_diameter = "20 mm"
pitch = "6 mm"      # to be wound tight
centre = "-8 mm"    # below the washer
conductor = { section = "round wire", diameter = "4 mm", overrides = { resistivity = "17 nohm m" } }
[drive]
frequency = "40 kHz"
coil_current = "400 A"
on_time = "3 s"
[[accept]]
body = "washer"
reaches = "200 degC"
within = "2.5 s"
"""

SEEK = """
[seek]
objectives = ["time", "coil kVA"]
evaluations = 36
[[seek.over]]
what = "coil.turns"
among = [1, 2, 3]
[[seek.over]]
what = "drive.coil_current"
from = "280 A"
to = "700 A"
step = "84 A"
"""


def washer(more: str = SEEK, *changes: tuple[str, str], folder=None):
    """The job with a [seek] (or other text) behind it, and parts of its text exchanged."""
    text = WASHER + more
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return loads(text, folder=folder)
