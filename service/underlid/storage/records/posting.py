"""One message into the outbox for everybody whom it reaches, but not while its bin is out of service."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import Message, Occasion
from underlid.storage.records.outbox import SPARED, WAITING, post
from underlid.storage.records.routes import post_to_routes
from underlid.storage.records.service_tables import out_of_service
from underlid.storage.records.tables import outbox

OUT: Final = "the bin was out of service"
"""Why a message is spared; what is still open when the bin is put back is found by it."""


def post_to_all(connection: sa.Connection, message: Message, channels: Sequence[str]) -> None:
    """Post *message* over every channel and to every address that it reaches, in the caller's transaction.

    Of a bin that is out of service it is kept there as spared. Nobody is told of the end of what nobody
    was told of.
    """
    until = sa.func.coalesce(out_of_service.c.until_ms, message.at_ms + 1)
    here = sa.and_(
        out_of_service.c.bin == message.bin,
        out_of_service.c.since_ms <= message.at_ms,
        until > message.at_ms,
    )
    out = connection.execute(sa.select(out_of_service.c.bin).where(here)).first() is not None
    unheard = _unheard(connection, message)
    for channel in channels:
        if channel not in unheard:
            post(connection, message, channel)
    post_to_routes(connection, message)
    if out:
        posted = sa.and_(outbox.c.message_key == message.key, outbox.c.state == WAITING)
        values = {"state": SPARED, "error": OUT, "done_at_ms": message.at_ms}
        connection.execute(sa.update(outbox).where(posted).values(**values))


def _unheard(connection: sa.Connection, message: Message) -> set[str]:
    """Return the channels that heard nothing of an alert that is over: its bin was out of service."""
    if message.event != Occasion.ALERT_RETURNED:
        return set()
    key = outbox.c.message_key.startswith(f"{message.alert_id}:", autoescape=True)
    spared = sa.and_(outbox.c.state == SPARED, outbox.c.error == OUT)
    wanted = sa.select(outbox.c.channel, spared.label("spared")).where(key)
    rows = connection.execute(wanted).all()
    return {row.channel for row in rows} - {row.channel for row in rows if not row.spared}
