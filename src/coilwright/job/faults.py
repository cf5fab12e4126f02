"""From what the validation library reports to one sentence a person can act on."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Literal, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from coilwright.errors import Fault
from coilwright.job.tables import Table
from coilwright.job.values import Quantity, as_written

TAGS = ("kind", "section", "winding")

# what to write for a key that is missing and is no quantity
EXAMPLES = {
    "name": '"ring"',
    "outer_diameter": '"9 mm"',
    "inner_diameter": '"5 mm"',
    "mean_diameter": '"24 mm"',
    "height": '"0.6 mm"',
    "length": '"40 mm"',
    "wall": '"0.3 mm"',
    "outside": '"4 mm"',
    "bore": '"2.5 mm"',
    "wire_diameter": '"1 mm"',
    "strand_diameter": '"0.1 mm"',
    "thickness": '"20 um"',
    "spacing": '"8 mm"',
    "z": '"0.3 mm"',
    "material": '"stainless steel 304"',
    "shape": '{ kind = "bar", diameter = "12 mm", length = "40 mm" }',
    "kind": '"bar"',
    "points": '[["0 mm", "0 mm"], ["5 mm", "0 mm"], ["0 mm", "5 mm"]]',
    "file": '"part.dxf"',
    "section": '"round tube"',
    "conductor": '{ section = "round tube", outside = "4 mm", bore = "2.5 mm", material = "copper" }',
    "strands": "120",
    "turns": "4",
    "turn": '[{ mean_diameter = "24 mm", z = "0 mm" }]',
    "winding": '"helix"',
    "level": "0.6",
    "body": '"ring"',
    "bodies": '["ring", "bulb"]',
}


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, or the only one that contains it, or None when nothing is alike."""
    names = list(known)
    containing = [k for k in names if len(word) >= 3 and word.lower() in k.lower()]
    if len(containing) == 1:
        return containing[0]
    found = difflib.get_close_matches(word[:60].lower(), [k.lower() for k in names], n=1, cutoff=0.6)
    return next(k for k in names if k.lower() == found[0]) if found else None


def suggestion(word: str, known: Iterable[str]) -> str:
    """Tail of a sentence about an unknown word: the near match, else all that is known."""
    names = list(known)
    match = nearest(word, names)
    if match is not None:
        return f'did you mean "{match}"?'
    if not names:
        return "there are none in this file"
    shown = ", ".join(n[:60] for n in names[:20]) + (", ..." if len(names) > 20 else "")
    return f"known are {shown}"


def section_faults(where: str, kind: Any, received: object, error: ValidationError, joint: str = ": ") -> list[Fault]:
    """Every fault of one section. `where` names the section, `kind` is its type, `received` its raw table."""
    faults = []
    details = error.errors(include_url=False)
    inside = {detail["loc"][: len(detail["loc"]) - k] for detail in details for k in (1, 2)}
    for detail in details:
        if detail["type"] == "too_short" and detail["loc"] in inside:
            continue  # entries with faults of their own are not counted, so the list only seems too short
        key = ".".join(_path(detail["loc"], received))
        for sub, sentence in _sentences(detail, kind):
            place = ".".join(part for part in (key, sub) if part)
            faults.append(Fault(f"{where}{joint}{place}" if place else where, sentence))
    return faults


def _path(loc: tuple[int | str, ...], received: object) -> list[str]:
    """Keys of the file on the way to a fault: list places count from one, union tags are left out."""
    path: list[str] = []
    for k, step in enumerate(loc):
        if isinstance(step, int):
            path.append(str(step + 1))
            received = received[step] if isinstance(received, list) and step < len(received) else None
        elif isinstance(received, Mapping) and step in _tags(received) and k < len(loc) - 1:
            continue
        elif isinstance(received, Mapping) and (
            step in received or (k == len(loc) - 1 and step not in _tags(received))
        ):
            path.append(step if len(step) <= 60 else step[:57] + "...")
            received = received.get(step)
    return path


def _tags(received: Mapping[str, Any]) -> set[str]:
    return {t for t in (received.get(k) for k in TAGS) if isinstance(t, str)}


def _sentences(detail: ErrorDetails, kind: Any) -> Iterator[tuple[str, str]]:
    """(key below the place of the error, sentence)."""
    context, received = detail.get("ctx") or {}, detail.get("input")
    match detail["type"]:
        case "sentence":
            yield "", context["text"]
        case "clashes":
            for key, sentence in context["found"]:
                yield key, _fill(sentence, received)
        case "missing":
            yield "", f"is missing; write e.g. {_example(kind, detail['loc'])}"
        case "extra_forbidden":
            key = str(detail["loc"][-1])
            yield "", f"is not a known key; {suggestion(key, _known_keys(kind, detail['loc'][:-1]))}"
        case "union_tag_not_found":
            tag = str(context.get("discriminator", "kind")).strip("'")
            yield tag, f"is missing; write one of {_choices(kind, detail['loc'])}"
        case "union_tag_invalid":
            tag = str(context.get("discriminator", "kind")).strip("'")
            given = str(context.get("tag", ""))
            options = _tag_values(_models(kind, detail["loc"]))
            match_ = nearest(given, options)
            tail = f'did you mean "{match_}"?' if match_ else f"write one of {_choices(kind, detail['loc'])}"
            yield tag, f"{as_written(given)} is not known; {tail}"
        case _:
            yield "", _plain(detail, kind)


def _fill(sentence: str, received: object) -> str:
    if not isinstance(received, Mapping):
        return sentence
    return re.sub(r"\{(\w+)\}", lambda m: as_written(received[m[1]]) if m[1] in received else m[0], sentence)


def _plain(detail: ErrorDetails, kind: Any) -> str:
    """Sentences for the error types of plain values."""
    context, shown = detail.get("ctx") or {}, as_written(detail.get("input"))
    bounds = {
        "greater_than": ("greater than", "gt"),
        "greater_than_equal": ("at least", "ge"),
        "less_than": ("less than", "lt"),
        "less_than_equal": ("at most", "le"),
    }
    error = detail["type"]
    if error in bounds:
        words, key = bounds[error]
        tail = _write_example(kind, detail["loc"])
        return f"must be {words} {context[key]:g}, not {shown}{tail}"
    if error in {"string_pattern_mismatch", "string_too_short", "string_too_long"}:
        return f"must be a text of 1 to {context.get('max_length', 80)} characters without quotes and line breaks, not {shown}"
    if error in {"too_short", "too_long"}:
        bound = f"at least {context['min_length']}" if error == "too_short" else f"at most {context['max_length']}"
        return f"must hold {bound} entries, not {context.get('actual_length')}"
    wanted = {
        "string_type": "a text in quotes",
        "literal_error": f"one of {context.get('expected', '')}".replace("'", '"'),
        "float_type": "a number without quotes",
        "int_type": "a whole number without quotes",
        "int_from_float": "a whole number",
        "finite_number": "a finite number",
        "bool_type": "true or false",
        "tuple_type": "a list in square brackets",
        "list_type": "a list in square brackets",
        "model_type": "a table",
        "model_attributes_type": "a table in braces or under its own heading",
        "dict_type": "a table",
    }.get(error)
    if wanted is None:
        return f"cannot be used: {detail['msg']}; received {shown}"
    tail = "" if error == "literal_error" else _write_example(kind, detail["loc"])  # the words to choose from stand there
    return f"must be {wanted}, not {shown}{tail}"


def _write_example(kind: Any, loc: tuple[int | str, ...]) -> str:
    example = _example(kind, loc, or_none=True)
    return f"; write e.g. {example}" if example else ""


# what the models know about a place --------------------------------------------------------------------------------


def _tables_in(annotation: Any) -> tuple[type[Table], ...]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return (annotation,)
    return tuple(t for arg in get_args(annotation) for t in _tables_in(arg))


def _models(kind: Any, loc: tuple[int | str, ...]) -> tuple[type[Table], ...]:
    """The table classes that may stand at a place of a section of type `kind`."""
    state = _tables_in(kind)
    for step in loc:
        if isinstance(step, int):
            continue
        fields = [f for model in state for name, f in model.model_fields.items() if (f.alias or name) == step]
        tagged = tuple(m for m in state if step in _tag_values((m,)))
        if fields and not (tagged and len(state) > 1):
            state = tuple(t for f in fields for t in _tables_in(f.annotation))
        elif tagged:
            state = tagged
    return state


def _tag_values(models: Iterable[type[Table]]) -> list[str]:
    found: list[str] = []
    for model in models:
        for tag in TAGS:
            field = model.model_fields.get(tag)
            if field is not None and get_origin(field.annotation) is Literal:
                found.extend(get_args(field.annotation))
    return found


def _choices(kind: Any, loc: tuple[int | str, ...]) -> str:
    return ", ".join(f'"{v}"' for v in _tag_values(_models(kind, loc)))


def _known_keys(kind: Any, loc: tuple[int | str, ...]) -> list[str]:
    return [f.alias or name for model in _models(kind, loc) for name, f in model.model_fields.items()]


def _example(kind: Any, loc: tuple[int | str, ...], or_none: bool = False) -> str | None:
    """`key = example` for the last key of a place."""
    keys = [step for step in loc if isinstance(step, str)]
    if not keys or isinstance(loc[-1], int):
        return None
    key = keys[-1]
    if key in EXAMPLES:
        return f"{key} = {EXAMPLES[key]}"
    for model in _models(kind, loc[:-1]):
        for name, field in model.model_fields.items():
            if (field.alias or name) != key:
                continue
            quantity = _quantity((*field.metadata, field.annotation))
            if quantity is not None:
                return f'{key} = "{quantity.shown_example}"'
    return None if or_none else f'{key} = "..."'


def _quantity(parts: Iterable[Any]) -> Quantity | None:
    for part in parts:
        if isinstance(part, Quantity):
            return part
        found = _quantity([*get_args(part), *getattr(part, "__metadata__", ())])
        if found is not None:
            return found
    return None
