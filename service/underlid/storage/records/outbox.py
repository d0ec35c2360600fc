"""The outbox: messages that wait for their channel, and those that could not be delivered.

Rows are posted in the transaction that stores the alert's change (`alerts.py`) and taken out by
`notify.outbox`. A message is posted once per channel, however often its judgement is stored. Where
channels are leased to workers, what became of a message is noted by the holder only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import Message
from underlid.errors import UnderlidError
from underlid.storage.records.columns import packed, put, unpacked
from underlid.storage.records.database import Subject
from underlid.storage.records.leases import Lease, require
from underlid.storage.records.tables import outbox

WAITING: Final = "waiting"
SENT: Final = "sent"
DEAD: Final = "dead"
SPARED: Final = "spared"
"""Not sent, because by its time it was not needed any more."""

ERROR_MOST_CHARS: Final = 500
"""Enough to say what a channel answered."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message for one channel; `tries` were made, `error` says how the last one failed."""

    id: int
    channel: str
    message: Message
    tries: int
    error: str = ""
    done_at_ms: int | None = None
    """When it was delivered or given up."""


class OutboxRecords(Subject):
    """Takes messages out of the outbox and keeps what became of them."""

    def due_deliveries(self, now_ms: int, most: int, channel: str | None = None) -> list[Delivery]:
        """Return deliveries (of one channel) whose time has come, the longest due first."""
        due = sa.and_(outbox.c.state == WAITING, outbox.c.due_at_ms <= now_ms)
        if channel is not None:
            due = sa.and_(due, outbox.c.channel == channel)
        return self._deliveries(due, outbox.c.due_at_ms, most)

    def waiting_channels(self) -> set[str]:
        """Return the names of the channels that have deliveries waiting."""
        wanted = sa.select(outbox.c.channel).where(outbox.c.state == WAITING).distinct()
        with self._database.read() as connection:
            return set(connection.execute(wanted).scalars())

    def due_channels(self, now_ms: int) -> set[str]:
        """Return the names of the channels for which the time of a delivery has come."""
        due = sa.and_(outbox.c.state == WAITING, outbox.c.due_at_ms <= now_ms)
        with self._database.read() as connection:
            return set(
                connection.execute(sa.select(outbox.c.channel).where(due).distinct()).scalars()
            )

    def waiting_count(self) -> int:
        """Return how many deliveries have not been made yet."""
        wanted = sa.select(sa.func.count()).where(outbox.c.state == WAITING)
        with self._database.read() as connection:
            return connection.execute(wanted).scalar_one()

    def dead_letters(self, most: int = 100) -> list[Delivery]:
        """Return the deliveries that were given up, newest first."""
        return self._deliveries(outbox.c.state == DEAD, outbox.c.done_at_ms.desc(), most)

    def delivered(self, delivery_id: int, at_ms: int, lease: Lease | None = None) -> None:
        """Note that a channel took a message; `LeaseLostError` when *lease* is no longer held."""
        self._update(
            delivery_id,
            lease,
            state=SENT,
            done_at_ms=at_ms,
            error="",
            tries=outbox.c.tries + 1,
        )

    def postpone(self, delivery_id: int, until_ms: int, lease: Lease | None = None) -> None:
        """Let a message wait until later, without counting a try."""
        self._update(delivery_id, lease, due_at_ms=until_ms)

    def spare(self, delivery_id: int, at_ms: int, why: str, lease: Lease | None = None) -> None:
        """Note that a message is not to be sent any more, and why."""
        why = why[:ERROR_MOST_CHARS]
        self._update(delivery_id, lease, state=SPARED, done_at_ms=at_ms, error=why)

    def failed(
        self,
        delivery_id: int,
        at_ms: int,
        error: str,
        next_try_ms: int | None,
        lease: Lease | None = None,
    ) -> None:
        """Note a failure; without a next try the message becomes a dead letter."""
        given_up = next_try_ms is None
        self._update(
            delivery_id,
            lease,
            state=DEAD if given_up else WAITING,
            due_at_ms=at_ms if next_try_ms is None else next_try_ms,
            done_at_ms=at_ms if given_up else None,
            error=error[:ERROR_MOST_CHARS],
            tries=outbox.c.tries + 1,
        )

    def retry_dead(self, delivery_id: int, now_ms: int) -> None:
        """Put a dead letter back into the outbox, with all its tries before it."""
        changed = self._update(
            delivery_id,
            only=DEAD,
            state=WAITING,
            due_at_ms=now_ms,
            done_at_ms=None,
            tries=0,
        )
        if not changed:
            raise UnderlidError(
                "dead letter",
                value=delivery_id,
                expected="the number of a message that was given up",
                next_step="List the undelivered messages to find it.",
            )

    def forget_sent(self, before_ms: int) -> int:
        """Delete what was delivered or spared before *before_ms*; return how many."""
        done = outbox.c.state.in_((SENT, SPARED))
        gone = sa.delete(outbox).where(done, outbox.c.done_at_ms < before_ms)
        with self._database.write() as connection:
            return connection.execute(gone).rowcount

    def _deliveries(
        self, which: sa.ColumnElement[bool], order: sa.ColumnElement[object], most: int
    ) -> list[Delivery]:
        wanted = sa.select(outbox).where(which).order_by(order, outbox.c.number).limit(most)
        with self._database.read() as connection:
            rows = connection.execute(wanted).all()
        return [
            Delivery(
                row.number,
                row.channel,
                unpacked(row.message, Message),
                row.tries,
                row.error,
                row.done_at_ms,
            )
            for row in rows
        ]

    def _update(
        self,
        delivery_id: int,
        lease: Lease | None = None,
        *,
        only: str = WAITING,
        **values: object,
    ) -> int:
        here = sa.and_(outbox.c.number == delivery_id, outbox.c.state == only)
        with self._database.write(alone=False) as connection:
            if lease is not None:
                require(connection, lease)
            return connection.execute(sa.update(outbox).where(here).values(**values)).rowcount


def post(
    connection: sa.Connection, message: Message, channel: str, due_at_ms: int | None = None
) -> None:
    """Put one message for one channel into the outbox, unless it was posted before.

    It is due at once, or at *due_at_ms*.
    """
    put(
        connection,
        outbox,
        {"message_key": message.key, "channel": channel},
        {
            "message": packed(replace(message, texts={})),
            "state": WAITING,
            "tries": 0,
            "due_at_ms": message.at_ms if due_at_ms is None else due_at_ms,
            "error": "",
        },
        unless=sa.true(),
    )
