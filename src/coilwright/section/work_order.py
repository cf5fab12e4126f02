"""The steps of winding a coil in the order they are done, in words; figures come from the winding and its bends.

What is said is common practice of the trade, no source, unless a step names one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from coilwright.job.schema_workshop import Workshop
from coilwright.section.forming import mandrel_diameter
from coilwright.section.winding import Winding

TEST_PRESSURE: Final = 10e5  # Pa, water; common practice, no source
TEST_TIME: Final = 600.0  # s
_MM: Final = 1e3


def winding_steps(coil: Any, winding: Winding, workshop: Workshop) -> tuple[str, ...]:
    """One sentence or two per step."""
    tube = "tube" in coil.conductor.section
    before = _tube_before(winding, workshop) if tube else _solid_before(coil, winding, workshop)
    after = _tube_after() if tube else _solid_after(coil)
    return (*before, *_wind(coil, winding), *_leads(winding), *after, *_finish())


def _tube_before(winding: Winding, shop: Workshop) -> Iterator[str]:
    yield (
        f"Cut the tube to {(winding.length + shop.cut_allowance) * _MM:.0f} mm (developed length {winding.length * _MM:.1f} mm "
        "and the allowance). Deburr both ends inside and out; blow through."
    )
    yield "Anneal: dull red all along, about 600 °C, then quench in water. Hot work: tongs, eye protection, fire watch."
    yield (
        "Fill against collapse: dry fine sand tamped tight and both ends plugged, or a low-melting bending alloy after oiling "
        "the bore. Never heat a plugged tube: damp sand bursts it."
    )


def _solid_before(coil: Any, winding: Winding, shop: Workshop) -> Iterator[str]:
    yield (
        f"Cut the conductor to {(winding.length + shop.cut_allowance) * _MM:.0f} mm (developed length "
        f"{winding.length * _MM:.1f} mm and the allowance)."
    )
    if coil.conductor.section == "litz":
        yield "Bind both ends before cutting, so that no strand slips. Do not kink the bundle and do not flatten it."
    else:
        yield "Anneal if it has been worked; the insulation goes on afterwards. Hot work: tongs, eye protection, fire watch."


def _wind(coil: Any, winding: Winding) -> Iterator[str]:
    hand = "right-hand" if winding.hand == "right" else "left-hand"
    if winding.kind == "helix":
        mandrel = mandrel_diameter(coil.conductor, coil.mean_diameter) * _MM
        pitch = f", pitch {coil.pitch * _MM:g} mm" if coil.pitch else ""
        yield (
            f"Mark the middle of the cut length. Wind {winding.turns:g} turns {hand} on a mandrel of {mandrel:.2f} mm{pitch}, "
            "tight and without stopping within a turn."
        )
        inside = (coil.mean_diameter - coil.conductor.radial_size) * _MM
        yield f"Let go and measure: {inside:.2f} mm inside. If too far off, correct the mandrel by the difference and wind anew."
    elif winding.kind == "spiral":
        turn = "counter-clockwise" if winding.hand == "right" else "clockwise"
        yield (
            f"Lay the spiral on a plate from the inside outwards, {winding.turns:g} turns {turn} seen from above, centre lines "
            f"{coil.radial_pitch * _MM:.2f} mm apart, strips of that pitch less the conductor between the turns."
        )
    else:
        yield f"Form the {winding.turns:g} turns one after the other on mandrels of their own, {hand}, places as drawn."
        yield "Form the crossings between neighbouring turns last; keep their bends as wide as the lead bends."


def _leads(winding: Winding) -> Iterator[str]:
    if winding.bends:
        tightest = min(b.radius or 0.0 for b in winding.bends) * _MM
        yield (
            f"Bend the leads: {len(winding.bends)} bends, centre line R{tightest:g} mm, angles as drawn; keep the pair close and "
            "parallel, for leads apart cost voltage."
        )


def _tube_after() -> Iterator[str]:
    yield "Empty the filling, flush both ways, and pass a ball of 0.7 bore or compare the flow with that of a straight piece."
    yield "Silver-braze the connections, no soft solder; pickle and flush out the flux."
    bar, minutes = TEST_PRESSURE / 1e5, TEST_TIME / 60.0
    yield (
        f"Pressure test with water, {bar:.0f} bar for {minutes:.0f} min, no drop and no damp spot. Not with air: a burst "
        "throws parts. Rules for pressure tests in force at the place come first."
    )


def _solid_after(coil: Any) -> Iterator[str]:
    if coil.conductor.section == "litz":
        yield (
            "Strip and tin every strand at both ends, then crimp or solder the lugs; one strand left out makes the rest run hot. "
            "Extract the fumes."
        )
    else:
        yield "Braze or bolt the connections on clean, flat faces."


def _finish() -> Iterator[str]:
    yield "Insulate and brace the turns so that none touches another or the part when hot; paint alone is no protection."
    yield "Measure L and R at the lead ends, empty, at the stated frequency; write both on the card beside their targets."
    yield "Mark the coil with the drawing number and the digest of the job."
