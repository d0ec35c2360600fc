"""How messages of other firmware are read: the keeper's mappings, by name."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from underlid.readings.mapping import PayloadMapping
from underlid.storage.records.database import Subject
from underlid.storage.records.mapping_rows import give_up, read_mappings, write_mappings
from underlid.storage.records.tables import mappings, past_filters


@dataclass(frozen=True, slots=True)
class KeptMappings:
    """All mappings at one moment."""

    good: dict[str, PayloadMapping]
    broken: dict[str, str]
    """Those that cannot be used, each with why: written by another version, or by hand."""
    past_filters: tuple[str, ...]
    """Filters that a broker may still send for, and must be told that it need not."""


class MappingRecords(Subject):
    """Reads and changes the mappings."""

    def mappings(self) -> KeptMappings:
        """Return all mappings."""
        with self._database.read() as connection:
            good, broken = read_mappings(connection)
            past = connection.execute(
                sa.select(past_filters.c.filter).order_by(past_filters.c.filter)
            )
            return KeptMappings(good, broken, tuple(past.scalars()))

    def save_mapping(self, name: str, mapping: PayloadMapping, *, was: str = "") -> None:
        """Add or change one mapping; *was* is the name that it had before."""
        with self._database.write() as connection:
            before = {one.filter for one in read_mappings(connection)[0].values()}
            if was and was != name:
                connection.execute(sa.delete(mappings).where(mappings.c.name == was))
            write_mappings(connection, {name: mapping})
            give_up(connection, before)

    def remove_mapping(self, name: str) -> bool:
        """Remove a mapping; False when there was none. The readings that it brought stay."""
        with self._database.write() as connection:
            before = {one.filter for one in read_mappings(connection)[0].values()}
            gone = connection.execute(sa.delete(mappings).where(mappings.c.name == name)).rowcount
            give_up(connection, before)
        return gone > 0
