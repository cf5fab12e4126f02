"""The commands that read and look up: new, check, quick, materials."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import folder, print_json, say, show_findings, table
from coilwright.errors import BadInput, Fault

if TYPE_CHECKING:
    from coilwright.evidence import ValidRange
    from coilwright.materials import Library, Material


def new(file: Path, like: str, as_json: bool) -> int:
    from coilwright.job import template

    text = template(like)
    if file.exists():
        raise BadInput(
            Fault(str(file), "exists already and is not overwritten; choose another name or remove it first")
        )
    if file.is_dir() or not file.parent.is_dir():
        raise BadInput(Fault(str(file), "must be a file in a folder that exists; make the folder first"))
    file.write_text(text, encoding="utf-8")
    if as_json:
        print_json({"file": str(file), "like": like})
    else:
        print(f"written: {file} ({like}); now  coilwright check {file}")
    return 0


def check(path: Path, as_json: bool, out: Path | None) -> int:
    from coilwright.job import load
    from coilwright.steps.check import check as look

    result = look(load(path))
    target = folder(out)
    written: list[Path] = []
    if target is not None:
        from coilwright.cli.compute import section_files

        written = section_files(result, target)
    if as_json:
        print_json({**result.to_dict(), "files": [str(p) for p in written]})
        return 0
    print(repr(result))
    show_findings(result.findings)
    if written:
        print("written: " + ", ".join(str(p) for p in written))
    else:
        say("add  --out DIR  for a drawing of the section")
    return 0


def quick(path: Path, as_json: bool, out: Path | None) -> int:
    from coilwright.job import load
    from coilwright.steps.quick import quick as estimate

    result = estimate(load(path))
    target = folder(out)
    if target is not None:
        (target / "quick.txt").write_text(str(result) + "\n", encoding="utf-8")
    if as_json:
        print_json(result.to_dict())
    else:
        print(result)
    return 0


def materials(name: str | None, as_json: bool, out: Path | None) -> int:
    from coilwright.materials import library
    from coilwright.materials.describe import describe

    known = library()
    target = folder(out)
    names = known.names() if name is None else [known.get(name).name]
    if target is not None:
        from coilwright.pack.material_picture import material_picture

        for each in names:
            material_picture(known.get(each), target / f"{each.replace(' ', '-').replace('/', '-')}.png")
    if as_json:
        if name is None:
            print_json({"materials": [_summary(known.get(n)) for n in names]})
        else:
            print_json(describe(known.get(name)))
        return 0
    print(_full(known.get(names[0])) if name is not None else _list(known))
    if target is not None:
        print(f"written: {len(names)} picture{'s' if len(names) > 1 else ''} in {target}")
    return 0


def _summary(material: Material) -> dict[str, object]:
    return {
        "name": material.name,
        "kind": material.kind,
        "aliases": list(material.aliases),
        "conducting": material.conducting,
    }


def _list(known: Library) -> str:
    rows = []
    for name in known.names():
        m = known.get(name)
        rho = "-" if m.resistivity is None else f"{float(m.resistivity(293.15)) * 1e6:.4g}"
        melts = [limit.temperature for limit in m.limits if limit.kind == "melting"]
        rows.append((m.name, m.kind, rho, f"{m.density:.0f}", f"{melts[0] - 273.15:.0f}" if melts else "-"))
    head = ("material", "kind", "uohm m at 20 degC", "kg/m^3", "melts, degC")
    return table(rows, head) + "\n\ncoilwright materials NAME  shows every curve with its source"


def _full(m: Material) -> str:
    lines = [f"{m.name}: {m.kind}, {m.density:.0f} kg/m^3" + (f" (also {', '.join(m.aliases)})" if m.aliases else "")]
    scale = {"resistivity": (1e6, "uohm m"), "relative_permeability": (1.0, ""), "emissivity": (1.0, "")}
    units = {"thermal_conductivity": "W/m/K", "specific_heat": "J/kg/K"}
    for key, curve in m.curves().items():
        factor, unit = scale.get(key, (1.0, units.get(key, "")))
        places = sorted({293.15, *(t for t in (473.15, 673.15, 873.15, 1073.15, 1273.15) if curve.valid.holds(t))})
        values = ", ".join(f"{float(curve(t)) * factor:.4g} at {t - 273.15:.0f}" for t in places)
        lines.append(f"  {key.replace('_', ' ')}: {values} degC {unit}".rstrip())
        lines.append(f"      {curve.source}; {_range(curve.valid)}")
    if m.magnetic.saturation is not None:
        s = m.magnetic.saturation
        lines.append(
            f"  saturation: {s.flux_density:.3g} T, initial permeability {s.initial:.4g}, Curie point {s.curie - 273.15:.0f} degC"
        )
        lines.append(f"      {s.source}")
    for t in m.transitions:
        lines.append(f"  {t.kind}: {t.temperature - 273.15:.0f} degC, {t.energy / 1e3:.4g} kJ/kg ({t.source})")
    for limit in m.limits:
        lines.append(f"  limit: {limit.kind} {limit.temperature - 273.15:.0f} degC: {limit.text}")
    return "\n".join([*lines, m.notes] if m.notes else lines)


def _range(valid: ValidRange) -> str:
    if valid.highest == float("inf"):
        return "any temperature"
    return f"holds {valid.lowest - 273.15:.0f} to {valid.highest - 273.15:.0f} degC"
