"""Test messages to people's addresses, and how many somebody may send: no stranger is flooded by them."""

from __future__ import annotations

from hashlib import blake2b
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import Message, Occasion
from underlid.alerts.routes import Route
from underlid.errors import UnderlidError, Words
from underlid.rules.finding import Priority
from underlid.storage.records.database import Subject
from underlid.storage.records.outbox import WAITING, post
from underlid.storage.records.tables import outbox
from underlid.timeline import DAY_MS, MINUTE_MS

BOUNDS: Final = ((5, 10 * MINUTE_MS, "10 minutes"), (20, DAY_MS, "24 hours"))
"""Test messages of one person, to all addresses together, within a time: enough to set up a phone and a
mail server (our judgement). An address that is removed, changed or added again does not begin anew."""

MARK_BYTES: Final = 6


class TooManyTrialsError(UnderlidError):
    """Somebody has to wait before another test message."""

    def __init__(self, most: int, span: str, wait_ms: int) -> None:
        self.wait_ms = wait_ms
        super().__init__(
            "number of test messages",
            value=Words(f"{most} within {span}"),
            expected="fewer",
            next_step=f"Wait {-(-wait_ms // MINUTE_MS)} min.",
        )


class TrialRecords(Subject):
    """Posts test messages within their bounds."""

    def post_trial(self, route: Route, asker: str, text: str, now_ms: int) -> None:
        """Put a test message for an address into the outbox, unless one is on its way there."""
        start = f"{Occasion.TRIAL.value}:"
        mark = blake2b(asker.encode(), digest_size=MARK_BYTES).hexdigest()
        trials = outbox.c.message_key.startswith(start)
        waits = sa.and_(trials, outbox.c.channel == route.channel, outbox.c.state == WAITING)
        theirs = sa.and_(trials, outbox.c.message_key.contains(f":{mark}:"))
        with self._database.write() as connection:
            if connection.execute(sa.select(outbox.c.number).where(waits)).first() is not None:
                return
            since = sa.and_(theirs, outbox.c.due_at_ms > now_ms - BOUNDS[-1][1])
            asked = sa.select(outbox.c.due_at_ms).where(since).order_by(outbox.c.due_at_ms.desc())
            _require_few(list(connection.execute(asked).scalars()), now_ms)
            key = f"{start}{route.id}:{mark}:{now_ms}"
            post(connection, _trial(key, text, now_ms), route.channel)


def _require_few(asked_ms: list[int], now_ms: int) -> None:
    """Refuse one more after those of *asked_ms*, the newest first."""
    for most, within_ms, span in BOUNDS:
        if len(asked_ms) >= most and (left_ms := asked_ms[most - 1] + within_ms - now_ms) > 0:
            raise TooManyTrialsError(most, span, left_ms)


def _trial(key: str, text: str, now_ms: int) -> Message:
    return Message(
        key=key,
        alert_id="",
        bin="",
        shed="",
        at_ms=now_ms,
        priority=Priority.LOW,
        title="Underlid: a test",
        text=text,
        event=Occasion.TRIAL,
    )
