"""Charts of a shot: data for the chart element, in the colours of the page (which follow light and dark)."""

from __future__ import annotations

import math
from typing import Any

from nicegui import ui

_SERIES = ("var(--hot)", "var(--current)", "var(--good)", "var(--soft)", "var(--ink)")
_DASHES: tuple[Any, ...] = ("solid", [8, 4], [2, 3], [10, 3, 2, 3], [4, 4])
_THIN = (", coldest", ", hottest")  # lines that need no entry in the legend
_WORDS = {"color": "var(--ink)", "fontFamily": "DejaVu Sans, Segoe UI, Arial, sans-serif", "fontSize": 12}


def chart(title: str, classes: str = "chart") -> ui.echart:
    """An empty chart that a reader of the page can zoom; `title` is said by screen readers."""
    element = ui.echart({"series": []}, renderer="svg").classes(classes)
    element.props["role"] = "img"
    element.props["aria-label"] = title
    return element


def axes(y: str, right: str = "") -> dict[str, Any]:
    """Options every chart has: time across, `y` up, perhaps a second scale at the right."""
    line = {"lineStyle": {"color": "var(--ink)"}}
    grid = {"show": True, "lineStyle": {"color": "var(--line)"}}
    plain = {"type": "value", "axisLabel": _WORDS, "axisLine": {"show": True, **line}, "nameTextStyle": _WORDS}
    up: list[dict[str, Any]] = [{**plain, "name": y, "splitLine": grid, "scale": False}]
    if right:
        up.append({**plain, "name": right, "splitLine": {"show": False}, "min": 0, "max": 100})
    return {
        "animation": False,
        "grid": {"left": 56, "right": 56 if right else 18, "top": 34, "bottom": 62},
        "legend": {
            "bottom": 0, "textStyle": _WORDS, "itemWidth": 34, "type": "scroll", "itemStyle": {"opacity": 0},
            "pageTextStyle": _WORDS, "pageIconColor": "var(--ink)", "pageIconInactiveColor": "var(--line)",
        },
        "dataZoom": [{"type": "inside", "zoomOnMouseWheel": "ctrl", "moveOnMouseMove": "ctrl"}],
        "tooltip": {"trigger": "axis", "backgroundColor": "var(--sheet)", "borderColor": "var(--ink)", "textStyle": _WORDS},
        "xAxis": {**plain, "name": "time, s", "nameLocation": "middle", "nameGap": 26, "splitLine": grid, "min": 0},
        "yAxis": up,
        "series": [],
    }  # fmt: skip


def line(name: str, x: list[float], y: list[float], n: int, **more: Any) -> dict[str, Any]:
    """One line; the n-th colour and dash, so that a grey print tells them apart."""
    look = {"color": _SERIES[n % len(_SERIES)], "type": _DASHES[n % len(_DASHES)], "width": 2}
    return {
        "id": name, "name": name, "type": "line", "showSymbol": False, "data": [list(p) for p in zip(x, y, strict=True)],
        "lineStyle": look, "itemStyle": {"color": look["color"]}, **more,
    }  # fmt: skip


def temperature(curve: dict[str, Any], verdicts: list[dict[str, Any]]) -> dict[str, Any]:
    """Temperature against time with the acceptance, the named points and, at the right, the charge that has fired."""
    fired = any("charge_fired" in b for b in curve["bodies"].values())
    options = axes("temperature, °C", "charge fired, %" if fired else "")
    options["series"] = temperature_lines(curve, "")
    name_lines(options)
    options["yAxis"][0]["max"] = highest(curve, verdicts)
    options["xAxis"]["max"] = curve["time_s"][-1]
    marks = _limits(verdicts, curve["time_s"][-1])
    if options["series"]:
        options["series"][0]["markLine"] = {
            "silent": True, "symbol": "none", "animation": False, "data": marks,
            "label": {**_WORDS, "fontSize": 11, "position": "insideEndTop"},
        }  # fmt: skip
    return options


def name_lines(options: dict[str, Any]) -> None:
    """Fill the legend; the coldest and hottest places go without an entry of their own."""
    options["legend"]["data"] = [s["name"] for s in options["series"] if not s["name"].endswith(_THIN)]


def temperature_lines(curve: dict[str, Any], before: str, first: int = 0) -> list[dict[str, Any]]:
    """Lines of one shot; `before` names the run when several stand on the same axes."""
    time, out = curve["time_s"], []
    for n, (name, body) in enumerate(curve["bodies"].items(), first):
        spread = max(a - b for a, b in zip(body["max"], body["min"], strict=True)) > 3.0
        out.append(line(f"{before}{name}", time, body["mean"], n))
        if spread:
            thin = {"lineStyle": {"color": _SERIES[n % len(_SERIES)], "width": 1, "type": "dotted"}}
            out.append({**line(f"{before}{name}, coldest", time, body["min"], n), **thin})
            out.append({**line(f"{before}{name}, hottest", time, body["max"], n), **thin})
        if "charge_fired" in body:
            share = [100.0 * s for s in body["charge_fired"]]
            dots = {
                "lineStyle": {"color": "var(--ink)", "width": 1.5, "type": [1, 3]},
                "itemStyle": {"color": "var(--ink)"},
            }
            out.append({**line(f"{before}{name}, charge fired", time, share, n), **dots, "yAxisIndex": 1})
    for n, (name, values) in enumerate(curve["points"].items(), first + len(curve["bodies"])):
        out.append(line(f"{before}{name}", time, values, n))
    return out


def highest(curve: dict[str, Any], verdicts: list[dict[str, Any]]) -> float:
    """Top of the temperature axis: above every curve and every limit, in steps that do not dance while dragging."""
    tops = [max(b["max"]) for b in curve["bodies"].values()]
    tops += [v[k] for v in verdicts for k in ("reaches_degC", "stays_below_degC", "above_degC") if v.get(k) is not None]
    top = 1.05 * max([*tops, 50.0])
    step = 200.0 if top > 600.0 else 100.0
    return float(step * math.ceil(top / step))


def _limits(verdicts: list[dict[str, Any]], end: float) -> list[Any]:
    """The acceptance as lines: how high by when, or never above."""
    marks: list[Any] = []
    for v in verdicts:
        colour = "var(--good)" if v["met"] else "var(--hot)"
        if v.get("reaches_degC") is not None:
            level, by = v["reaches_degC"], v.get("within_s") or end
            words = f"{v['body']}: {level:.0f} °C" + (f" by {by:g} s" if v.get("within_s") else "")
            style = {"lineStyle": {"color": colour, "type": "solid", "width": 1.2}}
            marks.append(
                [{"coord": [0, level], **style, "label": {"formatter": words, "color": colour}}, {"coord": [by, level]}]
            )
            marks.append([{"coord": [by, 0], **style, "label": {"show": False}}, {"coord": [by, level]}])
        for key, words in (("stays_below_degC", "below"), ("above_degC", "hold above")):
            if v.get(key) is not None:
                style = {"lineStyle": {"color": colour, "type": "dashed", "width": 1.2}}
                label = {"formatter": f"{v['body']} {words} {v[key]:.0f} °C", "color": colour}
                marks.append([{"coord": [0, v[key]], **style, "label": label}, {"coord": [end, v[key]]}])
    return marks


def electrical(curve: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Three small charts: current and voltage, power, resistance and inductance at the coil terminals."""
    time, coil = curve["time_s"], curve["coil"]
    volts = (("current, A", "current_A", 1.0, 1), ("voltage, V", "voltage_V", 1.0, 4))
    watts = (("coil power, kW", "power_W", 1e-3, 0), ("frequency, 100 kHz", "frequency_Hz", 1e-5, 3))
    ohms = (("resistance, mΩ", "resistance_ohm", 1e3, 0), ("inductance, 100 nH", "inductance_H", 1e7, 1))
    rows = (
        ("current and voltage, rms", "A, V", volts),
        ("power and frequency", "kW, 100 kHz", watts),
        ("what the coil is", "mΩ, 100 nH", ohms),
    )
    out = []
    for title, unit, lines in rows:
        options = axes(unit)
        options["series"] = [line(name, time, [scale * v for v in coil[key]], n) for name, key, scale, n in lines]
        out.append((title, options))
    return out
