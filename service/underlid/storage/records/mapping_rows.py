"""How mappings stand in their table, and which of them cannot be read; inside a transaction.

A filter that no mapping has any more is kept among the past ones: a broker remembers in its session
what it was asked for, and every worker must take that back when it connects the next time.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import sqlalchemy as sa

from underlid.errors import UnderlidError
from underlid.readings.mapping import (
    MAPPINGS_MOST,
    PayloadMapping,
    check_name,
    check_together,
    mapping_from,
)
from underlid.storage.records.columns import json_value, put
from underlid.storage.records.tables import mappings, past_filters, sheds

PAST_MOST: Final = 500
"""Filters that were given up lately; older ones every broker has long forgotten (our judgement)."""


@lru_cache(2 * MAPPINGS_MOST)
def _read(name: str, fields: str) -> PayloadMapping:
    return mapping_from(name, json_value(fields))


def read_mappings(
    connection: sa.Connection,
) -> tuple[dict[str, PayloadMapping], dict[str, str]]:
    """Return the mappings by name, and of each that cannot be used a sentence that says why."""
    good: dict[str, PayloadMapping] = {}
    broken: dict[str, str] = {}
    for row in connection.execute(sa.select(mappings).order_by(mappings.c.name)):
        try:
            good[row.name] = _read(row.name, row.fields)
        except (UnderlidError, ValueError) as error:
            broken[row.name] = str(error)
    return good, broken


def write_mappings(connection: sa.Connection, given: Mapping[str, PayloadMapping]) -> None:
    """Add or change mappings; those that *given* does not name stay."""
    if not given:
        return
    known = read_mappings(connection)[0]
    together = {**known, **given}
    check_together(together)
    there = set(connection.execute(sa.select(sheds.c.id)).scalars())
    for name, one in given.items():
        check_name(name)
        if one.shed not in there:
            raise UnderlidError(
                f"shed of mapping {name}",
                value=one.shed,
                expected="the id of a shed that is set up",
                next_step="Set the shed up first, or correct the id.",
            )
        text = one.model_dump_json(exclude_defaults=True)
        put(connection, mappings, {"name": name}, {"fields": text})
    give_up(connection, {one.filter for one in known.values()})


def give_up(connection: sa.Connection, before: set[str]) -> None:
    """Note which filters of *before* no mapping has any more, and forget those that one has again."""
    now = {one.filter for one in read_mappings(connection)[0].values()}
    connection.execute(sa.delete(past_filters).where(past_filters.c.filter.in_(now)))
    for gone in sorted(before - now):
        put(connection, past_filters, {"filter": gone}, {})
    newest = sa.select(past_filters.c.number).order_by(past_filters.c.number.desc())
    kept = connection.execute(newest.limit(PAST_MOST)).scalars().all()
    if len(kept) == PAST_MOST:
        connection.execute(sa.delete(past_filters).where(past_filters.c.number < kept[-1]))
