"""Turns what was just stored into events for open pages; runs on the writer thread.

Only the newest reading of each probe in a batch is told: a page shows the present, and a back-fill
of a thousand readings must not flood it. Messages that could not be used are told once a batch.
"""

from __future__ import annotations

from collections.abc import Callable

from underlid.readings.values import Admitted, Reading
from underlid.web.live import Hub


def publish_readings(hub: Hub) -> Callable[[Admitted], None]:
    """Return the listener that tells *hub* of stored readings."""

    def tell(admitted: Admitted) -> None:
        if not (admitted.readings or admitted.rejected) or hub.missed():
            return
        newest: dict[str, Reading] = {}
        for reading in admitted.readings:
            known = newest.get(reading.probe)
            if known is None or known.taken_at_ms <= reading.taken_at_ms:
                newest[reading.probe] = reading
        for reading in newest.values():
            hub.publish(
                {
                    "kind": "reading",
                    "probe": reading.probe,
                    "shed": reading.shed,
                    "at_ms": reading.taken_at_ms,
                    "values": reading.values,
                }
            )

        if admitted.rejected:
            hub.publish({"kind": "rejected", "bin": ""})

    return tell
