"""A small right job file to change in tests."""

from coilwright.job import loads

RING = 'shape = { kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm" }'
HELIX = 'winding = "helix"\nturns = 4\nmean_diameter = "24 mm"\npitch = "5 mm"\ncentre = "12 mm"'
TUBE = 'conductor = { section = "round tube", outside = "4 mm", bore = "2.5 mm", material = "copper" }'
DRIVE = 'frequency = "100 kHz"\ncoil_current = "200 A"\non_time = "8 s"'


def text(shape=RING, coil=HELIX, conductor=TUBE, drive=DRIVE, more=""):
    body = f'[[body]]\nname = "ring"\nmaterial = "stainless steel 304"\n{shape}\n'
    return f"format = 1\n{body}[coil]\n{coil}\n{conductor}\n[drive]\n{drive}\n{more}\n"


def job(**parts):
    return loads(text(**parts))
