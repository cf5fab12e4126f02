"""Materials: look one up, see its curves with their sources, add one's own to the job."""

from __future__ import annotations

import csv
import io
import math
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from nicegui import run, ui

from coilwright.bench import charts
from coilwright.bench.form import Form
from coilwright.bench.parts import button, enable, sentence, text
from coilwright.bench.state import PageState
from coilwright.errors import BadInput, CoilwrightError, Fault
from coilwright.job import loads
from coilwright.job.edit import add_table
from coilwright.materials import Library, Material, library
from coilwright.materials.describe import describe
from coilwright.pack.material_picture import material_picture

# property as `describe` names it -> words, unit, scale
_SHOWN = {
    "resistivity_ohm_m": ("resistivity", "µΩ m", 1e6),
    "relative_permeability": ("relative permeability", "", 1.0),
    "thermal_conductivity_W_per_m_K": ("thermal conductivity", "W/m/K", 1.0),
    "specific_heat_J_per_kg_K": ("specific heat", "J/kg/K", 1.0),
    "emissivity": ("emissivity", "", 1.0),
}
_FIELDS = (
    ("name", "name", ""),
    ("like", "like (a library name)", ""),
    ("density", "density", "7850 kg/m^3"),
    ("resistivity", "resistivity", "20 degC: 0.2 uohm m; 800 degC: 1.1 uohm m"),
    ("relative_permeability", "relative permeability", "1"),
    ("thermal_conductivity", "thermal conductivity", "45 W/m/K"),
    ("specific_heat", "specific heat", "480 J/kg/K"),
    ("emissivity", "emissivity", "0.8"),
    ("source", "source of the figures", "own measurement, bar 7"),
)


def place(state: PageState) -> None:
    """Build the place."""
    _Materials(state)


class _Materials:
    """The list with its search, the chosen material, the form for one's own."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        self.searched = ""
        self.chosen = ""
        self.known: Library = library()
        with ui.element("div").classes("place materials"):
            with ui.element("div").classes("catalogue"):
                text("h2", "Materials")
                search = ui.element("input").classes("plain")
                search.props.update({"type": "search", "aria-label": "Search the materials", "placeholder": "search"})
                search.on("input", self._search, js_handler="(e) => emit(e.target.value)", throttle=0.15)
                self.list = ui.element("ul")
            with ui.element("div").classes("shown"):
                self.sheet = ui.element("div").classes("shown")
                self._own()
        state.on_desk(self._again)
        self._again()

    # ---- the list
    def _again(self) -> None:
        job = self.state.desk.job
        if job is not None:
            self.known = job.library()
        used = [] if job is None else [b.material for b in job.bodies]
        if job is not None and job.coil is not None:
            used.append(job.coil.conductor.material)
        self.used = {self.known.get(name).name for name in used if name in self.known}
        self.mine = set() if job is None else {str(t.get("name")) for t in job.materials}
        if self.chosen not in self.known:
            self.chosen = min(self.used, default=self.known.names()[0])
        self._list()
        self._show()

    def _search(self, event: Any) -> None:
        self.searched = str(event.args).lower().strip()
        self._sift()

    def _list(self) -> None:
        """One line for every material; a search hides lines and takes none away, so that no click is lost."""
        self.list.clear()
        self.lines: dict[str, tuple[Any, Any]] = {}
        names = sorted(self.known.names(), key=lambda n: (n not in self.used, n not in self.mine, n.lower()))
        with self.list:
            for name in names:
                with ui.element("li") as line:
                    element = button(name, partial(self._choose, name))
                    note = ", ".join(w for w, s in (("in this job", self.used), ("your own", self.mine)) if name in s)
                    text("span", note or self.known.get(name).kind, "told")
                self.lines[name] = line, element
            self.none = text("li", "No material is called so; try another word, or add your own.", "told")
        self._sift()

    def _sift(self) -> None:
        fitting = {n for n in self.lines if self._fits(self.known.get(n))}
        for name, (line, element) in self.lines.items():
            line.set_visibility(name in fitting)
            element.props["aria-current"] = "true" if name == self.chosen else "false"
        self.none.set_visibility(not fitting)

    def _fits(self, material: Material) -> bool:
        return any(self.searched in word.lower() for word in (material.name, material.kind, *material.aliases))

    def _choose(self, name: str) -> None:
        self.chosen = name
        self._sift()
        self._show()

    # ---- one material
    def _show(self) -> None:
        material = self.known.get(self.chosen)
        told = describe(material)
        self.sheet.clear()
        with self.sheet:
            text("h2", told["name"])
            also = f"also called {', '.join(told['aliases'])}; " if told["aliases"] else ""
            conducts = "conducts" if told["conducting"] else "does not conduct"
            text("p", f"{also}{told['kind']}, {told['density_kg_per_m3']:.0f} kg/m³ at 20 °C, {conducts}")
            if told["notes"]:
                text("p", told["notes"])
            with ui.element("div").classes("tools"):
                button("CSV", partial(self._csv, told), label="Take the curves away (CSV)")
                for ending in ("svg", "png"):
                    label = f"Take the picture away ({ending.upper()})"
                    button(ending.upper(), partial(self._picture, material, ending), label=label)
            with ui.element("div").classes("plots"):
                for key, curve in told["curves"].items():
                    with ui.element("div"):
                        _curve(key, curve)
            _facts(told)

    def _csv(self, told: dict[str, Any]) -> None:
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(["property", "temperature_degC", "value", "source"])
        for key, curve in told["curves"].items():
            for t, v in zip(curve["temperature_degC"], curve["value"], strict=True):
                writer.writerow([key, t, v, curve["source"]])
        ui.download.content(out.getvalue(), f"{_file(told['name'])}.csv", "text/csv")

    async def _picture(self, material: Material, ending: str) -> None:
        data = await run.io_bound(_drawn, material, ending)
        if data is not None:  # None: the server is ending
            ui.download.content(data, f"{_file(material.name)}.{ending}")

    # ---- one's own
    def _own(self) -> None:
        with ui.element("details"):
            text("summary", "Add one of your own to this job")
            text(
                "p",
                "It becomes a [[material]] of the job file. With a library name under “like” only what differs is needed. "
                "A property is one figure with its unit, or several over temperature: 20 degC: 0.2 uohm m; 800 degC: 1.1 uohm m",
                "told",
            )
            self.form = Form(list(_FIELDS))
            with ui.element("div").classes("tools"):
                self.add = button("Add it to the job", self._add, first=True)
                self.fault = text("span", "", "bad")
                self.fault.props["role"] = "alert"
        self.state.on_desk(lambda: enable(self.add, self.state.desk.job is not None))

    def _add(self) -> None:
        desk = self.state.desk
        try:
            table = own_table(self.form.values())
            changed = add_table(desk.text, "material", table)
            loads(changed, desk.name, desk.path.parent)
            self.chosen = table["name"]
            desk.rewrite(changed, f"material {table['name']} added")
        except CoilwrightError as error:
            self.fault.set_text(sentence(error))
            return
        self.fault.set_text("")
        self.form.empty()
        self.state.say(f"{table['name']} is a material of this job now; save the job to keep it", False)


def own_table(typed: dict[str, str]) -> dict[str, Any]:
    """What was typed as a [[material]] table of the job file. Raises BadInput."""
    table: dict[str, Any] = {}
    for key, value in typed.items():
        if value.strip():
            table[key] = value.strip() if key in ("name", "like", "source") else _property(key, value)
    if "name" not in table:
        raise BadInput(Fault("name", 'is missing; call the material something, e.g. "trial steel"'))
    return table


def _property(key: str, typed: str) -> Any:
    if ":" not in typed:
        return _number(typed)
    pairs = [part.partition(":") for part in typed.split(";") if part.strip()]
    if any(not sign for _, sign, _ in pairs):
        what = f'must be pairs "temperature: value" with semicolons between; received "{typed[:60]}"'
        raise BadInput(Fault(key.replace("_", " "), what))
    return {"at": [t.strip() for t, _, _ in pairs], "is": [_number(v) for _, _, v in pairs]}


def _number(typed: str) -> Any:
    try:
        return float(typed)
    except ValueError:
        return typed.strip()


def _curve(key: str, curve: dict[str, Any]) -> None:
    words, unit, scale = _SHOWN[key]
    values = [scale * v for v in curve["value"]]
    if len(values) == 1:
        text("h3", f"{words}: {values[0]:.4g} {unit}".rstrip())
    else:
        text("h3", f"{words}{f', {unit}' if unit else ''}")
        at = curve["temperature_degC"]
        options = charts.axes("")
        ends = {"min": 50 * math.floor(min(at) / 50), "max": 50 * math.ceil(max(at) / 50)}
        options["xAxis"] |= {"name": "temperature, °C", **ends}
        options["yAxis"][0]["scale"] = True
        options["yAxis"][0]["axisLine"] |= {"onZero": False}
        options["grid"] |= {"top": 12, "bottom": 44}
        options["series"] = [charts.line(words, at, values, 1)]
        options["series"][0]["lineStyle"]["type"] = "solid"
        del options["legend"]
        element = charts.chart(f"{words} against temperature")
        element.options.update(options)
    low, high = curve["valid_from_degC"], curve["valid_to_degC"]
    held = "" if low is None or high is None else f" Holds from {low:.0f} to {high:.0f} °C."
    kind = "" if curve["source_kind"] == "published" else f" [{curve['source_kind']}]"
    text("p", f"Source: {curve['source']}{kind}.{held}", "told")


def _facts(told: dict[str, Any]) -> None:
    lines = []
    for t in told["transitions"]:
        takes = f"within {t['width_K']:.3g} K takes {t['energy_J_per_kg'] / 1e3:.4g} kJ/kg"
        lines.append(f"{t['kind']} at {t['temperature_degC']:.0f} °C {takes} ({t['source']})")
    lines += [f"{x['kind']} at {x['temperature_degC']:.0f} °C: {x['text']} ({x['source']})" for x in told["limits"]]
    if told["saturation"]:
        s = told["saturation"]
        begins = f"relative permeability {s['initial_relative_permeability']:.4g} at first"
        at = f"saturates at {s['flux_density_T']:.3g} T, Curie point {s['curie_degC']:.0f} °C"
        lines.append(f"{at}, {begins} ({s['source']})")
    if told["glass"]:
        lines.append(f"lets light through: bands from {told['glass']['source']}")
    if lines:
        text("h3", "Limits and what happens on the way")
        with ui.element("ul").style("list-style: square; padding-left: 1.1rem; margin: 0"):
            for line in lines:
                text("li", line)


def _drawn(material: Material, ending: str) -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"material.{ending}"
        material_picture(material, path)
        return path.read_bytes()


def _file(name: str) -> str:
    return name.replace(" ", "-").replace("/", "-")
