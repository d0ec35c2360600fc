"""Messages that could not be used: counted for ever, the newest kept for looking at."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Final

from underlid.readings.values import RawMessage, Rejected, RejectReason

REJECTS_KEPT: Final = 500
"""Newest rejected messages kept: a screenful for every reason, a megabyte at most."""

PAYLOAD_KEPT_BYTES: Final = 2048
TOPIC_KEPT_CHARS: Final = 256
"""What is kept of each: enough to see what the probe meant."""


def note_rejected(connection: sqlite3.Connection, rejected: Sequence[Rejected]) -> None:
    """Count rejections by reason and keep the newest, inside the open transaction."""
    counts: dict[str, int] = {}
    for one in rejected:
        counts[one.reason.value] = counts.get(one.reason.value, 0) + 1
    if not counts:
        return
    connection.executemany(
        "INSERT INTO rejected (received_at_ms, reason, sentence, topic, payload)"
        " VALUES (?, ?, ?, ?, ?)",
        [
            (
                one.message.received_at_ms,
                one.reason.value,
                _storable(one.sentence),
                _storable(one.message.topic)[:TOPIC_KEPT_CHARS],
                one.message.payload[:PAYLOAD_KEPT_BYTES],
            )
            for one in rejected[-REJECTS_KEPT:]
        ],
    )
    connection.executemany(
        "INSERT INTO reject_count VALUES (?, ?) ON CONFLICT DO UPDATE SET n = n + excluded.n",
        list(counts.items()),
    )
    connection.execute(
        "DELETE FROM rejected WHERE id <= (SELECT max(id) FROM rejected) - ?", (REJECTS_KEPT,)
    )


def recent_rejects(reader: sqlite3.Connection, most: int) -> list[Rejected]:
    """Return the newest rejected messages, newest first."""
    rows = reader.execute(
        "SELECT reason, sentence, topic, payload, received_at_ms FROM rejected"
        " ORDER BY id DESC LIMIT ?",
        (most,),
    )
    return [
        Rejected(RejectReason(reason), sentence, RawMessage(topic, payload, at_ms))
        for reason, sentence, topic, payload, at_ms in rows
    ]


def reject_counts(reader: sqlite3.Connection) -> dict[str, int]:
    """Return how many messages were rejected, by reason."""
    return dict(reader.execute("SELECT reason, n FROM reject_count ORDER BY reason"))


def _storable(text: str) -> str:
    """Return *text* without lone surrogates, which no file can hold."""
    return text.encode(errors="backslashreplace").decode()
