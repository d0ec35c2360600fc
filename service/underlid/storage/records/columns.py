"""How values stand in columns: JSON text for nested ones, and the put that both databases know.

JSON is kept as text and not in a database's own JSON type: floats come back exactly, and the same
statements run on SQLite and PostgreSQL.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

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
    *,
    unless: sa.ColumnElement[bool] | None = None,
) -> None:
    """Update the row that *key* names, or insert it; *key* is the primary or a unique key.

    A row for which *unless* holds stays as it is.
    """
    kind = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    wanted: Any = kind(table).values(**key, **values)
    if values:
        wanted = wanted.on_conflict_do_update(
            index_elements=list(key), set_=dict(values), where=None if unless is None else ~unless
        )
    else:
        wanted = wanted.on_conflict_do_nothing(index_elements=list(key))
    connection.execute(wanted)
