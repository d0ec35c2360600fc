"""Bins that somebody has taken out of service: judged as ever, but nobody is told of them.

A term of IEC 62682, for a bin that is emptied, rebuilt or waits for its probe. What would have been told
stands spared in the outbox (`posting.py`); what is still open when the bin is put back is told then.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from underlid.alerts.alert import AlertState, Message
from underlid.errors import UnderlidError, Words
from underlid.journal.numbers import line_of_text
from underlid.storage.records.columns import put, unpacked
from underlid.storage.records.database import Subject
from underlid.storage.records.outbox import SPARED, WAITING
from underlid.storage.records.posting import OUT, spare
from underlid.storage.records.service_tables import out_of_service
from underlid.storage.records.setup import require_bin
from underlid.storage.records.tables import alerts, outbox
from underlid.timeline import rfc3339

WHY_MOST_CHARS = 120


@dataclass(frozen=True, slots=True)
class OutOfService:
    """That a bin is out of service: since and until when (None: until it is put back), by whom and why."""

    bin: str
    since_ms: int
    until_ms: int | None
    by: str
    why: str


class ServiceRecords(Subject):
    """Takes bins out of service and puts them back."""

    def out_of_service(self) -> Mapping[str, OutOfService]:
        """Return the bins that are out of service."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(out_of_service).order_by(out_of_service.c.bin))
            return {row.bin: OutOfService(**row._mapping) for row in rows}

    def take_out(self, bin: str, until_ms: int | None, by: str, why: str, at_ms: int) -> None:
        """Take a bin out of service, with what waits to be told of it.

        Taken out again, it keeps since when it was.
        """
        if until_ms is not None and until_ms <= at_ms:
            raise UnderlidError(
                "end of being out of service",
                value=Words(rfc3339(until_ms)),
                expected="a time to come",
                next_step="Correct it, or leave it out.",
            )
        values = {
            "until_ms": until_ms,
            "by": by,
            "why": line_of_text("reason", why, WHY_MOST_CHARS),
        }
        with self._database.write() as connection:
            require_bin(connection, bin)
            first = sa.select(out_of_service.c.since_ms).where(out_of_service.c.bin == bin)
            since_ms = connection.execute(first).scalar()
            values["since_ms"] = at_ms if since_ms is None else since_ms
            put(connection, out_of_service, {"bin": bin}, values)
            _hold_back(connection, bin, at_ms)

    def put_back(self, bin: str, at_ms: int) -> int:
        """Put a bin back into service; return how many messages are sent now, of what is still open."""
        with self._database.write() as connection:
            require_bin(connection, bin)
            return _put_back(connection, bin, at_ms)

    def put_back_due(self, now_ms: int) -> int:
        """Put back the bins whose time has come; return how many messages are sent now."""
        due = sa.select(out_of_service.c.bin).where(out_of_service.c.until_ms <= now_ms)
        with self._database.read() as connection:
            if not connection.execute(due).first():
                return 0
        with self._database.write() as connection:
            return sum(
                _put_back(connection, bin, now_ms)
                for bin in connection.execute(due).scalars().all()
            )


def _hold_back(connection: sa.Connection, bin: str, at_ms: int) -> None:
    """Keep back what waits for the end of quiet hours, for somebody to acknowledge, or for its channel."""
    waiting = sa.select(outbox.c.number, outbox.c.message).where(outbox.c.state == WAITING)
    rows = [(row.number, unpacked(row.message, Message)) for row in connection.execute(waiting)]
    numbers = [number for number, one in rows if one.bin == bin and not one.of_shed]
    spare(connection, outbox.c.number.in_(numbers), at_ms)


def _put_back(connection: sa.Connection, bin: str, at_ms: int) -> int:
    """Put a bin back, and send the newest spared message of each alert that still wants somebody."""
    gone = sa.delete(out_of_service).where(out_of_service.c.bin == bin)
    if not connection.execute(gone).rowcount:
        return 0
    shelved = sa.func.coalesce(alerts.c.shelved_until_ms, 0) > at_ms
    wanting = sa.select(alerts.c.id).where(
        alerts.c.bin == bin,
        alerts.c.state != AlertState.RETURNED.value,
        alerts.c.acknowledged_at_ms.is_(None),
        sa.not_(shelved),
    )
    count = 0
    for alert_id in connection.execute(wanting).scalars().all():
        newest = (
            sa.select(sa.func.max(outbox.c.number))
            .where(
                outbox.c.message_key.startswith(f"{alert_id}:", autoescape=True),
                outbox.c.state == SPARED,
                outbox.c.error == OUT,
            )
            .group_by(outbox.c.channel)
        )
        numbers = connection.execute(newest).scalars().all()
        again = sa.update(outbox).where(outbox.c.number.in_(numbers))
        values = {"state": WAITING, "due_at_ms": at_ms, "done_at_ms": None, "error": ""}
        count += connection.execute(again.values(**values)).rowcount
    return count
