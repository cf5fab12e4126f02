"""Jobs and made-up traces of the trial tests. All data are invented."""

import numpy as np

from coilwright.job import loads
from coilwright.readings.records import Temperatures
from coilwright.trials.runs import run
from coilwright.trials.sheet import blank_sheet

# A plain ring in air: no charge, no glass, cheap to shoot.
RING = """
format = 1
[job]
title = "Plain ring"                    # INVENTED
[surroundings]
temperature = "20 degC"
convection = "12 W/m^2/K"
[[body]]
name = "ring"
material = "stainless steel 304"
shape = { kind = "ring", outer_diameter = "20 mm", inner_diameter = "14 mm", height = "3 mm" }
emissivity = 0.6                        # oxidised in the last trial
support = { conductance = "5 mW/K" }
[coil]
winding = "helix"
turns = 3
mean_diameter = "30 mm"
pitch = "6 mm"
centre = "0 mm"
conductor = { section = "round tube", outside = "4 mm", bore = "2.5 mm", material = "copper" }
[drive]
frequency = "100 kHz"
coil_current = "150 A"                  # by the dial
on_time = "6 s"
[[accept]]
body = "ring"
reaches = "500 degC"
within = "6 s"
"""


def ring_job():
    return loads(RING, "ring.toml")


def coloured(rng, n, sigma, memory):
    """Noise of a slow logger: each sample remembers the last one."""
    out = sigma * rng.standard_normal(n)
    for k in range(1, n):
        out[k] = memory * out[k - 1] + np.sqrt(1.0 - memory**2) * out[k]
    return out


def trace_of_job(job, rng, *, until=20.0, step=0.1, start=1.0, noise=1.0, memory=0.0, error=0.0, level="coarse"):
    """A trace as a thermocouple on the ring would give it; `error` K off at the top, power on at `start` s."""
    time = np.arange(0.0, until, step)
    shot = run(job, until, level)
    kelvin = np.interp(time - start, shot.time, shot.places["ring"])
    kelvin = kelvin + error * (kelvin - kelvin[0]) / (kelvin.max() - kelvin[0])
    return Temperatures(time, {"TC": kelvin + coloured(rng, len(time), noise, memory)}, "trace.csv")


def sheet():
    return blank_sheet("T-1")
