"""What this worker holds among others, and the sign of life that keeps it.

`share` is called by whoever does the work, when it is about to: the watch at every tick for sheds,
the courier for channels. So nothing is given up in the middle of a piece of work. A thread renews
what is held. The rules of taking and giving up are in `storage.records.leases`.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Collection
from hashlib import blake2b
from pathlib import Path
from typing import Final

import structlog

from underlid.clock import monotonic_s
from underlid.config import Settings
from underlid.errors import UnderlidError
from underlid.storage.records import Lease, Records
from underlid.timeline import SECOND_MS

log = structlog.get_logger(__name__)

SHED: Final = "shed"
INGEST: Final = "ingest"
"""Nothing is leased under it: it tells which workers take readings in from the broker."""

PLACE: Final = "place"
"""The one lease of a service that keeps its readings in its own folder: it must be alone."""

SIGNS_PER_LEASE: Final = 3
"""Signs of life within a lease, so that one or two may be late or lost."""


def join(records: Records, settings: Settings, *, takes_in: bool) -> Sharing | None:
    """Join the other workers, or make sure that there are none; None where there can be none."""
    if not records.shared:
        return None
    name = worker_name(settings.worker, settings.data)
    sharing = Sharing(records, name, settings.lease_s)
    if not settings.several and PLACE not in sharing.share(PLACE, [PLACE]):
        raise UnderlidError(
            "setting records_url",
            value="(secret)",
            expected="records that no other running service uses: this one keeps its readings "
            "in its own folder",
            next_step="Stop the other one, or keep the readings of both in InfluxDB.",
        )
    if settings.several and settings.broker_host and takes_in:
        sharing.share(INGEST, [])
    sharing.start()
    return sharing


def worker_name(given: str, folder: Path) -> str:
    """Return this worker's name: the given one, or one that a restart finds again."""
    if given:
        return given
    mark = blake2b(str(folder.resolve()).encode(), digest_size=3).hexdigest()
    return f"{socket.gethostname()[:56]}-{mark}"


class Sharing:
    """The leases of one worker. Create, `start()`, `share(...)`, `stop()`."""

    def __init__(self, records: Records, worker: str, lease_s: float) -> None:
        self.worker = worker
        self._records = records
        self._lease_s = lease_s
        self._held: dict[str, list[Lease]] = {}
        self._lock = threading.RLock()
        self._stopping = threading.Event()
        self._renewed_s = monotonic_s()
        self._thread = threading.Thread(target=self._renew_for_ever, name="leases", daemon=True)

    def start(self) -> None:
        """Begin to give signs of life."""
        self._thread.start()

    def stop(self) -> None:
        """Give everything back, so that others go on at once."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()
        with self._lock:
            held, self._held = self._all(), {}
        try:
            self._records.leave(self.worker, held, staying=[INGEST])
        except Exception:  # others will take over when the leases have run out
            log.exception("leases could not be given back")

    def share(self, kind: str, names: Collection[str]) -> dict[str, Lease]:
        """Return what this worker holds of *names* from now on."""
        with self._lock:
            before = self._held.get(kind, [])
            held = self._records.share(self.worker, kind, names, before, self._lease_ms)
            self._held[kind] = held
            self._renewed_s = monotonic_s()
        for verb, these in (
            ("taken", set(held) - set(before)),
            ("given up or lost", set(before) - set(held)),
        ):
            if these:
                what = sorted(lease.name for lease in these)
                log.info(f"leases {verb}", kind=kind, count=len(what), names=what[:10])
        return {lease.name: lease for lease in held}

    def trouble(self) -> str | None:
        """Return a sentence when no sign of life got through for as long as a lease lasts."""
        silent_s = monotonic_s() - self._renewed_s
        if silent_s < self._lease_s:
            return None
        return f"the records have not been reached for {silent_s:.0f} s"

    @property
    def _lease_ms(self) -> int:
        return round(self._lease_s * SECOND_MS)

    def _all(self) -> list[Lease]:
        return [lease for leases in self._held.values() for lease in leases]

    def _renew_for_ever(self) -> None:
        while not self._stopping.wait(self._lease_s / SIGNS_PER_LEASE):
            try:
                with self._lock:
                    held = self._all()
                self._records.renew(self.worker, held, self._lease_ms)
            except Exception as error:  # the database may be away for a while; leases then run out
                log.warning("no sign of life given", error=type(error).__name__)
            else:
                self._renewed_s = monotonic_s()
