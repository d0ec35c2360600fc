"""Each bin's verdicts as last judged, for workers that do not judge it, and readings that came late.

A judge writes a bin's state with its judgement (`alerts.save_judgement`); the page of another
process reads it here. A worker that could send readings on only after a while says so here, so that
judges look at the store again and not only at what is new in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from underlid.storage.records.columns import json_text, json_value, put
from underlid.storage.records.database import Subject
from underlid.storage.records.tables import bin_states, late_arrivals

STATES_MOST: Final = 10_000
"""Bins told of at once; a page that missed some looks again."""

LATE_KEPT: Final = 1000
"""Notes of late readings that are kept; a judge looks at them every tick."""


class StateRecords(Subject):
    """Reads states, and notes and reads late arrivals."""

    def bin_state(self, bin_id: str) -> dict[str, Any] | None:
        """Return the bin's verdicts and open alerts as last judged, None before the first time."""
        wanted = sa.select(bin_states.c.state).where(bin_states.c.bin == bin_id)
        with self._database.read() as connection:
            text = connection.execute(wanted).scalar()
        return None if text is None else json_value(text)

    def judged_since(self, judged_at_ms: int) -> dict[str, int]:
        """Return the bins judged at or after a time, each with when."""
        wanted = (
            sa.select(bin_states.c.bin, bin_states.c.judged_at_ms)
            .where(bin_states.c.judged_at_ms >= judged_at_ms)
            .order_by(bin_states.c.judged_at_ms.desc())
            .limit(STATES_MOST)
        )
        with self._database.read() as connection:
            return {row.bin: row.judged_at_ms for row in connection.execute(wanted)}

    def last_judged_ms(self) -> int | None:
        """Return when the last judgement of any bin was."""
        with self._database.read() as connection:
            return connection.execute(sa.select(sa.func.max(bin_states.c.judged_at_ms))).scalar()

    def note_late(self, worker: str, from_ms: int, at_ms: int) -> None:
        """Say that readings received from *from_ms* on have only now reached the store.

        Writers take turns here, so the numbers become visible in their order.
        """
        with self._database.write() as connection:
            connection.execute(
                sa.insert(late_arrivals).values(worker=worker, from_ms=from_ms, at_ms=at_ms)
            )
            newest = sa.select(sa.func.max(late_arrivals.c.number)).scalar_subquery()
            connection.execute(
                sa.delete(late_arrivals).where(late_arrivals.c.number <= newest - LATE_KEPT)
            )

    def last_late(self) -> int:
        """Return the number of the newest note, 0 for none."""
        wanted = sa.select(sa.func.max(late_arrivals.c.number))
        with self._database.read() as connection:
            return connection.execute(wanted).scalar() or 0


def put_state(connection: sa.Connection, state: Mapping[str, object], judged_at_ms: int) -> None:
    """Store a bin's state in the transaction of its judgement."""
    values = {"shed": state["shed"], "judged_at_ms": judged_at_ms, "state": json_text(state)}
    put(connection, bin_states, {"bin": state["bin"]}, values)
