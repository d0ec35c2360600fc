"""Writes the little TOML that a set-up file needs: a table with its arrays of tables.

Reading TOML is the standard library's business. Values: text, numbers, yes/no, lists and inline
tables; None and empty values are left out.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from enum import Enum


def table_text(
    name: str,
    values: Mapping[str, object],
    arrays: Mapping[str, Sequence[Mapping[str, object]]],
    even_empty: Collection[str] = (),
) -> str:
    """Return `[name]` with *values*, then `[[name.key]]` for every table of *arrays*.

    Keys of *even_empty* are written when their text is empty, too.

    >>> print(table_text("bin.tansy", {"herd_kg": 1.2, "name": ""}, {"probe": [{"id": "t-1"}]}))
    [bin.tansy]
    herd_kg = 1.2
    <BLANKLINE>
    [[bin.tansy.probe]]
    id = "t-1"
    <BLANKLINE>
    """
    lines = [f"[{name}]", *_lines(values, even_empty)]
    for key, tables in arrays.items():
        for table in tables:
            lines += ["", f"[[{name}.{key}]]", *_lines(table)]
    return "\n".join(lines) + "\n"


def _lines(values: Mapping[str, object], even_empty: Collection[str] = ()) -> list[str]:
    return [
        f"{key} = {_value(value)}"
        for key, value in values.items()
        if not _is_nothing(value) or (key in even_empty and value == "")
    ]


def _is_nothing(value: object) -> bool:
    return value is None or (isinstance(value, str | list | tuple | dict) and not value)


def _value(value: object) -> str:
    if isinstance(value, Enum):
        value = value.value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        inside = ", ".join(
            f"{key} = {_value(each)}" for key, each in value.items() if not _is_nothing(each)
        )
        return "{ " + inside + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_value(each) for each in value) + "]"
    message = f"TOML has no {type(value).__name__}"
    raise TypeError(message)
