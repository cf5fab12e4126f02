"""What a drag or a key step on the drawing means for the job file."""

from __future__ import annotations

from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job import Job

_DIGITS = 7  # of a length in mm: finer than any machinist, so that 38.1 mm is written as 38.1 mm


def millimetres(metres: float) -> str:
    """A length as it is written into the job file.

    >>> millimetres(0.0381)
    '38.1 mm'
    """
    return f"{round(metres * 1e3, 6):.{_DIGITS}g} mm"


def moved(job: Job, item: str, right: float, up: float) -> dict[str, str]:
    """The keys to change when `item` ("body:ring", "turn:2", "winding:", "point:spot") moves by `right` and `up` (m).

    A body moves along the axis only. A turn of a helix or a spiral takes the whole winding with it, one of listed turns
    moves alone. Raises BadInput when the item is not in the job.
    """
    kind, _, name = item.partition(":")
    if kind == "body":
        body = next((b for b in job.bodies if b.name == name), None)
        if body is not None:
            return {f'body."{name}".centre': millimetres(body.centre + up)} if up else {}
    if kind == "point":
        point = next((p for p in job.points if p.name == name), None)
        if point is not None:
            r = {f'point."{name}".r': millimetres(max(point.r + right, 0.0))} if right else {}
            return r | ({f'point."{name}".z': millimetres(point.z + up)} if up else {})
    if kind in ("turn", "winding") and job.coil is not None:
        return _winding(job.coil, kind, name, right, up)
    raise BadInput(Fault("drawing", f'"{item[:80]}" is not in the job any more; look at the drawing again'))


def _winding(coil: Any, kind: str, name: str, right: float, up: float) -> dict[str, str]:
    if coil.winding == "turns":
        every = range(1, len(coil.turn) + 1)
        chosen = every if kind == "winding" else [n for n in every if str(n) == name]
        changes: dict[str, str] = {}
        for n in chosen:
            turn = coil.turn[n - 1]
            changes |= {f"coil.turn.{n}.z": millimetres(turn.z + up)} if up else {}
            changes |= {f"coil.turn.{n}.mean_diameter": millimetres(turn.mean_diameter + 2.0 * right)} if right else {}
        return changes
    changes = {"coil.centre": millimetres(coil.centre + up)} if up else {}
    keys = ("mean_diameter",) if coil.winding == "helix" else ("inner_diameter", "outer_diameter")
    if right:
        changes |= {f"coil.{k}": millimetres(getattr(coil, k) + 2.0 * right) for k in keys}
    return changes


def apart(job: Job) -> dict[str, Any]:
    """The changes that turn a helix or spiral into turns listed one by one, each at its place. Whole turns only."""
    coil: Any = job.coil
    if coil is None or coil.winding == "turns":
        return {}
    if coil.turns != int(coil.turns):
        raise BadInput(
            Fault("coil.turns", f"must be a whole number to be listed turn by turn; received {coil.turns:g}")
        )
    from coilwright.section.build import coil_turns

    turns = [{"mean_diameter": millimetres(2.0 * t.r), "z": millimetres(t.z)} for t in coil_turns(coil)[0]]
    gone = ("turns", "mean_diameter", "pitch", "centre", "inner_diameter", "outer_diameter")
    table = dict(job.to_dict()["coil"])
    return {
        "coil.winding": "turns",
        **{f"coil.{key}": None for key in gone if key in table},
        "coil.turn": turns,
    }


def values_of(job: Job, item: str) -> list[tuple[str, str, Any]]:
    """(key, label, value as written) of what can be typed for an item of the drawing, in the order of the file."""
    kind, _, name = item.partition(":")
    document = job.to_dict()
    if kind == "body":
        table: dict[str, Any] = next((t for t in document.get("body", []) if t.get("name") == name), {})
        rows = _rows(f'body."{name}"', table, skip=("name",))
    elif kind == "point":
        table = next((t for t in document.get("point", []) if t.get("name") == name), {})
        rows = _rows(f'point."{name}"', table, skip=("name",))
    elif kind in ("turn", "winding"):
        table = document.get("coil", {})
        if table.get("winding") == "turns" and kind == "turn":
            rows = _rows(f"coil.turn.{name}", table["turn"][int(name) - 1])
        else:
            rows = _rows("coil", table, skip=("winding", "turn"))
    else:
        rows = _rows("drive", document.get("drive", {}))
    return rows


def _rows(prefix: str, table: dict[str, Any], skip: tuple[str, ...] = ()) -> list[tuple[str, str, Any]]:
    out: list[tuple[str, str, Any]] = []
    for key, value in table.items():
        if key in skip:
            continue
        if isinstance(value, dict):
            out += [(k, f"{key}: {label}", v) for k, label, v in _rows(f"{prefix}.{key}", value)]
        elif not isinstance(value, list):
            out.append((f"{prefix}.{key}", key.replace("_", " "), value))
    return out


def typed(text: str, before: Any) -> Any:
    """A text typed into a field as the file holds it: numbers and yes/no stay what they were."""
    text = text.strip()
    if isinstance(before, bool):
        return {"true": True, "false": False}.get(text.lower(), text)
    if isinstance(before, int | float):
        try:
            number = float(text)
        except ValueError:
            return text
        return int(number) if number == int(number) and isinstance(before, int) else number
    return text
