"""What the rings leave out of a real coil and its concentrators: said beside every field result."""

from __future__ import annotations

import numpy as np

from coilwright.evidence import Finding
from coilwright.field.helix import helix_excess
from coilwright.job.schema_coil import Helix
from coilwright.section.scene import Scene

# Below this the climb of a helix is lost in the accuracy of any inductance meter.
_WORTH_A_WORD = 1e-3


def scene_findings(scene: Scene) -> tuple[Finding, ...]:
    """Findings that follow from the drawing alone, whatever the field."""
    return (*_helix(scene), *_concentrators(scene))


def _helix(scene: Scene) -> tuple[Finding, ...]:
    coil = scene.job.coil
    if not isinstance(coil, Helix) or coil.pitch is None:
        return ()
    heights = np.array([t.z for t in scene.section.turns])
    weights = np.array([t.weight for t in scene.section.turns])
    distance = 0.25 * (coil.conductor.radial_size + coil.conductor.axial_size)
    excess = helix_excess(0.5 * coil.mean_diameter, coil.pitch, heights, weights, distance)
    if max(abs(excess.inductance), excess.length) < _WORTH_A_WORD:
        return ()
    text = (
        f"the helix is computed as {len(heights)} rings; the climb of the real one, leads left out, changes the empty "
        f"inductance by {100.0 * excess.inductance:+.2g} % and the length of its conductor by {100.0 * excess.length:+.2g} %."
    )
    part = weights.min()
    if part < 1.0:
        text += f" Its last {part:.3g} of a turn counts as a ring with that share of the current; the leads decide the rest."
    advice = "Set the measured inductance of the empty coil beside the computed one."
    return (Finding("helix-as-rings", "note", "coil", text, advice),)


def _concentrators(scene: Scene) -> tuple[Finding, ...]:
    out = []
    for body in scene.section.bodies:
        material = scene.materials[body.name]
        if not material.conducting and not material.magnetic.is_unity:
            text = (
                f'the loss inside "{material.name}" itself is not computed: its permeability is taken as free of loss.'
            )
            advice = "Take its loss from the maker's curve at the computed flux density, and watch its temperature."
            out.append(Finding("concentrator-loss-not-modelled", "note", f'body "{body.name}"', text, advice))
    return tuple(out)
