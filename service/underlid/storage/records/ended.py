"""Addresses that ended by themselves, and what is left in the records of those that are gone."""

from __future__ import annotations

import sqlalchemy as sa

from underlid.alerts.routes import CHANNEL_PREFIX
from underlid.storage.records.database import Subject
from underlid.storage.records.leases import CHANNEL, Lease, require
from underlid.storage.records.outbox import DEAD, WAITING
from underlid.storage.records.routes import forget_routes
from underlid.storage.records.tables import leases, outbox, routes


class EndedRecords(Subject):
    """Clears up after addresses."""

    def end_route(self, route_id: str, why: str, at_ms: int, lease: Lease | None = None) -> int:
        """Forget an address at which nobody is any more; return how many messages are given up by it.

        They stand among the undelivered ones, so that people see that somebody was not told.
        """
        waits = sa.and_(outbox.c.channel == CHANNEL_PREFIX + route_id, outbox.c.state == WAITING)
        values = {"state": DEAD, "error": why, "done_at_ms": at_ms, "tries": outbox.c.tries + 1}
        with self._database.write() as connection:
            if lease is not None:
                require(connection, lease)
            given_up = connection.execute(sa.update(outbox).where(waits).values(**values)).rowcount
            forget_routes(connection, routes.c.id == route_id)
        return given_up

    def forget_leases_of_the_gone(self) -> None:
        """Forget who served addresses that are gone: a worker that did not know yet may have noted it."""
        here = sa.select(sa.literal(CHANNEL_PREFIX) + routes.c.id)
        ours = sa.and_(leases.c.kind == CHANNEL, leases.c.name.startswith(CHANNEL_PREFIX))
        gone = sa.delete(leases).where(ours, leases.c.name.not_in(here))
        with self._database.write(alone=False) as connection:
            connection.execute(gone)

    def channels_of_the_gone(self) -> set[str]:
        """Return the channels with undelivered messages to addresses that are gone."""
        here = sa.select(sa.literal(CHANNEL_PREFIX) + routes.c.id)
        wanted = sa.select(outbox.c.channel).distinct()
        dead = sa.and_(outbox.c.state == DEAD, outbox.c.channel.startswith(CHANNEL_PREFIX))
        with self._database.read() as connection:
            return set(
                connection.execute(wanted.where(dead, outbox.c.channel.not_in(here))).scalars()
            )

    def forget_dead(self, delivery_id: int) -> None:
        """Forget an undelivered message, when its address is gone and it can never be sent."""
        gone = self.channels_of_the_gone()
        here = sa.and_(outbox.c.number == delivery_id, outbox.c.channel.in_(gone))
        with self._database.write() as connection:
            connection.execute(sa.delete(outbox).where(here, outbox.c.state == DEAD))
