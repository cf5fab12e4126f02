"""Machines of the line tests, built once."""

from functools import cache

from coilwright.job import loads, template
from coilwright.line.why import machine_board

FIXTURE = '\n[fixture]\nstations = {n}\nspacing = "80 mm"\nfeed = "{feed}"\ncontrol = "{control}"\n'


def ring_job(n=6, feed="series", control="voltage", more=""):
    text = template("ring-through-glass") + FIXTURE.format(n=n, feed=feed, control=control) + more
    return loads(text, "ring.toml").with_value("drive.coil_current", "139 A")


@cache
def board(n=6, feed="series", control="voltage"):
    """The getter-ring fixture with everything predicted."""
    return machine_board(ring_job(n, feed, control))
