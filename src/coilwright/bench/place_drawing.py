"""The drawing: drag, type, watch the figures and the curve follow."""

from __future__ import annotations

import html
from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench import charts, moves
from coilwright.bench.drawing import Drawing, colours, described
from coilwright.bench.parts import Field, button, enable, figures, percent, pressed, sentence, sentences, si, text
from coilwright.bench.state import PageState
from coilwright.errors import BadInput, CoilwrightError

_SNAPS = (("1 mm", 1.0), ("0.5 mm", 0.5), ("0.25 mm", 0.25), ("0.1 mm", 0.1), ("0.05 mm", 0.05), ("off", 0.0))
_LAYERS = (("loss", "Loss density"), ("temperature", "Temperature"), ("none", "Outlines"))


def place(state: PageState) -> None:
    """Build the place."""
    _Table(state)


class _Table:
    """Drawing at the left; values, figures and curve at the right."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        self.picked = ""
        self.mesh = ""
        self.lines = True
        self.layer = "loss"
        self.ready = False
        self.dragging = False
        self.series: list[str] = []
        self.film: dict[str, Any] = {}
        self.film_of = ""
        self.shown_field: dict[str, Any] = {}
        self.shown_shot: dict[str, Any] = {}
        with ui.element("div").classes("cells"):
            with ui.element("div").classes("sheetbox"):
                self._tools()
                self.drawing = Drawing()
                self._player()
            with ui.element("div").classes("side"):
                self.verdicts = ui.html("", sanitize=False)
                self.figures = ui.html("", sanitize=False)
                self.through = ui.html("", sanitize=False)
                self.chart = charts.chart("Temperature against time")
                self.waits = text("p", "", "told")
                text("h2", "Values")
                self.values = ui.element("div").style("width: 100%; display: grid; gap: .25rem")
        self._connect()
        state.shared["film"] = self._film
        state.on_desk(self._redraw)
        state.on_live(self._settled)
        self._show_values()

    # ---- tools
    def _tools(self) -> None:
        with ui.element("div").classes("tools"):
            self.layers = {key: button(label, partial(self._show_layer, key)) for key, label in _LAYERS}
            self.flux = button("Field lines", self._turn_lines)
            self.sizes = button("Sizes", self._turn_sizes)
            with ui.element("label").classes("told"):
                text("span", "Snap ")
                with ui.element("select").classes("plain") as snap:
                    for name, size in _SNAPS:
                        option = text("option", name)
                        option.props["value"] = str(size)
                        if size == 0.25:
                            option.props["selected"] = True
            snap.on("change", self._snap, js_handler="(e) => emit(e.target.value)")
            button("+", lambda: self.drawing.call("closer", 1.3), label="Closer")
            button("−", lambda: self.drawing.call("closer", 1 / 1.3), label="Farther")
            button("Whole", lambda: self.drawing.call("whole"))
        pressed(self.layers["loss"], True)
        pressed(self.flux, True)
        pressed(self.sizes, False)

    def _snap(self, event: Any) -> None:
        self.drawing.call("set", {"snap": float(event.args)})

    def _player(self) -> None:
        with ui.element("div").classes("tools") as self.player:
            self.play = button("Play the shot", self._play)
            label = text("label", "Time", "told")
            label.props["for"] = "instant"
            self.instant = ui.element("input").style("flex: 1; accent-color: var(--hot)")
            self.instant.props.update({"type": "range", "min": 0, "max": 0, "value": 0, "id": "instant"})
            self.instant.on("input", lambda e: self._at(int(e.args)), js_handler="(e) => emit(e.target.value)")
            self.when = text("span", "", "told")
        self.player.set_visibility(False)
        self.clock = ui.timer(0.1, self._tick, active=False)

    def _connect(self) -> None:
        self.drawing.on("ready", self._begin)
        self.drawing.on("pick", lambda e: self._pick(str(e.args.get("id", ""))))
        self.drawing.on("moved", self._moved)
        self.drawing.on("dropped", self._dropped)
        self.drawing.on("cancelled", lambda _: self._back())

    def _begin(self, _: Any) -> None:
        self.ready = True
        self.drawing.call("setColours", colours())
        self.mesh = ""
        self._again()

    # ---- the hand
    async def _moved(self, event: Any) -> None:
        self.dragging = True
        move = _checked(event.args)
        seq = int(move["seq"])
        try:
            changes = self._changes(move)
        except CoilwrightError as error:
            self.drawing.call("answer", {"seq": seq, "refused": [{"where": "", "what": sentence(error)}]})
            return
        lines = self.lines and self.layer != "temperature"
        answer = await self.state.live.glance(changes, self.mesh, lines)
        if not self.dragging:
            return
        if "refused" not in answer:
            self._show_numbers(answer)
            self._show_curve(answer)
        self._to_sheet(answer, seq)

    def _dropped(self, event: Any) -> None:
        self.dragging = False
        state, move = self.state, _checked(event.args)
        try:
            changes = self._changes(move)
            job = state.desk.job
            if job is not None:
                described(job.with_values(changes))
                _refuse_overlap(job.with_values(changes))
            state.desk.change(changes, state.desk.revision, f"{move['id'].replace(':', ' ')} moved")
            state.say(", ".join(f"{k} = {v}" for k, v in changes.items()), False)
        except CoilwrightError as error:
            state.say(sentence(error), True)
            self._again()
            self.drawing.call("say", sentence(error), True)

    def _back(self) -> None:
        self.dragging = False
        self._again()

    def _changes(self, move: dict[str, Any]) -> dict[str, str]:
        job = self.state.desk.job
        if job is None:
            raise BadInput(self.state.desk.faults)
        return moves.moved(job, str(move["id"]), float(move["right"]) * 1e-3, float(move["up"]) * 1e-3)

    # ---- what is shown
    def _redraw(self) -> None:
        job = self.state.desk.job
        if self.ready and job is not None:
            try:
                self.drawing.call("show", described(job))
            except CoilwrightError as error:
                self.state.say(sentence(error), True)
        elif job is None:
            self.state.say(sentence(BadInput(self.state.desk.faults)), True)
        self._show_values()

    def _settled(self) -> None:
        """Show the last exact answers, once each."""
        if not self.ready or self.dragging:
            return
        live = self.state.live
        if live.field is not self.shown_field:
            self.shown_field = live.field
            if "refused" in live.field:
                self.drawing.call("say", sentences(live.field["refused"]), True)
            elif live.field:
                self._show_numbers(live.field)
                self._to_sheet(live.field, 1 << 30)
                self._show_curve(live.field)
        if live.shot is not self.shown_shot and live.shot_current:
            self.shown_shot = live.shot
            if "refused" in live.shot:
                self._wait(sentences(live.shot["refused"]))
            elif "curve" in live.shot:
                self._show_curve(live.shot)
                self._film(live.shot["play"], "")
                self.through.set_content(figures(_most(live.shot["through"])))

    def _again(self) -> None:
        """Show everything anew: after a drag that was given up, or in a new tab."""
        self.shown_field = self.shown_shot = {}
        self._redraw()
        self._settled()

    def _film(self, play: dict[str, Any], what: str) -> None:
        """Take the pictures of a shot; `what` names a shot other than the one of the job as it stands."""
        self.film, self.film_of = play, what
        self.drawing.call("film", play)
        self.instant.props["max"] = len(play["time_s"]) - 1
        self.player.set_visibility(True)
        self._at(0, show=bool(what))

    def _to_sheet(self, answer: dict[str, Any], seq: int) -> None:
        kept = {k: answer[k] for k in ("loss", "lines", "refused") if answer.get(k)}
        if "loss" in kept and "corners" not in kept["loss"] and answer["mesh"] != self.mesh:
            del kept["loss"]  # values of a mesh this tab has not been given
        elif "loss" in kept:
            self.mesh = answer["mesh"]
        self.drawing.call("answer", {"seq": seq, **kept})

    def _show_numbers(self, answer: dict[str, Any]) -> None:
        self.figures.set_content(figures(_rows(answer["numbers"], answer["off"])))

    def _show_curve(self, answer: dict[str, Any]) -> None:
        if "curve" not in answer:
            self._wait(answer.get("waits", ""))
            return
        self._wait("")
        self.verdicts.set_content(verdict_lines(answer["verdicts"]))
        options = charts.temperature(answer["curve"], answer["verdicts"])
        names = [s["name"] for s in options["series"]]
        if names == self.series:  # only the data: the reader's zoom and choice of lines stay
            self.chart.run_chart_method(
                "setOption", {"series": options["series"], "yAxis": options["yAxis"], "xAxis": options["xAxis"]}
            )
        else:
            self.series = names
            self.chart.options.clear()
            self.chart.options.update(options)
            self.chart.update()

    def _wait(self, why: str) -> None:
        """Say why the curve and the verdict are older than the drawing, and show them so."""
        self.waits.set_text(why)
        for element in (self.chart, self.verdicts):
            element.classes(add="older") if why else element.classes(remove="older")

    # ---- typed values
    def _pick(self, item: str) -> None:
        if item != self.picked:
            self.picked = item
            self._show_values()

    def _show_values(self) -> None:
        job = self.state.desk.job
        self.values.clear()
        if job is None:
            return
        with self.values:
            text("h3", _heading(self.picked))
            for key, label, value in moves.values_of(job, self.picked):
                Field(label, _written(value), partial(self._typed, key, value), key)
            if self.picked.startswith("turn:") and job.coil is not None and job.coil.winding != "turns":
                button("Take the turns apart, to move each alone", self._apart)

    def _typed(self, key: str, before: Any, typed: str) -> None:
        desk, value = self.state.desk, moves.typed(typed, before)
        if desk.job is not None:
            _refuse_overlap(desk.job.with_value(key, value))
        desk.change({key: value}, desk.revision, f"{key} typed")

    def _apart(self) -> None:
        desk = self.state.desk
        try:
            if desk.job is not None:
                desk.change(moves.apart(desk.job), desk.revision, "turns taken apart")
        except CoilwrightError as error:
            self.state.say(sentence(error), True)

    # ---- layers and time
    def _show_layer(self, key: str) -> None:
        self.layer = key
        for name, element in self.layers.items():
            pressed(element, name == key)
        self.drawing.call("set", {"layer": key})

    def _turn_lines(self) -> None:
        self.lines = not self.lines
        pressed(self.flux, self.lines)
        self.drawing.call("set", {"lines": self.lines})

    def _turn_sizes(self) -> None:
        on = self.sizes.props.get("aria-pressed") != "true"
        pressed(self.sizes, on)
        self.drawing.call("set", {"sizes": on})

    def _play(self) -> None:
        self._show_layer("temperature")
        self.clock.active = not self.clock.active
        self.play.set_text("Stop" if self.clock.active else "Play the shot")
        if self.clock.active and int(self.instant.props["value"]) >= int(self.instant.props["max"]):
            self._at(0)

    def _tick(self) -> None:
        now, last = int(self.instant.props["value"]), int(self.instant.props["max"])
        if now >= last:
            self.clock.active = False
            self.play.set_text("Play the shot")
            return
        self._at(now + 1)

    def _at(self, index: int, show: bool = True) -> None:
        times = self.film.get("time_s")
        if not times:
            return
        index = min(max(index, 0), len(times) - 1)
        if show and self.layer != "temperature":
            self._show_layer("temperature")
        self.instant.props["value"] = index
        self.when.set_text(f"{times[index]:.2f} s" + (f", {self.film_of}" if self.film_of else ""))
        self.drawing.call("frame", index)


def verdict_lines(verdicts: list[dict[str, Any]]) -> str:
    """The verdict in words, one line per condition."""
    out = []
    for v in verdicts:
        kind, word = ("met", "holds") if v["met"] else ("failed", "fails")
        out.append(f'<div class="verdict {kind}"><b>{word}</b> {html.escape(v["said"])}</div>')
    return "".join(out)


def _rows(n: dict[str, Any], off: dict[str, Any]) -> list[tuple[str, str, str]]:
    """The figures beside the drawing."""
    rows = []
    for name, body in n["bodies"].items():
        spare = body["role"] == "bystander"
        label = f"power in {name}" + (", to be spared" if spare else "")
        rows.append((label, si(body["power_W"], "W"), "" if spare else "lead hot"))
    if n["coil_current_A"]:
        rows.append(("lost in the coil", si(n["coil_power_W"], "W"), ""))
        rows.append(("efficiency", percent(n["efficiency"]), ""))
        rows.append(("coil current, rms", si(n["coil_current_A"], "A"), "part current"))
        rows.append(("coil voltage with leads, rms", si(n["coil_voltage_V"], "V"), ""))
    if n["bank_voltage_V"] is not None:
        rows.append(("tank voltage, rms", si(n["bank_voltage_V"], "V"), "current"))
    rows.append(("frequency", si(n["frequency_Hz"], "Hz", 5), ""))
    if "loaded" in n:
        for key, label in (("loaded", "with the part"), ("unloaded", "empty")):
            reading = n[key]
            shown = f"{si(reading['inductance_H'], 'H')}  {si(reading['resistance_ohm'], 'Ω', 3)}  Q {reading['q']:.3g}"
            rows.append((f"coil {label}", shown, "part" if key == "loaded" else ""))
    if n["exact"]:
        rows.append(("estimated error of these", percent(n["error"], 2), "part"))
    elif off["power"] is not None:
        rows.append(("while dragging, power within about", percent(max(off["power"], 1e-4), 1), "part"))
    if off["temperature_K"] is not None:
        rows.append(("dragged curve off by, when last measured", f"{off['temperature_K']:.2g} K", ""))
    return rows


def _most(most: dict[str, float]) -> list[tuple[str, str, str]]:
    """What the whole shot asks for: of the coil only what is not above already."""
    rows = [("in the whole shot: most power into the coil", si(most["coil_power_W"], "W"), "part")]
    if "source_power_W" in most:
        rows.append(("most power from the source", si(most["source_power_W"], "W"), ""))
        rows.append(("highest tank voltage, rms", si(most["bank_voltage_V"], "V"), "current"))
    if "water_flow_m3_s" in most:
        litres = most["water_flow_m3_s"] * 60e3
        rows.append(("water", f"{litres:.3g} L/min, leaves at {most['water_outlet_degC']:.1f} °C", ""))
    return rows


def _heading(item: str) -> str:
    kind, _, name = item.partition(":")
    return {"body": name, "point": name, "turn": "the winding", "winding": "the winding"}.get(kind, "the drive")


def _written(value: Any) -> str:
    return ("true" if value else "false") if isinstance(value, bool) else str(value)


def _checked(given: Any) -> dict[str, Any]:
    """A move as the browser sent it, or an empty one that leads nowhere."""
    if isinstance(given, dict) and isinstance(given.get("id"), str):
        numbers = {k: given.get(k, 0) for k in ("right", "up", "seq")}
        if all(isinstance(v, int | float) and abs(v) < 1e9 for v in numbers.values()):
            return {"id": given["id"], **numbers}
    return {"id": "", "right": 0, "up": 0, "seq": 0}


def _refuse_overlap(job: Any) -> None:
    """Raises BadInput for bodies that would overlap or touch."""
    from coilwright.section.scene import scene

    scene(job)


__all__ = ["enable", "place", "verdict_lines"]
