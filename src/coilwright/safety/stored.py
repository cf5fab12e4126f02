"""Charge that stays behind: stored energy, bleed time and resistor, voltages one may touch, a hint on air gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source

SAFE_VOLTAGE = 60.0  # V, DC
SAFE_TIME = 5.0  # s
RESIDUAL_SOURCE = Source(
    "IEC 60204-1, protection against residual voltages: 60 V or less within 5 s of disconnection", "memory"
)
TOUCH_SOURCE = Source(
    "IEC 60364-4-41, conventional limits 50 V AC rms and 120 V DC in dry places, 25 V and 60 V in wet", "memory"
)
BREAKDOWN_SOURCE = Source(
    "uniform field in air, 24.22 d + 6.08 sqrt(d) kV peak with d in cm at 20 degC and 1013 hPa, after Meek and Craggs, "
    "Electrical Breakdown of Gases (1978)",
    "memory",
)
PASCHEN_MINIMUM = 327.0  # V peak, least voltage that sparks over in air at any gap; memory
CLEARANCE_STANDARD = "IEC 60664-1, and IEC 60664-4 above 30 kHz"


@dataclass(frozen=True)
class Store:
    """A capacitor that may hold charge: `capacitance` F, `voltage` V (the peak it can be left at), `bleed` ohm
    across it or None.
    """

    name: str
    capacitance: float
    voltage: float
    bleed: float | None = None

    def __post_init__(self) -> None:
        for key in ("capacitance", "voltage"):
            value = getattr(self, key)
            if not (math.isfinite(value) and value > 0.0):
                raise BadInput(Fault(f'"{self.name}"', f"{key} must be greater than zero, received {value:g}"))
        if self.bleed is not None and not self.bleed > 0.0:
            raise BadInput(
                Fault(
                    f'"{self.name}"',
                    f"bleed must be greater than zero ohm, received {self.bleed:g}; leave it out if none",
                )
            )

    @property
    def energy(self) -> float:
        """C V^2 / 2, J."""
        return 0.5 * self.capacitance * self.voltage**2

    @property
    def bleed_time(self) -> float:
        """Seconds until SAFE_VOLTAGE through the bleed resistor; infinite without one, 0 when it never exceeds that
        voltage.
        """
        if self.voltage <= SAFE_VOLTAGE:
            return 0.0
        if self.bleed is None:
            return math.inf
        return bleed_time(self.capacitance, self.bleed, self.voltage)


def bleed_time(capacitance: float, resistance: float, voltage: float, safe_voltage: float = SAFE_VOLTAGE) -> float:
    """Seconds for a capacitor (F) to fall from `voltage` to `safe_voltage` (V) through `resistance` (ohm): R C
    ln(V/V_s).
    """
    return max(0.0, resistance * capacitance * math.log(voltage / safe_voltage))


@dataclass(frozen=True)
class Bleed:
    """A discharge resistor: `resistance` ohm at most, `power` W it burns for good while `voltage` stands across it."""

    resistance: float
    power: float


def bleed_resistor(
    capacitance: float, voltage: float, rms_voltage: float, time: float = SAFE_TIME, safe_voltage: float = SAFE_VOLTAGE
) -> Bleed:
    """Largest resistor that brings `capacitance` (F) from `voltage` (V, peak) below `safe_voltage` within `time` (s).

    `rms_voltage` is what stands across it in operation and decides its heat.
    """
    if voltage <= safe_voltage:
        raise BadInput(
            Fault("voltage", f"is {voltage:g} V, not above {safe_voltage:g} V: no bleed resistor is called for")
        )
    resistance = time / (capacitance * math.log(voltage / safe_voltage))
    return Bleed(resistance, rms_voltage**2 / resistance)


@dataclass(frozen=True)
class TouchVerdict:
    """`voltage` against the conventional `limit` (V). At work frequencies even less can burn: the limit is for
    mains frequency.
    """

    voltage: float
    limit: float
    source: Source

    @property
    def exceeds(self) -> bool:
        return self.voltage > self.limit


def touch_voltage(voltage: float, wet: bool = False) -> TouchVerdict:
    """Judge an AC rms voltage a hand could reach. Wet is the usual case round a water-cooled coil that leaks or
    sweats.
    """
    return TouchVerdict(voltage, 25.0 if wet else 50.0, TOUCH_SOURCE)


@dataclass(frozen=True)
class ClearanceHint:
    """`breakdown_gap` (m): the least air gap that holds the peak voltage between smooth round parts, a physical
    floor and no rule.
    """

    peak_voltage: float
    frequency: float
    breakdown_gap: float
    source: Source
    text: str


def clearance_hint(peak_voltage: float, frequency: float) -> ClearanceHint:
    """Air gap that would just spark over in a uniform field, and which standard to ask for the gap to build.

    No table of the standard is at hand here, so no clearance is computed: sharp edges, dirt, damp, altitude and the
    frequency ask for several times the physical floor.
    """
    if not (math.isfinite(peak_voltage) and peak_voltage > 0.0):
        raise BadInput(Fault("peak_voltage", f"must be greater than zero, received {peak_voltage:g} V"))
    if peak_voltage <= PASCHEN_MINIMUM:
        gap, text = 0.0, "no gap in plain air sparks over at this"
    else:
        gap = 0.01 * float(brentq(lambda d: 24.22 * d + 6.08 * math.sqrt(d) - peak_voltage / 1e3, 1e-6, 1e3))
        text = f"a clean, smooth gap of {gap * 1e3:.2g} mm would just spark over"
    said = f"{peak_voltage:.0f} V peak: {text}; the gap to build is larger: no source here, ask {CLEARANCE_STANDARD}."
    return ClearanceHint(peak_voltage, frequency, gap, BREAKDOWN_SOURCE, said)
