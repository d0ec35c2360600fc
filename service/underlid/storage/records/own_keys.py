"""Keys that the service makes for itself and all its workers share, by name, in clear.

They lie beside what they are for, in the records and in every backup of them.
"""

from __future__ import annotations

from collections.abc import Callable

import sqlalchemy as sa

from underlid.storage.records.columns import put
from underlid.storage.records.database import Subject
from underlid.storage.records.table_columns import metadata, text

own_keys = sa.Table(
    "own_keys",
    metadata,
    sa.Column("name", sa.String(64), primary_key=True),
    text("key"),
)


class OwnKeyRecords(Subject):
    """Keeps them."""

    def own_key(self, name: str, make: Callable[[], str]) -> str:
        """Return a key; the first to ask makes it."""
        wanted = sa.select(own_keys.c.key).where(own_keys.c.name == name)
        with self._database.read() as connection:
            kept: str | None = connection.execute(wanted).scalar()
        if kept is not None:
            return kept
        with self._database.write() as connection:
            put(connection, own_keys, {"name": name}, {"key": make()}, unless=sa.true())
            made: str = connection.execute(wanted).scalar_one()
        return made
