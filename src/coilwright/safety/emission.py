"""Radio emission: what kind of equipment this is, which bands its frequency and harmonics meet. A note, not an
assessment.
"""

from __future__ import annotations

from dataclasses import dataclass

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source

# Some pages in circulation swap the two groups: by the definition in clause 5, radio energy made on purpose to treat
# material, at 9 kHz to 400 GHz, is group 2. An induction heater is never group 1.
GROUP_SOURCE = Source("CISPR 11 (AS CISPR 11:2017), clause 5: groups and classes of equipment")
ISM_SOURCE = Source("ITU Radio Regulations, article 5, footnotes 5.138 and 5.150", "memory")
SERVICE_SOURCE = Source("frequency tables of the ITU Radio Regulations, region 1", "memory")

ISM_BANDS = ((6.765e6, 6.795e6), (13.553e6, 13.567e6), (26.957e6, 27.283e6), (40.66e6, 40.70e6))
SERVICES = (
    ("time signal", 59.75e3, 60.25e3),
    ("time signal", 77.25e3, 77.75e3),
    ("long-wave broadcast", 148.5e3, 283.5e3),
    ("aeronautical beacons", 283.5e3, 526.5e3),
    ("medium-wave broadcast", 526.5e3, 1606.5e3),
)


@dataclass(frozen=True)
class EmissionNote:
    """`group` and `class` of CISPR 11, whether the frequency lies in an ISM band, services met by fundamental and
    harmonics.
    """

    group: int
    equipment_class: str
    in_ism_band: bool
    meets: tuple[tuple[int, str], ...]
    text: str
    sources: tuple[Source, ...]


def emission_note(frequency: float, residential: bool = False, harmonics: int = 9) -> EmissionNote:
    """Note on radio emission of a heater at `frequency` (Hz, 9 kHz to 40 MHz); odd harmonics up to `harmonics`
    (square drive).
    """
    if not 9e3 <= frequency <= 4e7:
        raise BadInput(
            Fault("frequency", f"must lie between 9 kHz and 40 MHz for this note, received {frequency:g} Hz")
        )
    meets = []
    for order in range(1, harmonics + 1, 2):
        meets += [(order, name) for name, low, high in SERVICES if low <= order * frequency <= high]
    in_ism = any(low <= frequency <= high for low, high in ISM_BANDS)
    equipment_class = "B" if residential else "A"
    place = "also for homes" if residential else "not for homes or their mains"
    heard = (
        "; ".join(f"{'fundamental' if n == 1 else f'harmonic {n}'} in {name}" for n, name in meets)
        or "no listed service met"
    )
    band = "inside an ISM band" if in_ism else "outside the ISM bands, so radiation limits apply at the fundamental"
    text = (
        f"Group 2 class {equipment_class} equipment ({place}); {frequency / 1e3:.4g} kHz is {band}; {heard}. "
        "The maker must have the emission assessed."
    )
    return EmissionNote(2, equipment_class, in_ism, tuple(meets), text, (GROUP_SOURCE, ISM_SOURCE, SERVICE_SOURCE))
