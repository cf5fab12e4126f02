"""Small invented jobs as texts, for tests of the coupled shot."""

from coilwright.job import loads

WASHER = """
format = 1
[job]
title = "washer in front of a coil"
[surroundings]
temperature = "20 degC"
convection = "0 W/m^2/K"
[[material]]
name = "washer steel"
source = "invented"
relative_permeability = 1
thermal_conductivity = { at = ["20 degC", "900 degC"], is = ["16 W/m/K", "26 W/m/K"] }
specific_heat = { at = ["20 degC", "900 degC"], is = ["500 J/kg/K", "620 J/kg/K"] }
density = "7900 kg/m^3"
emissivity = 0.35
[material.resistivity]
at = ["20 degC", "240 degC", "460 degC", "680 degC", "900 degC"]
is = ["0.72 uohm m", "0.8506 uohm m", "0.9575 uohm m", "1.0406 uohm m", "1.10 uohm m"]
[[body]]
name = "washer"
role = "work"
material = "washer steel"
shape = { kind = "ring", outer_diameter = "9 mm", inner_diameter = "5 mm", height = "0.6 mm" }
centre = "3 mm"
space = "vacuum"
[coil]
winding = "helix"
turns = 4
mean_diameter = "24 mm"
pitch = "5 mm"
centre = "-7.5 mm"
[coil.conductor]
section = "round tube"
outside = "4 mm"
bore = "2.5 mm"
material = "copper"
overrides = { resistivity = "17.24137931034483 nohm m" }
[drive]
frequency = "100 kHz"
coil_current = "230.1 A"
on_time = "5 s"
[[accept]]
body = "washer"
reaches = "850 degC"
at = "mean"
within = "5.5 s"
"""

CHARGE = '[[accept]]\nbody = "washer"\ncharge_fired = 0.95\n'


def washer(**changes):
    """The washer job with values changed; keys with double underscores for dots."""
    job = loads(WASHER, "washer.toml")
    return job.with_values({k.replace("__", "."): v for k, v in changes.items()}) if changes else job


def charged_washer(heat="60 J/g", mass="15 mg", **changes):
    """The washer with an exothermic charge that must fire."""
    text = WASHER.replace('space = "vacuum"', f'space = "vacuum"\ncharge = {{ mass = "{mass}", heat = "{heat}" }}')
    job = loads(text + CHARGE, "washer.toml")
    return job.with_values({k.replace("__", "."): v for k, v in changes.items()}) if changes else job
