"""One message into the outbox for everybody whom it reaches, but not while its bin is out of service."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import Message, Occasion
from underlid.storage.records.outbox import SPARED, WAITING, post
from underlid.storage.records.routes import post_to_routes
from underlid.storage.records.service_tables import out_of_service
from underlid.storage.records.tables import bins, outbox

OUT: Final = "the bin was out of service"
"""Why a message is spared; what is still open when the bin is put back is found by it."""


def post_to_all(connection: sa.Connection, message: Message, channels: Sequence[str]) -> None:
    """Post *message* over every channel and to every address that it reaches, in the caller's transaction.

    Of a bin that is out of service it is kept there as spared; of a whole shed, when all its bins are.
    Nobody is told of the end of what nobody was told of.
    """
    unheard = _unheard(connection, message)
    for channel in channels:
        if channel not in unheard:
            post(connection, message, channel)
    post_to_routes(connection, message)
    if _is_out(connection, message):
        spare(connection, outbox.c.message_key == message.key, message.at_ms)


def spare(connection: sa.Connection, which: sa.ColumnElement[bool], at_ms: int) -> None:
    """Keep waiting messages back until their bin is in service again, in the caller's transaction."""
    waiting = sa.update(outbox).where(which, outbox.c.state == WAITING)
    connection.execute(waiting.values(state=SPARED, error=OUT, done_at_ms=at_ms))


def _is_out(connection: sa.Connection, message: Message) -> bool:
    """Tell whether nobody is to be told of what a message is about."""
    until = sa.func.coalesce(out_of_service.c.until_ms, message.at_ms + 1)
    wanted = sa.select(out_of_service.c.bin).where(until > message.at_ms)
    out = set(connection.execute(wanted).scalars())
    if not message.of_shed:
        return message.bin in out
    of_shed = sa.select(bins.c.id).where(bins.c.shed == message.shed)
    return out >= set(connection.execute(of_shed).scalars())


def _unheard(connection: sa.Connection, message: Message) -> set[str]:
    """Return the channels that heard nothing of an alert that is over: its bin was out of service."""
    if message.event != Occasion.ALERT_RETURNED:
        return set()
    key = outbox.c.message_key.startswith(f"{message.alert_id}:", autoescape=True)
    spared = sa.and_(outbox.c.state == SPARED, outbox.c.error == OUT)
    wanted = sa.select(outbox.c.channel, spared.label("spared")).where(key)
    rows = connection.execute(wanted).all()
    return {row.channel for row in rows} - {row.channel for row in rows if not row.spared}
