"""What is told by the clock: alerts that nobody has acknowledged, again, notes to look, digests.

It only posts; the courier delivers. Whatever it posts has a key that is the same at every worker and
after a restart, so nothing is told twice. The sentences are made in `alerts.again`, `alerts.look`
and `alerts.digest`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import Any, Final

from underlid.advice.capacity import feeding_advice
from underlid.advice.retold import in_all_units, retold
from underlid.alerts.again import again
from underlid.alerts.alert import Alert, Message, Occasion
from underlid.alerts.digest import (
    LOOK_UNTIL_MS,
    BinDay,
    digest,
    last_look_ms,
    last_moment_ms,
    nothing,
    was_had,
)
from underlid.alerts.look import big_feeds, fed_between_ms, look_notes
from underlid.alerts.routes import Route, watches
from underlid.binmodel.bins import Bin, Setup
from underlid.binmodel.facts import zone_named
from underlid.clock import Clock
from underlid.journal.entries import Entry, Feed
from underlid.journal.units import SI, UNITS, Units
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, parse_time_ms

SETTLE_MS: Final = 10 * MINUTE_MS
"""So long after a start what is told waits for bins that have not been judged yet."""

QUARTER_MS: Final = 15 * MINUTE_MS
"""Morning comes at a quarter of an hour of UTC in every zone: the journal is read no more often."""

ENTRIES_MOST: Final = 10_000

State = Callable[[str], Mapping[str, Any] | None]


class Rounds:
    """Posts what is due by the clock; `go` is called again and again."""

    def __init__(
        self,
        records: Records,
        state: State,
        clock: Clock,
        channels: Sequence[str],
        repeat_h: float,
        units: Units = SI,
        look_days: int = 0,
    ) -> None:
        self._records = records
        self._state = state
        self._clock = clock
        self._channels = tuple(channels)
        self._every_ms = round(repeat_h * HOUR_MS)
        self._units = units
        self._look_days = look_days
        self._looked_in = -1
        self._began_ms = clock.now_ms()
        self._said: set[str] = set()
        self._out: set[str] = set()
        self._back_ms: dict[str, int] = {}
        """When bins were put back: of what was open then people are told then, and again after that."""

    def go(self) -> int:
        """Post what is due now; return how many messages."""
        now_ms = self._clock.now_ms()
        late = self._records.put_back_due(now_ms)
        setup = self._in_service(self._records.setup(), now_ms)
        return (
            late
            + self._say_again(setup, now_ms)
            + self._ask_for_looks(setup, now_ms)
            + self._send_digests(setup, now_ms)
        )

    def _in_service(self, setup: Setup, now_ms: int) -> Setup:
        """Return *setup* without the bins of which nobody is to be told."""
        out = self._records.out_of_service()
        self._back_ms |= dict.fromkeys(self._out - out.keys(), now_ms)
        self._out = set(out)
        return replace(setup, bins={k: one for k, one in setup.bins.items() if k not in out})

    def _say_again(self, setup: Setup, now_ms: int) -> int:
        """Post once more what nobody has acknowledged."""
        if not self._every_ms:
            return 0
        found = [
            in_all_units(message, alert)
            for alert in self._records.open_alerts()
            if alert.bin in setup.bins
            and (message := again(alert, setup.bins[alert.bin], now_ms, self._every_ms))
            and message.at_ms > self._back_ms.get(alert.bin, 0)
            and self._judged([setup.bins[alert.bin]], now_ms)
        ]
        new = [one for one in found if one.key not in self._said]
        if new:
            self._records.save_judgement([], [], new, self._channels)
        self._said = {one.key for one in found}
        return len(new)

    def _ask_for_looks(self, setup: Setup, now_ms: int) -> int:
        """Post the notes to look at big feeds that are due."""
        quarter = now_ms // QUARTER_MS
        if not self._look_days or quarter == self._looked_in:
            return 0
        from_ms, until_ms = fed_between_ms(now_ms, self._look_days)
        fed = self._records.entries(from_ms=from_ms, until_ms=until_ms, most=ENTRIES_MOST)
        bins = sorted({one.bin.id for one in big_feeds(setup, fed)})
        entries = [
            one
            for bin_id in bins
            for one in self._records.entries(bin_id, from_ms, now_ms + 1, most=ENTRIES_MOST)
        ]
        notes = look_notes(setup, entries, now_ms, self._look_days, self._units)
        posted = sum(self._records.post_once(one, self._channels) for one in notes)
        self._looked_in = quarter
        return posted

    def _send_digests(self, setup: Setup, now_ms: int) -> int:
        """Post the digests whose hour has come."""
        posted = 0
        for route in self._records.routes():
            hour = route.rules.digest_hour
            bins = [b for b in setup.bins.values() if watches(route.rules, b.shed, b.id)]
            if hour is None or not bins:
                continue
            zone = zone_named(setup.sheds[min(one.shed for one in bins)].timezone)
            moment_ms = last_moment_ms(hour, now_ms, zone)
            if was_had(route.digested_at_ms, moment_ms) or not self._judged(bins, now_ms):
                continue
            message = self._digest(route, bins, moment_ms, now_ms, zone)
            if self._records.post_digest(route, moment_ms, message):
                posted += message is not None
        return posted

    def _judged(self, bins: Sequence[Bin], now_ms: int) -> bool:
        """Tell whether the bins are known; after a start that takes a while."""
        if now_ms - self._began_ms >= SETTLE_MS:
            return True
        return all(self._state(one.id) is not None for one in bins)

    def _digest(
        self, route: Route, bins: Sequence[Bin], moment_ms: int, now_ms: int, zone: tzinfo
    ) -> Message | None:
        """Return the digest for one address, None when there is nothing to say."""
        alerts = self._records.alerts_of_the_day(now_ms - DAY_MS)
        entries = self._records.entries(from_ms=now_ms - LOOK_UNTIL_MS, most=ENTRIES_MOST)
        units = UNITS.get(route.rules.units, self._units)
        days = [self._day(one, alerts.get(one.id, ()), entries, units) for one in bins]
        said = digest(days, now_ms, zone, units)
        if said is None and route.rules.digest_always:
            said = nothing(len(bins))
        if said is None:
            return None
        return Message(
            key=f"{Occasion.DIGEST.value}:{route.id}:{moment_ms}",
            alert_id="",
            bin="",
            shed="",
            at_ms=moment_ms,
            priority=Priority.LOW,
            title=said[0],
            text=said[1],
            event=Occasion.DIGEST,
        )

    def _day(
        self, bin_: Bin, alerts: tuple[Alert, ...], entries: Sequence[Entry], units: Units
    ) -> BinDay:
        """Return what is known of a bin."""
        state = self._state(bin_.id) or {}
        feeding = state.get("feeding") or {}
        due = feeding.get("next_feed_due")
        own = [one for one in entries if one.bin == bin_.id]
        feeds = [one for one in own if isinstance(one.what, Feed)]
        return BinDay(
            bin_,
            tuple(retold(one, units) for one in alerts),
            parse_time_ms(due) if due and feeding.get("next_feed_most_g") else None,
            feeding_advice(feeding, units),
            feeds[0] if feeds else None,
            last_look_ms(own),
            (state.get("now") or {}).get("moisture_sd_pct"),
        )
