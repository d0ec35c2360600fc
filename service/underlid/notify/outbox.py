"""The courier: takes messages out of the outbox and hands them to their channels.

Each channel has a thread of its own, so that one that fails or hangs never holds up another.
A message is marked only after the channel took it: after a crash in between it is sent again with
the same key, and never lost. When to try again is decided in `backoff.py`, whether at all in
`needed.py`. Among several workers a channel is served by the one that holds its lease; only that one
marks. The channels of the settings are there from the start; those to people's own addresses
(`addresses.py`) come and go while it runs.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import Final

import structlog

from underlid.alerts.alert import Occasion
from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import CHANNEL_PREFIX, RouteRules
from underlid.clock import Clock
from underlid.notify.addresses import RouteChannels
from underlid.notify.backoff import next_try_ms
from underlid.notify.channel import AddressEndedError, Channel, ChannelError
from underlid.notify.drained import Drained
from underlid.notify.needed import quiet_until_ms, why_needless
from underlid.storage.records import Delivery, Lease, LeaseLostError, Records
from underlid.storage.records.leases import CHANNEL
from underlid.storage.records.routes import REMOVED
from underlid.timeline import DAY_MS
from underlid.workers.sharing import Sharing

log = structlog.get_logger(__name__)

POLL_S: Final = 5.0
"""How long a retry that has come due may wait; new messages are announced by `wake`."""

BATCH_MOST: Final = 50
"""Deliveries of one channel taken at once."""

SENT_KEPT_MS: Final = 400 * DAY_MS
"""Delivered messages are kept this long, as raw readings are, so that none is posted again."""

STOP_S: Final = 30.0
"""Longer than any channel's own time-out."""


class Courier:
    """Empties the outbox while the service runs."""

    def __init__(
        self,
        records: Records,
        channels: Sequence[Channel],
        clock: Clock,
        sharing: Sharing | None = None,
        quiet: QuietHours | None = None,
        routes: RouteChannels | None = None,
    ) -> None:
        self._records = records
        self._routes = routes
        self._channels = {channel.name: channel for channel in channels}
        self._clock = clock
        self._sharing = sharing
        self._quiet = quiet
        self._stopping = False
        self._woken = {name: threading.Event() for name in self._channels}
        self._threads: list[threading.Thread] = []
        self._taken_unmarked: set[int] = set()
        self._failing: dict[str, str] = {}
        self._left_alone: dict[str, tuple[Channel, int]] = {}
        self._look_again = threading.Event()
        self._on_the_way: dict[str, threading.Thread] = {}

    @property
    def channel_names(self) -> list[str]:
        """Return the names to post every message for."""
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
        if self._routes is not None:
            look = threading.Thread(target=self._look, name="courier-people", daemon=True)
            self._threads.append(look)
        for thread in self._threads:
            thread.start()

    def wake(self) -> None:
        """Say that something was posted."""
        for event in (*self._woken.values(), self._look_again):
            event.set()

    def stop(self) -> None:
        """Let each channel finish the message it has in hand, and stop."""
        self._stopping = True
        self.wake()
        for thread in self._threads:
            thread.join(STOP_S)
        for thread in self._on_the_way.values():  # begun by one of those
            thread.join(STOP_S)
        self._threads = []

    def drain_once(self, now_ms: int) -> Drained:
        """Try everything that is due at *now_ms*, channel by channel; for tests and commands."""
        total = self._give_up_unknown(now_ms)
        for name in self._all():
            total += self._drain(name, now_ms)
        return total

    def _all(self) -> dict[str, Channel]:
        """Return every channel by name, those to people's own addresses included."""
        return self._channels | (self._routes.channels if self._routes is not None else {})

    def _look(self) -> None:
        """Serve people's own addresses until stopped, each that has something due on its own."""
        while not self._stopping:
            self._look_again.clear()
            try:
                self._serve_routes()
            except Exception:  # the database may be full or gone for a while; the thread stays
                log.exception("outbox_unreadable", channel="people")
            self._look_again.wait(POLL_S)

    def _serve_routes(self) -> None:
        """Begin a thread for each address with something due, unless one is at it."""
        assert self._routes is not None
        before = self._routes.channels.keys()
        self._routes.look()
        if before - self._routes.channels.keys():
            self._records.forget_leases_of_the_gone()
        alive = {name: one for name, one in self._on_the_way.items() if one.is_alive()}
        due = self._records.due_channels(self._clock.now_ms()) & self._routes.channels.keys()
        for name in sorted(due - alive.keys()):
            alive[name] = threading.Thread(
                target=self._work_off, args=(name,), name=f"courier-{name}", daemon=True
            )
            alive[name].start()
        self._on_the_way = alive

    def _work_off(self, name: str) -> None:
        """Hand one address what is due for it."""
        try:
            while not self._stopping:
                done = self._drain(name, self._clock.now_ms())
                if done.sent + done.failed < BATCH_MOST:
                    return
        except Exception:  # what is due is looked for again
            log.exception("outbox_unreadable", channel=name)

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
        channels = self._all()
        if self._sharing is not None:
            lease = self._sharing.share(CHANNEL, channels).get(name)
            if lease is None:
                self._failing.pop(name, None)
                return Drained()
        total = Drained()
        for delivery in self._records.due_deliveries(now_ms, BATCH_MOST, name):
            if self._stopping or (self._sharing is not None and self._sharing.trouble()):
                break
            if name not in self._all() or self._is_left_alone(channels[name], now_ms):
                break
            try:
                rules = self._rules(delivery)
                if (why := why_needless(self._records, delivery, rules, now_ms)) is not None:
                    self._records.spare(delivery.id, now_ms, why, lease)
                    continue
                until_ms = quiet_until_ms(self._records, delivery, rules, self._quiet, now_ms)
                if until_ms is not None:
                    self._records.postpone(delivery.id, until_ms, lease)
                    continue
                total += self._deliver(channels[name], delivery, now_ms, lease)
            except LeaseLostError:
                log.warning("another worker serves the channel now", channel=name)
                break
        return total

    def _is_left_alone(self, channel: Channel, now_ms: int) -> bool:
        """Tell whether a channel has asked to wait; one that leads elsewhere by now has not."""
        asked, until_ms = self._left_alone.get(channel.name, (channel, 0))
        return asked is channel and now_ms < until_ms

    def _rules(self, delivery: Delivery) -> RouteRules | None:
        """Return what the person wants at the address a message is for; None for other channels."""
        route = self._routes.routes.get(delivery.channel) if self._routes is not None else None
        return None if route is None else route.rules

    def _deliver(
        self, channel: Channel, delivery: Delivery, now_ms: int, lease: Lease | None
    ) -> Drained:
        """Hand over one message and note what became of it."""
        if delivery.id not in self._taken_unmarked:
            try:
                channel.send(delivery.message, now_ms)
            except AddressEndedError as error:
                return self._end_address(channel, delivery, now_ms, str(error), lease)
            except ChannelError as error:
                if error.wait_ms:
                    self._left_alone[channel.name] = channel, now_ms + error.wait_ms
                return self._note_failure(delivery, now_ms, str(error), lease, error.wait_ms)
            except Exception as error:  # whatever a channel does, the others go on
                return self._note_failure(delivery, now_ms, type(error).__name__, lease)
        self._taken_unmarked.add(delivery.id)
        self._records.delivered(delivery.id, now_ms, lease)
        self._taken_unmarked.discard(delivery.id)
        self._failing.pop(channel.name, None)
        return Drained(sent=1)

    def _note_failure(
        self,
        delivery: Delivery,
        now_ms: int,
        reason: str,
        lease: Lease | None,
        wait_ms: int = 0,
    ) -> Drained:
        if delivery.message.event == Occasion.TRIAL:  # somebody waits for the answer: no second try
            self._records.spare(delivery.id, now_ms, reason, lease)
            return Drained(failed=1)
        tries = delivery.tries + 1
        again_ms = next_try_ms(delivery.id, tries, now_ms)
        if again_ms is not None:
            again_ms = max(again_ms, now_ms + wait_ms)
        self._records.failed(delivery.id, now_ms, reason, again_ms, lease)
        self._failing[delivery.channel] = reason
        log.warning("not_delivered", channel=delivery.channel, tries=tries, reason=reason)
        return Drained(failed=1, given_up=int(again_ms is None))

    def _end_address(
        self, channel: Channel, delivery: Delivery, now_ms: int, reason: str, lease: Lease | None
    ) -> Drained:
        """Forget an address at which nobody is any more; what waited for it is given up."""
        if self._routes is not None:
            self._routes.look()
        if self._routes is None or self._routes.channels.get(channel.name) is not channel:
            return self._note_failure(delivery, now_ms, reason, lease)  # it leads elsewhere by now
        if delivery.message.event == Occasion.TRIAL:
            self._records.spare(delivery.id, now_ms, reason, lease)
        route_id = channel.name.removeprefix(CHANNEL_PREFIX)
        given_up = self._records.end_route(route_id, reason, now_ms, lease)
        self._failing.pop(channel.name, None)
        self._routes.look()
        log.warning("address_ended", channel=channel.name, reason=reason, given_up=given_up)
        return Drained(failed=1, given_up=given_up)

    def _give_up_unknown(self, now_ms: int) -> Drained:
        """Make dead letters of messages for channels that are no longer set up, at any worker."""
        given_up = 0
        waiting_for = self._records.waiting_channels()
        if self._routes is not None:
            self._routes.look()  # after that: an address may be added at this moment
            self._records.forget_leases_of_the_gone()
        known = {*self._all(), *self._records.holders(CHANNEL)}
        for name in waiting_for - known:
            why = REMOVED if name.startswith(CHANNEL_PREFIX) else "no such channel is set up"
            while waiting := self._records.due_deliveries(_FOREVER_MS, BATCH_MOST, name):
                for delivery in waiting:
                    self._records.failed(delivery.id, now_ms, why, None)
                given_up += len(waiting)
        return Drained(given_up=given_up)


_FOREVER_MS: Final = 2**62
