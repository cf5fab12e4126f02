"""The shot: run it, watch it, read the verdict, lay runs over one another."""

from __future__ import annotations

import csv
import io
from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench import charts
from coilwright.bench.parts import button, text
from coilwright.bench.place_drawing import verdict_lines
from coilwright.bench.place_studies import StudyTable
from coilwright.bench.state import PageState
from coilwright.bench.studies import Study


def place(state: PageState) -> None:
    """Build the place."""
    _Shots(state)


class _Shots:
    """Run button, list of runs with boxes to tick, curves of the ticked ones."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        self.ticked: list[int] = []
        self.known: set[int] = set()
        with ui.element("div").classes("place"):
            with ui.element("div").classes("tools"):
                text("h2", "Shots")
                button("Run the shot", self._run, first=True)
                button("Run it on finer meshes", lambda: self._run(fine=True))
            self.table = StudyTable(state, "shot")
            self.table.show()
            text("h2", "On the same axes")
            self.boxes = ui.element("div").classes("tools")
            self.verdicts = ui.element("div").style("display: grid; gap: .3rem; width: 100%")
            self.chart = charts.chart("Temperature against time of the chosen shots", "chart tall")
            self.told = text("p", "", "told")
            with ui.element("div").classes("tools"):
                self.take = button("Take the table away (CSV)", self._csv)
            text("h2", "At the coil")
            self.electrical = ui.element("div").style(
                "display: grid; grid-template-columns: repeat(auto-fit, minmax(18rem, 1fr)); gap: .8rem; width: 100%"
            )
        state.on_studies(self._show)
        self._curves()
        self._boxes([])
        self._show()

    def _run(self, fine: bool = False) -> None:
        desk = self.state.desk
        if desk.job is None:
            self.state.say("the job file has faults; mend it first", True)
            return
        title = f"{desk.now.done}{', finer meshes' if fine else ''}"
        number = self.state.studies.begin("shot", title, desk.text, desk.path.parent, {"fine": fine})
        self.state.say(f"shot {number} begun", False)

    def _done(self) -> list[Study]:
        return [s for s in self.state.studies.listed if s.kind == "shot" and s.state == "done"]

    def _show(self) -> None:
        done = self._done()
        numbers = {s.number for s in done}
        if numbers == self.known:
            return
        fresh = numbers - self.known
        if fresh:
            keep = [n for n in self.ticked if n in numbers] if self.known else []
            self.ticked = [*keep, max(fresh)]
        self.ticked = [n for n in self.ticked if n in numbers]
        self.known = numbers
        self._boxes(done)
        self._curves()

    def _boxes(self, done: list[Study]) -> None:
        self.boxes.clear()
        with self.boxes:
            if not done:
                text("p", "Run a shot first; every finished one can then be laid over the others.", "told")
            for study in done:
                with ui.element("label").style("display: inline-flex; gap: .35rem; align-items: center"):
                    box = ui.element("input")
                    box.props.update({"type": "checkbox", "checked": study.number in self.ticked})
                    box.on(
                        "change",
                        lambda e, n=study.number: self._tick(n, bool(e.args)),
                        js_handler="(e) => emit(e.target.checked)",
                    )
                    text("span", f"shot {study.number}")

    def _tick(self, number: int, on: bool) -> None:
        self.ticked = [n for n in self.ticked if n != number] + ([number] if on else [])
        self._curves()

    def _curves(self) -> None:
        runs = [(n, r) for n in sorted(self.ticked) if (r := self.state.studies.result(n)) is not None]
        self.verdicts.clear()
        self.electrical.clear()
        self.take.set_visibility(bool(runs))
        self.chart.set_visibility(bool(runs))
        self.told.set_text("")
        if not runs:
            return
        options = charts.temperature(runs[-1][1]["curve"], runs[-1][1]["verdicts"])
        several = len(runs) > 1
        marks = options["series"][0].get("markLine")
        options["series"] = [
            line
            for k, (n, r) in enumerate(runs)
            for line in charts.temperature_lines(r["curve"], f"shot {n}: " if several else "", 2 * k)
        ]
        options["series"][0]["markLine"] = marks
        options["yAxis"][0]["max"] = max(charts.highest(r["curve"], r["verdicts"]) for _, r in runs)
        options["xAxis"]["max"] = max(r["curve"]["time_s"][-1] for _, r in runs)
        charts.name_lines(options)
        self.chart.options.clear()
        self.chart.options.update(options)
        self.chart.update()
        with self.verdicts:
            for n, r in runs:
                with ui.element("div").classes("tools"):
                    text("h3", f"Shot {n}: {'pass' if r['passed'] else 'fail'}{_error(r)}")
                    button("Play it on the drawing", partial(self._play, n), label=f"Play shot {n} on the drawing")
                ui.html(verdict_lines(r["verdicts"]), sanitize=False)
                for finding in r["findings"]:
                    text("p", finding, "told")
        with self.electrical:
            for title, chart_options in charts.electrical(runs[-1][1]["curve"]):
                with ui.element("div"):
                    text("h3", f"Shot {runs[-1][0]}: {title}")
                    charts.chart(f"Shot {runs[-1][0]}: {title}").options.update(chart_options)

    def _play(self, number: int) -> None:
        result = self.state.studies.result(number)
        self.state.go("drawing")
        film = self.state.shared.get("film")
        if result is not None and film is not None:
            film(result["play"], f"shot {number}")

    def _csv(self) -> None:
        runs = [(n, r) for n in sorted(self.ticked) if (r := self.state.studies.result(n)) is not None]
        if runs:
            ui.download.content(_table(runs), f"{self.state.desk.path.stem}-shots.csv", "text/csv")


def _error(result: dict[str, Any]) -> str:
    kelvin = result["error"].get("temperature_K")
    return "" if kelvin is None else f", temperatures within {kelvin:.2g} K"


def _table(runs: list[tuple[int, dict[str, Any]]]) -> str:
    """One row per instant and run, SI and degC as in the JSON of the command line."""
    columns: dict[str, None] = {"shot": None, "time_s": None}
    rows = []
    for number, result in runs:
        curve = result["curve"]
        series = {
            f"{body}_{key}{'' if '_' in key else '_degC'}": v
            for body, t in curve["bodies"].items()
            for key, v in t.items()
        }
        series |= {f"{name}_degC": v for name, v in curve["points"].items()}
        series |= {f"coil_{key}": v for key, v in curve["coil"].items()}
        columns |= dict.fromkeys(series)
        for k, time in enumerate(curve["time_s"]):
            rows.append({"shot": number, "time_s": time, **{name: values[k] for name, values in series.items()}})
    out = io.StringIO()
    writer = csv.DictWriter(out, list(columns))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
