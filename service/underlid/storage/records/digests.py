"""What telling by the clock needs of the records: the alerts of a day, and posting a message once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import sqlalchemy as sa

from underlid.alerts.alert import Alert, AlertState, Message
from underlid.alerts.digest import AHEAD_MOST_MS
from underlid.alerts.routes import Route
from underlid.storage.records.alert_rows import alert_of
from underlid.storage.records.database import Subject
from underlid.storage.records.outbox import post
from underlid.storage.records.posting import post_to_all
from underlid.storage.records.tables import alerts, outbox, routes


class DigestRecords(Subject):
    """Reads the alerts of a day, and notes which digest an address has had."""

    def alerts_of_the_day(self, from_ms: int) -> Mapping[str, tuple[Alert, ...]]:
        """Return, by bin, the alerts that were raised and are open or returned since *from_ms*."""
        table = alerts.c
        lately = sa.or_(table.state != AlertState.RETURNED.value, table.returned_at_ms >= from_ms)
        wanted = sa.select(alerts).where(table.raised_at_ms.is_not(None), lately)
        found: dict[str, tuple[Alert, ...]] = {}
        with self._database.read() as connection:
            for row in connection.execute(wanted.order_by(table.since_ms, table.id)):
                found[row.bin] = (*found.get(row.bin, ()), alert_of(row))
        return found

    def post_digest(self, route: Route, moment_ms: int, message: Message | None) -> bool:
        """Note that an address has had the digest of a moment, and post it, if there is one to post.

        False when it was had before: by another worker, or before a restart.
        """
        had = routes.c.digested_at_ms.between(moment_ms, moment_ms + AHEAD_MOST_MS)
        first = sa.and_(routes.c.id == route.id, sa.not_(had))
        with self._database.write() as connection:
            noted = sa.update(routes).where(first).values(digested_at_ms=moment_ms)
            if not connection.execute(noted).rowcount:
                return False
            if message is not None:
                post(connection, message, route.channel)
        return True

    def post_once(self, message: Message, channels: Sequence[str]) -> bool:
        """Post a message over every channel and to every address that it reaches.

        False when it was posted before, to whomever: a channel or address that is newer does not get it.
        """
        with self._database.write() as connection:
            before = sa.select(outbox.c.number).where(outbox.c.message_key == message.key)
            if connection.execute(before.limit(1)).first() is not None:
                return False
            post_to_all(connection, message, channels)
        return True
