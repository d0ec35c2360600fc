"""How values stand in columns: JSON text for nested ones, and the put that both dialects know.

JSON is kept as text and not in a database's own JSON type: floats come back exactly, and the same
statements run on SQLite and PostgreSQL.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec
import sqlalchemy as sa

Value = TypeVar("Value")


def json_text(value: object) -> str:
    """Return *value* (numbers, text, lists, maps) as JSON text; NaN and infinities survive."""
    return json.dumps(value, separators=(",", ":"))


def json_value(text: str) -> Any:
    """Return what `json_text` was given."""
    return json.loads(text)


def packed(value: object) -> str:
    """Return a dataclass (or a tuple of them) as JSON text."""
    return msgspec.json.encode(value).decode()


def unpacked(text: str, kind: type[Value]) -> Value:
    """Return the dataclass that `packed` was given; *kind* says which."""
    return msgspec.json.decode(text, type=kind)


def put(
    connection: sa.Connection,
    table: sa.Table,
    key: Mapping[str, object],
    values: Mapping[str, object],
) -> None:
    """Update the row that *key* names, or insert it."""
    here = [table.c[name] == value for name, value in key.items()]
    if values:
        changed = connection.execute(sa.update(table).where(*here).values(**values)).rowcount
    else:
        changed = len(connection.execute(sa.select(sa.literal(1)).where(*here)).all())
    if not changed:
        connection.execute(sa.insert(table).values(**key, **values))
