"""Change one value of a job file and leave everything else, comments included, as it stands.

A key is what the sentences of faults show: "coil.centre", "body.ring.shape.height", "accept.1.reaches". Members of a
list of named tables go by their name, of other lists by their place counted from one; a name that holds a point
stands in quotes: body."6.3 mm pin".centre.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, MutableMapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import suggestion

_STEP = re.compile(r'"([^"]*)"|([^."]+)')


def split_key(key: str) -> list[str]:
    """Parts of a dotted key; raises BadInput when it is not one.

    >>> split_key('body."6.3 mm pin".centre')
    ['body', '6.3 mm pin', 'centre']
    """
    steps, place = [], 0
    while place < len(key):
        match = _STEP.match(key, place)
        if match is None or (match.end() < len(key) and key[match.end()] != "."):
            break
        steps.append(match[1] if match[1] is not None else match[2].strip())
        place = match.end() + 1
    if not steps or place != len(key) + 1 or not all(steps):
        raise BadInput(
            Fault(f'key "{key[:80]}"', 'is not a dotted key; write e.g. "coil.centre" or "body.ring.centre"')
        )
    return steps


def set_value(text: str, key: str, value: Any) -> str:
    """The text of a job file with `key` set to `value` (None takes the key out); comments and order stay.

    `value` is what TOML can hold: a text such as "13 mm", a number, true or false, a list, a table. Raises BadInput
    when the text is not TOML or the key leads nowhere.
    """
    try:
        expected = tomllib.loads(text)
        document = tomlkit.parse(text)
        put(expected, key, value)
        put(document, key, value)
        changed = tomlkit.dumps(document)
        arrived = tomllib.loads(changed)
    except (TOMLKitError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadInput(Fault(f'key "{key[:80]}"', f"cannot be set because the file is not TOML: {error}")) from None
    if arrived != expected:
        raise BadInput(
            Fault(
                f'key "{key[:80]}"', "cannot be changed in the text of this file; write each kind of table in one block"
            )
        )
    return changed


def add_table(text: str, heading: str, table: Mapping[str, Any]) -> str:
    """The text with one more [[heading]] behind those it has; comments and order stay. Raises BadInput.

    >>> print(add_table("format = 1", "point", {"name": "top"}).strip())
    format = 1
    <BLANKLINE>
    [[point]]
    name = "top"
    """
    try:
        document = tomlkit.parse(text)
        made = _under_headings([_plain(table, heading)])
        if heading in document:
            document[heading].append(made[0])
        else:
            document[heading] = made
        changed = tomlkit.dumps(document)
        expected = tomllib.loads(text)
        expected[heading] = [*expected.get(heading, []), dict(table)]
        arrived = tomllib.loads(changed)
    except (TOMLKitError, tomllib.TOMLDecodeError, RecursionError, AttributeError) as error:
        what = f"cannot be added to because the file is not TOML with [[{heading}]] tables: {error}"
        raise BadInput(Fault(f"[[{heading}]]", what)) from None
    if arrived != expected:
        what = "cannot be added to in the text of this file; write each kind of table in one block"
        raise BadInput(Fault(f"[[{heading}]]", what))
    return changed


def add_note(text: str, key: str, note: str) -> str:
    """The text with `note` as a comment behind the line that holds `key`; a comment that stands there is kept before it.

    Inside a table written in one line the comment goes behind that line.
    """
    document = tomlkit.parse(text)
    holder: Any = document
    line: Any = None
    for step in split_key(key):
        holder = holder[step] if isinstance(holder, Mapping) else holder[_index(holder, step, key)]
        if line is None or not isinstance(line, InlineTable):
            line = holder
    before = line.trivia.comment.lstrip("# ").strip()
    line.comment(f"{before}; {note}" if before else note)
    line.trivia.comment_ws = line.trivia.comment_ws or "  "
    changed = tomlkit.dumps(document)
    if tomllib.loads(changed) != tomllib.loads(text):
        raise BadInput(Fault(f'key "{key[:80]}"', "cannot carry a note in the text of this file"))
    return changed


def put(document: MutableMapping[str, Any], key: str, value: Any) -> None:
    """Set, or with None take out, one value of a nested document in place."""
    steps = split_key(key)
    value = _plain(value, key)
    holder: Any = document
    for depth, step in enumerate(steps[:-1]):
        holder = _enter(holder, step, steps, depth)
    last = steps[-1]
    if isinstance(holder, Mapping):
        _put_in_table(holder, last, value, key)
        return
    index = _index(holder, last, key)
    if value is not None and isinstance(holder[index], Mapping) and not isinstance(value, Mapping):
        raise BadInput(Fault(f'key "{key[:80]}"', "names a whole table; give a table, or name a key inside it"))
    if value is None:
        del holder[index]
    else:
        holder[index] = value


def _put_in_table(holder: Any, last: str, value: Any, key: str) -> None:
    if value is not None:
        holder[last] = _under_headings(value) if isinstance(holder, tomlkit.TOMLDocument) else value
    elif last in holder:
        del holder[last]
    else:
        raise BadInput(Fault(f'key "{key[:80]}"', f"cannot be taken out, it is not there; {suggestion(last, holder)}"))


def _under_headings(value: Any) -> Any:
    """A list of tables at the top of a file stands under [[headings]], not as a list in one line below another heading."""
    if not isinstance(value, list) or not value or not all(isinstance(v, Mapping) for v in value):
        return value
    tables = tomlkit.aot()
    for entry in value:
        table = tomlkit.table()
        for key, inside in entry.items():
            table[key] = _in_one_line(inside) if isinstance(inside, Mapping) else inside
        table.add(tomlkit.nl())
        tables.append(table)
    return tables


def _in_one_line(value: Mapping[str, Any]) -> Any:
    table = tomlkit.inline_table()
    table.update(value)
    return table


def _enter(holder: Any, step: str, steps: list[str], depth: int) -> Any:
    key = ".".join(steps)
    if isinstance(holder, Mapping):
        if step not in holder:
            holder[step] = {}  # type: ignore[index]
        inside = holder[step]
        if not isinstance(inside, Mapping | list):
            raise BadInput(Fault(f'key "{key[:80]}"', f'leads nowhere: "{step}" is a value, not a table'))
        return inside
    inside = holder[_index(holder, step, key)]
    if not isinstance(inside, Mapping | list):
        raise BadInput(Fault(f'key "{key[:80]}"', f'leads nowhere: "{step}" is a value, not a table'))
    return inside


def _index(holder: Any, step: str, key: str) -> int:
    names = [str(item["name"]) if isinstance(item, Mapping) and "name" in item else "" for item in holder]
    if step in names:
        return names.index(step)
    if step.isdecimal() and len(step) < 6 and 1 <= int(step) <= len(names):
        return int(step) - 1
    known = [n for n in names if n] or [f"1 to {len(names)}"]
    raise BadInput(Fault(f'key "{key[:80]}"', f'leads nowhere: "{step}" is not in the file; {suggestion(step, known)}'))


def _plain(value: Any, key: str) -> Any:
    """A value as TOML knows it; numbers of numpy become Python's."""
    if value is None or isinstance(value, str | bool):
        return value
    if hasattr(value, "item") and not isinstance(value, list | dict):
        value = value.item()
    if isinstance(value, int | float):
        return value
    if isinstance(value, list | tuple):
        return [_plain(v, key) for v in value]
    if isinstance(value, Mapping):
        return {str(k): _plain(v, key) for k, v in value.items()}
    raise BadInput(
        Fault(
            f'key "{key[:80]}"',
            f'cannot hold a {type(value).__name__}; give a text such as "13 mm", a number, a list or a table',
        )
    )
