"""Which further trial would tell most: the posterior after data not yet taken, from the sensitivities of the model.

With normal uncertainties the posterior covariance does not depend on what will be read, only on what the reading depends
on: C' = (C^-1 + J^T J / sigma^2)^-1 (textbook linear Bayes; D. V. Lindley's expected information is half the logarithm of
the ratio of the determinants).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.section.quad9 import Array


@dataclass(frozen=True, eq=False)
class Candidate:
    """Something that could be measured: derivatives (n, p) of its readings and their noise (n,). `own` (n, k): derivatives
    by quantities that belong to this measurement alone, standard normal beforehand (its own moment of power on)."""

    what: str
    jacobian: Array
    sigma: Array
    own: Array | None = None


@dataclass(frozen=True)
class Further:
    """`bits` the candidate is expected to tell about the job's unknowns; `left`: posterior sigma after over before, by
    unknown; `best`: the unknown it helps most."""

    what: str
    bits: float
    left: dict[str, float]
    best: str


def further(
    covariance: Array, names: Sequence[str], candidates: Sequence[Candidate], least_bits: float = 0.05
) -> tuple[Further, ...]:
    """Candidates by expected information, most first; those that tell less than `least_bits` are left out.

    `covariance` (p, p) of all unknowns now; only the first len(names) count (the others are nuisances).
    """
    k = len(names)
    before = covariance[:k, :k]
    out = []
    for c in candidates:
        after = reduced(covariance, c)[:k, :k]
        bits = float(0.5 * (np.linalg.slogdet(before)[1] - np.linalg.slogdet(after)[1]) / np.log(2.0))
        ratio = np.sqrt(np.diag(after) / np.diag(before))
        left = {n: float(r) for n, r in zip(names, ratio, strict=True)}
        out.append(Further(c.what, bits, left, names[int(np.argmin(ratio))]))
    return tuple(sorted((f for f in out if f.bits >= least_bits), key=lambda f: -f.bits))


def reduced(covariance: Array, candidate: Candidate) -> Array:
    """Covariance (p, p) of the unknowns once the candidate has been measured."""
    p = len(covariance)
    rows, own = candidate.jacobian, candidate.own
    extra = 0 if own is None else own.shape[1]
    information = np.eye(p + extra)
    information[:p, :p] = np.linalg.inv(covariance)
    full = rows if own is None else np.concatenate([rows, own], axis=1)
    weighted = full / candidate.sigma[:, None]
    return np.asarray(np.linalg.inv(information + weighted.T @ weighted)[:p, :p])
