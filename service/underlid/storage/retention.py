"""Forgetting what is older than it is kept, a few probes at a time so that ingest is not held up."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from underlid.storage.layout import transaction
from underlid.storage.packing import Locked
from underlid.storage.resends import NUMBERS_KEPT_MS
from underlid.timeline import DAY_MS

PROBES_A_SLICE: Final = 4
"""Probes whose old rows go in one transaction: one day of each, a millisecond or two."""


def forget_old(locked: Locked, now_ms: int, raw_days: int, hourly_days: int) -> Iterator[int]:
    """Drop blocks, hours and message numbers beyond their time; yield after each step."""
    today = now_ms // DAY_MS
    with locked() as hot:
        probes = list(hot.probes.names)
    for first in range(0, len(probes), PROBES_A_SLICE):
        with locked() as hot, transaction(hot.connection):
            gone = 0
            for probe in probes[first : first + PROBES_A_SLICE]:
                for statement, before in (
                    ("DELETE FROM packed_day WHERE probe = ? AND day < ?", today - raw_days),
                    (
                        "DELETE FROM hourly WHERE probe = ? AND day < ?"
                        " AND channel IN (SELECT id FROM channel)",
                        today - hourly_days,
                    ),
                    (
                        "DELETE FROM numbered WHERE probe = ? AND received_at_ms < ?",
                        now_ms - NUMBERS_KEPT_MS,
                    ),
                ):
                    gone += hot.connection.execute(statement, (probe, before)).rowcount
        yield gone
