"""The courier: takes messages out of the outbox and hands them to their channels.

Each channel has a thread of its own, so that one that fails or hangs never holds up another.
A message is marked only after the channel took it: after a crash in between it is sent again with
the same key, and never lost. When to try again is decided in `backoff.py`. Among several workers a
channel is served by the one that holds its lease; only that one marks.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import structlog

from underlid.alerts.quiet import LOUD, QuietHours
from underlid.binmodel.facts import zone_named
from underlid.clock import Clock
from underlid.notify.backoff import next_try_ms
from underlid.notify.channel import Channel, ChannelError
from underlid.storage.records import Delivery, Lease, LeaseLostError, Records
from underlid.timeline import DAY_MS
from underlid.workers.sharing import CHANNEL, Sharing

log = structlog.get_logger(__name__)

POLL_S: Final = 5.0
"""How long a retry that has come due may wait; new messages are announced by `wake`."""

BATCH_MOST: Final = 50
"""Deliveries of one channel taken at once."""

SENT_KEPT_MS: Final = 400 * DAY_MS
"""Delivered messages are kept this long, as raw readings are, so that none is posted again."""

STOP_S: Final = 30.0
"""Longer than any channel's own time-out."""


@dataclass(frozen=True, slots=True)
class Drained:
    """What one round did."""

    sent: int = 0
    failed: int = 0
    given_up: int = 0

    def __add__(self, other: Drained) -> Drained:
        return Drained(
            self.sent + other.sent,
            self.failed + other.failed,
            self.given_up + other.given_up,
        )


class Courier:
    """Empties the outbox while the service runs."""

    def __init__(
        self,
        records: Records,
        channels: Sequence[Channel],
        clock: Clock,
        sharing: Sharing | None = None,
        quiet: QuietHours | None = None,
    ) -> None:
        self._records = records
        self._channels = {channel.name: channel for channel in channels}
        self._clock = clock
        self._sharing = sharing
        self._quiet = quiet
        self._stopping = False
        self._woken = {name: threading.Event() for name in self._channels}
        self._threads: list[threading.Thread] = []
        self._taken_unmarked: set[int] = set()
        self._failing: dict[str, str] = {}

    @property
    def channel_names(self) -> list[str]:
        """Return the names to post messages for."""
        return list(self._channels)

    def trouble(self, name: str) -> str | None:
        """Return why the last delivery of channel *name* failed, or None."""
        return self._failing.get(name)

    def failing(self) -> dict[str, str]:
        """Return the channels whose last delivery failed, with the reason."""
        return dict(self._failing)

    def start(self) -> None:
        """Start a thread per channel."""
        self._stopping = False
        self._give_up_unknown(self._clock.now_ms())
        self._records.forget_sent(self._clock.now_ms() - SENT_KEPT_MS)
        self._threads = [
            threading.Thread(target=self._work, args=(name,), name=f"courier-{name}", daemon=True)
            for name in self._channels
        ]
        for thread in self._threads:
            thread.start()

    def wake(self) -> None:
        """Say that something was posted."""
        for event in self._woken.values():
            event.set()

    def stop(self) -> None:
        """Let each channel finish the message it has in hand, and stop."""
        self._stopping = True
        self.wake()
        for thread in self._threads:
            thread.join(STOP_S)
        self._threads = []

    def drain_once(self, now_ms: int) -> Drained:
        """Try everything that is due at *now_ms*, channel by channel; for tests and commands."""
        total = self._give_up_unknown(now_ms)
        for name in self._channels:
            total += self._drain(name, now_ms)
        return total

    def _work(self, name: str) -> None:
        """Serve one channel until stopped."""
        woken = self._woken[name]
        while not self._stopping:
            woken.clear()
            try:
                done = self._drain(name, self._clock.now_ms())
            except Exception:  # the database may be full or gone for a while; the thread stays
                log.exception("outbox_unreadable", channel=name)
                done = Drained()
            if done.sent + done.failed < BATCH_MOST:
                woken.wait(POLL_S)

    def _drain(self, name: str, now_ms: int) -> Drained:
        """Hand one channel what is due for it, if it is this worker's to serve."""
        lease = None
        if self._sharing is not None:
            lease = self._sharing.share(CHANNEL, self._channels).get(name)
            if lease is None:
                self._failing.pop(name, None)
                return Drained()
        total = Drained()
        for delivery in self._records.due_deliveries(now_ms, BATCH_MOST, name):
            if self._stopping or (self._sharing is not None and self._sharing.trouble()):
                break
            try:
                if (until_ms := self._quiet_until_ms(delivery, now_ms)) is not None:
                    self._records.postpone(delivery.id, until_ms, lease)
                    continue
                total += self._deliver(self._channels[name], delivery, now_ms, lease)
            except LeaseLostError:
                log.warning("another worker serves the channel now", channel=name)
                break
        return total

    def _quiet_until_ms(self, delivery: Delivery, now_ms: int) -> int | None:
        """Return until when a message waits because its shed has quiet hours; None when it may go."""
        if self._quiet is None or delivery.message.priority in LOUD:
            return None
        shed = self._records.setup().sheds.get(delivery.message.shed)
        return self._quiet.until_ms(now_ms, zone_named(shed.timezone if shed else "UTC"))

    def _deliver(
        self, channel: Channel, delivery: Delivery, now_ms: int, lease: Lease | None
    ) -> Drained:
        """Hand over one message and note what became of it."""
        if delivery.id not in self._taken_unmarked:
            try:
                channel.send(delivery.message, now_ms)
            except ChannelError as error:
                return self._note_failure(delivery, now_ms, str(error), lease)
            except Exception as error:  # whatever a channel does, the others go on
                return self._note_failure(delivery, now_ms, type(error).__name__, lease)
        self._taken_unmarked.add(delivery.id)
        self._records.delivered(delivery.id, now_ms, lease)
        self._taken_unmarked.discard(delivery.id)
        self._failing.pop(channel.name, None)
        return Drained(sent=1)

    def _note_failure(
        self, delivery: Delivery, now_ms: int, reason: str, lease: Lease | None
    ) -> Drained:
        tries = delivery.tries + 1
        again_ms = next_try_ms(delivery.id, tries, now_ms)
        self._records.failed(delivery.id, now_ms, reason, again_ms, lease)
        self._failing[delivery.channel] = reason
        log.warning("not_delivered", channel=delivery.channel, tries=tries, reason=reason)
        return Drained(failed=1, given_up=int(again_ms is None))

    def _give_up_unknown(self, now_ms: int) -> Drained:
        """Make dead letters of messages for channels that are no longer set up, at any worker."""
        given_up = 0
        known = {*self._channels, *self._records.holders(CHANNEL)}
        for name in self._records.waiting_channels() - known:
            while waiting := self._records.due_deliveries(_FOREVER_MS, BATCH_MOST, name):
                for delivery in waiting:
                    self._records.failed(delivery.id, now_ms, "no such channel is set up", None)
                given_up += len(waiting)
        return Drained(given_up=given_up)


_FOREVER_MS: Final = 2**62
