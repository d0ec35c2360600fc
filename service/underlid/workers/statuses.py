"""What probes say of themselves, on its way to records that may be slow or away.

The writer thread only notes the newest word of each probe here; a regular job writes them down. So
a database at the other end of a network never delays an acknowledgement.
"""

from __future__ import annotations

import threading
from typing import Final

import structlog

from underlid.readings.values import Admitted, ProbeStatus
from underlid.storage.records import Records

log = structlog.get_logger(__name__)

WRITE_EVERY_S: Final = 1.0
WAITING_MOST: Final = 100_000
"""Probes whose word may wait: some 20 MB. Beyond it words of further probes are left out; their
next one comes with their next connection."""


class Statuses:
    """`take` on the writer thread, `write` regularly on another."""

    def __init__(self, records: Records) -> None:
        self._records = records
        self._waiting: dict[str, ProbeStatus] = {}
        self._lock = threading.Lock()

    def take(self, admitted: Admitted) -> None:
        """Note what is newest; never waits."""
        if admitted.statuses:
            with self._lock:
                self._note(admitted.statuses)

    def write(self) -> None:
        """Write down what waits; what cannot be written waits for the next time."""
        with self._lock:
            taken, self._waiting = list(self._waiting.values()), {}
        if not taken:
            return
        try:
            self._records.set_probe_statuses(taken)
        except Exception:
            with self._lock:
                self._note(taken)
            raise

    def close(self) -> None:
        """Write down what still waits, at a stop."""
        try:
            self.write()
        except Exception:
            log.exception("the last words of probes could not be kept")

    def _note(self, statuses: list[ProbeStatus]) -> None:
        for one in statuses:
            held = self._waiting.get(one.probe)
            if held is None and len(self._waiting) >= WAITING_MOST:
                continue
            if held is None or held.received_at_ms <= one.received_at_ms:
                self._waiting[one.probe] = one
