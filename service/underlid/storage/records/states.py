"""Each bin's verdicts as last judged, for workers that do not judge it.

A judge writes a bin's state with its judgement (`alerts.save_judgement`); the page of another
process reads it here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from underlid.storage.records.columns import json_text, json_value, put
from underlid.storage.records.database import Subject
from underlid.storage.records.tables import bin_states

STATES_MOST: Final = 10_000
"""Bins told of at once; a page that missed some looks again."""


class StateRecords(Subject):
    """Reads states."""

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


def put_state(connection: sa.Connection, state: Mapping[str, object], judged_at_ms: int) -> None:
    """Store a bin's state in the transaction of its judgement."""
    values = {"shed": state["shed"], "judged_at_ms": judged_at_ms, "state": json_text(state)}
    put(connection, bin_states, {"bin": state["bin"]}, values)
