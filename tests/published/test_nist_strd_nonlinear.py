"""The fitter against certified values: NIST Statistical Reference Datasets, nonlinear regression (public domain).

The .dat files are NIST's own, unchanged, as carried in the source package of lmfit 1.3.4 (folder NIST_STRD);
certified parameters, their standard deviations and residual sum of squares stand in each file's header.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from coilwright.errors import NotConverged
from coilwright.readings.fit import fit_curve

DATA = Path(__file__).parents[1] / "readings" / "data"


def enso(x, b):
    turn = 2 * np.pi * x
    return (
        b[0]
        + b[1] * np.cos(turn / 12)
        + b[2] * np.sin(turn / 12)
        + b[4] * np.cos(turn / b[3])
        + b[5] * np.sin(turn / b[3])
        + b[7] * np.cos(turn / b[6])
        + b[8] * np.sin(turn / b[6])
    )


MODELS = {
    "Misra1a": lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut2": lambda x, b: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "BoxBOD": lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
    "Rat43": lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "MGH09": lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "Thurber": lambda x, b: (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3),
    "Eckerle4": lambda x, b: (b[0] / b[1]) * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "ENSO": enso,
}


def read(name):
    lines = (DATA / f"{name}.dat").read_text().splitlines()
    table = [re.split(r"\s+", m[1].strip()) for m in (re.match(r"\s*b\d+\s*=\s*(.*)", line) for line in lines) if m]
    start_1, start_2, certified, deviation = np.array(table, dtype=float).T
    rss = next(float(line.split(":")[1]) for line in lines if line.startswith("Residual Sum of Squares"))
    first = max(k for k, line in enumerate(lines) if line.startswith("Data:")) + 1
    y, x = np.array([line.split() for line in lines[first:] if line.strip()], dtype=float).T
    return x, y, (start_1, start_2), certified, deviation, rss


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("which", [0, 1], ids=["far start", "near start"])
def test_certified_parameters_deviations_and_residuals(name, which):
    x, y, starts, certified, deviation, rss = read(name)
    if (name, which) == ("BoxBOD", 0):
        with pytest.raises(
            NotConverged
        ):  # rated higher difficulty: from far away plain Marquardt runs off, and must say so
            fit_curve(MODELS[name], x, y, starts[which])
        return
    found = fit_curve(MODELS[name], x, y, starts[which])
    assert found.values == pytest.approx(certified, rel=1e-6)
    assert found.sigma == pytest.approx(deviation, rel=1e-4)
    assert found.rss == pytest.approx(rss, rel=1e-8)
