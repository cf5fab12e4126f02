"""What a place needs in the job file, as an example to write after: every figure invented."""

TANK = """\
[tank]                          # the source decides current and frequency: take both out of [drive]
arrangement = "series"
bank_side = "source"
[tank.transformer]
ratio = 8
source_leakage = "0.1 uH"
coil_leakage = "5 nH"
coil_resistance = "0.5 mohm"
magnetising_inductance = "0.2 mH"

[[capacitor]]
name = "film 0.1 uF"
capacitance = "0.1 uF"
parallel = 2
loss_tangent = 5e-4
rated_voltage = "500 V"
rated_current = "40 A"

[source]
kind = "voltage-fed full bridge"
dc_voltage = "160 V"
phase = "10 deg"                # stays this far above resonance
hold = "coil current"
coil_current = "130 A"
limits = { current = "30 A" }
"""

VARIES = """\
[[varies]]
what = "coil.centre"            # a key of this file, or mains, coil.sideways, coil.tilt
by = "0.3 mm"                   # one standard deviation

[[varies]]
what = "surroundings.temperature"
by = "4 K"
shape = "uniform"               # half the width then
each = "common"                 # all stations share it
"""

SEEK = """\
[seek]
objectives = ["efficiency", "coil kVA"]

[[seek.over]]
what = "coil.mean_diameter"
from = "22 mm"
to = "26 mm"
step = "0.5 mm"

[[seek.over]]
what = "coil.gap"               # from the nearest turn to the part; the centre of the coil follows
from = "1 mm"
to = "3 mm"
step = "0.1 mm"
"""
