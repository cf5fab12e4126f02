"""Cold fields of six arrangements, one description each for the job file and for ngsolve. Invented dimensions; lengths in mm.

None of them is among the cases of tests/published/data/field_reference.json.
"""

from dataclasses import dataclass

COPPER = 17.5e-9


@dataclass(frozen=True)
class Piece:
    """A body r0..r1, z0..z1 (mm) of resistivity `rho` (ohm m, None: does not conduct) and relative permeability `mu`."""

    name: str
    r0: float
    r1: float
    z0: float
    z1: float
    rho: float | None
    mu: float = 1.0
    role: str = "work"


@dataclass(frozen=True)
class Case:
    """`turns` are (mean radius, z) in mm; `size` is (outside, bore) of round or (width, height, wall) of rectangular tube."""

    name: str
    frequency: float
    pieces: tuple[Piece, ...]
    turns: tuple[tuple[float, float], ...]
    size: tuple[float, ...]

    @property
    def rectangular(self) -> bool:
        return len(self.size) == 3


def _helix(radius: float, pitch: float, turns: int, middle: float = 0.0) -> tuple[tuple[float, float], ...]:
    return tuple((radius, middle + pitch * (k - 0.5 * (turns - 1))) for k in range(turns))


CASES = (
    Case("steel bar, mu 50", 10e3, (Piece("bar", 0, 8, -15, 15, 0.2e-6, 50.0),), _helix(16, 8, 4), (6, 4)),
    Case(
        "ring beside a copper shield ring",
        100e3,
        (
            Piece("ring", 6, 9, 0, 4, 0.72e-6),
            Piece("shield", 10, 18, 12, 13, COPPER, role="shield"),
        ),
        _helix(14, 5, 3, -2.0),
        (4, 2.5),
    ),
    Case(
        "ferrite core in the coil, tube outside it",
        50e3,
        (
            Piece("core", 0, 5, -12, 12, None, 2000.0, role="concentrator"),
            Piece("tube", 20, 22, -8, 8, 0.1e-6),
        ),
        _helix(12, 5, 4),
        (4, 2.5),
    ),
    Case(
        "two parts of different material",
        30e3,
        (Piece("steel", 0, 6, 1, 11, 0.25e-6, 20.0), Piece("brass", 2, 6, -9, 0, 0.065e-6)),
        _helix(12, 6, 4),
        (5, 3.5),
    ),
    Case("rectangular tube", 20e3, (Piece("tube", 4, 8, -10, 10, 0.7e-6),), _helix(14, 8, 3), (6, 6, 1)),
    Case(
        "pancake under a disc",
        25e3,
        (Piece("disc", 0, 30, 5, 8, 0.75e-6),),
        tuple((8.0 + 7.0 * k, 0.0) for k in range(4)),
        (5, 3),
    ),
)


def job_text(case: Case) -> str:
    """The case as a job file."""
    out = ["format = 1"]
    for p in case.pieces:
        shape = f'diameter = "{2 * p.r1} mm", length = "{p.z1 - p.z0} mm"'
        if p.r0 > 0:
            shape = f'outer_diameter = "{2 * p.r1} mm", inner_diameter = "{2 * p.r0} mm", height = "{p.z1 - p.z0} mm"'
        kind = "ring" if p.r0 > 0 else "bar"
        material = "manganese-zinc ferrite" if p.rho is None else "copper"
        given = f"relative_permeability = {p.mu}"
        if p.rho is not None:
            given += f', resistivity = "{p.rho * 1e6!r} uohm m"'
        out += [
            f'[[body]]\nname = "{p.name}"\nrole = "{p.role}"\nmaterial = "{material}"',
            f'shape = {{ kind = "{kind}", {shape} }}\ncentre = "{0.5 * (p.z0 + p.z1)} mm"\noverrides = {{ {given} }}',
        ]
    turns = ", ".join(f'{{ mean_diameter = "{2 * r} mm", z = "{z} mm" }}' for r, z in case.turns)
    out += ['[coil]\nwinding = "turns"', f"turn = [{turns}]", "[coil.conductor]"]
    if case.rectangular:
        width, height, wall = case.size
        out.append(f'section = "rectangular tube"\nwidth = "{width} mm"\nheight = "{height} mm"\nwall = "{wall} mm"')
    else:
        outside, bore = case.size
        out.append(f'section = "round tube"\noutside = "{outside} mm"\nbore = "{bore} mm"')
    out.append(f'material = "copper"\noverrides = {{ resistivity = "{COPPER * 1e6!r} uohm m" }}')
    out.append(f'[drive]\nfrequency = "{case.frequency} Hz"\ncoil_current = "1 A"\non_time = "1 s"')
    return "\n".join(out) + "\n"
