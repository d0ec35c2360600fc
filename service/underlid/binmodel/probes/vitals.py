"""How a probe itself is: when it last spoke, how often it does, what it said that is not believable.

Kept beside the hot means (`hot.py`), which hold only values that a working sensor can say.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from underlid.readings.plausibility import doubt
from underlid.readings.values import Reading, TimeSource
from underlid.timeline import HOUR_MS, MINUTE_MS

INTERVAL_WEIGHT: Final = 0.1
"""Weight of a new gap in the usual interval: a mean over about ten readings."""

GAP_MOST: Final = 10.0
"""A gap counts at most so many usual intervals, so that an outage does not make a probe slow."""


CLOCK_OFF_LEAST_MS: Final = 20 * MINUTE_MS
"""A gateway may hold readings back for some minutes (our judgement)."""

CLOCK_STEADY_MS: Final = 3 * MINUTE_MS
CLOCK_ARRIVALS: Final = 4
CLOCK_TOLD_FROM_MS: Final = 30 * MINUTE_MS
"""A clock is wrong when readings that keep coming are always so much old: four arrivals over half an
hour. What was kept and is sent later comes at once, or catches up (our judgement)."""

CLOCK_SMALL_MS: Final = 5 * MINUTE_MS
CLOCK_EVEN_MS: Final = MINUTE_MS // 2
CLOCK_PROMPT_MS: Final = HOUR_MS
"""A smaller error shows in a probe whose readings came promptly for an hour: from one moment on all are
so much too old, or too young, to half a minute. Nothing that is held back ages so evenly (our
judgement)."""

BATTERY: Final = "battery_v"
NO_BATTERY_V: Final = 0.5
"""No probe speaks at so few volts: it is fed by a cable, or its divider is loose (our judgement)."""

CHARGED_V: Final = 0.1
"""A battery that says so much more than its least was charged, or is another one; cold and the radio take
less (our judgement)."""

CLOCK_LASTS_MS: Final = HOUR_MS
AHEAD_LEAST_MS: Final = 10 * MINUTE_MS
"""A clock further ahead is not believed at all (`readings.admission`)."""


class Vitals:
    """The vital signs of one probe."""

    __slots__ = (
        "_ahead_at_ms",
        "_arrivals",
        "_first_arrival_ms",
        "_lag_ms",
        "_last_arrival_ms",
        "_spread_ms",
        "_was_prompt",
        "battery_least_v",
        "clock_off_from_ms",
        "doubted",
        "last_values",
        "late_ms",
        "newest_taken_ms",
        "usual_interval_ms",
    )

    def __init__(self) -> None:
        self.newest_taken_ms = -1
        self.usual_interval_ms = 0.0
        self.last_values: dict[str, tuple[int, float]] = {}
        """Channel -> when a believable value was last taken, and the value."""
        self.doubted: dict[str, tuple[int, str]] = {}
        """Channel -> when a value was last not believable, and why."""
        self.battery_least_v: float | None = None
        """The lowest voltage since the battery was charged last; None while it has said none."""
        self.late_ms = 0
        """How late readings have come lately; goes down as time goes by."""
        self.clock_off_from_ms = -1
        """Time of the first reading of a clock that is off steadily; −1 for none."""
        self._lag_ms = self._arrivals = self._spread_ms = 0
        self._was_prompt = False
        """Whether readings came at once, and evenly, before their age changed last."""
        self._first_arrival_ms = self._last_arrival_ms = self._ahead_at_ms = -1

    def clock_off_ms(self, now_ms: int) -> int:
        """Return how far the probe's clock is behind; negative when it is ahead, 0 when right."""
        if self._ahead_at_ms >= 0 and now_ms - self._ahead_at_ms < CLOCK_LASTS_MS:
            return -AHEAD_LEAST_MS
        fresh = now_ms - self._last_arrival_ms < max(CLOCK_LASTS_MS, 3 * self.usual_interval_ms)
        steady_ms = self._last_arrival_ms - self._first_arrival_ms
        small = self._was_prompt and self._spread_ms <= CLOCK_EVEN_MS
        least_ms = CLOCK_SMALL_MS if small else CLOCK_OFF_LEAST_MS
        if not fresh or abs(self._lag_ms) < least_ms:
            return 0
        if self._arrivals < CLOCK_ARRIVALS or steady_ms < CLOCK_TOLD_FROM_MS:
            return 0
        return self._lag_ms

    def add(self, one: Reading) -> None:
        """Take one reading in."""
        at_ms, last = one.taken_at_ms, self.last_values
        self._note_arrival(one)
        for name, value in one.values.items():
            why = doubt(name, value)
            if why is not None:
                if at_ms >= self.doubted.get(name, (-1, ""))[0]:
                    self.doubted[name] = (at_ms, why.value)
            elif name not in last or at_ms >= last[name][0]:
                last[name] = (at_ms, value)
                if name == BATTERY:
                    self.note_battery(value)
        gap_ms = at_ms - self.newest_taken_ms
        if gap_ms <= 0:
            return
        if self.newest_taken_ms >= 0:
            usual = self.usual_interval_ms or float(gap_ms)
            gap = min(float(gap_ms), GAP_MOST * usual)
            self.usual_interval_ms = usual + INTERVAL_WEIGHT * (gap - usual)
        self.newest_taken_ms = at_ms

    def note_battery(self, volts: float) -> None:
        """Take a voltage in, in the order of time; with none at all no battery feeds the probe."""
        if volts < NO_BATTERY_V:
            return
        least = self.battery_least_v
        if least is None or volts < least or volts >= least + CHARGED_V:
            self.battery_least_v = volts

    def recall(self, evidence: Mapping[str, float | str]) -> None:
        """Take over, after a restart, how low the battery was by the evidence of an open alert."""
        volts, known = evidence.get(BATTERY), self.battery_least_v
        if isinstance(volts, float) and (known is None or volts < known < volts + CHARGED_V):
            self.note_battery(volts)

    def _note_arrival(self, one: Reading) -> None:
        """Watch how old readings are when they come."""
        received_ms = one.received_at_ms
        lag_ms = received_ms - one.taken_at_ms
        if one.time_source is TimeSource.RECEIPT_CLOCK_AHEAD:
            self._ahead_at_ms = received_ms
        gone_ms = received_ms - self._last_arrival_ms
        if gone_ms < 0:
            return
        self.late_ms = max(lag_ms, self.late_ms - gone_ms, 0)
        if self._first_arrival_ms < 0:
            self._first_arrival_ms = received_ms
        if abs(lag_ms - self._lag_ms) > CLOCK_STEADY_MS:
            self._was_prompt = self._is_prompt()
            self._lag_ms, self._arrivals, self._first_arrival_ms = lag_ms, 0, received_ms
            self._spread_ms = 0
            self.clock_off_from_ms = one.taken_at_ms if lag_ms >= CLOCK_OFF_LEAST_MS else -1
        if gone_ms > 0:
            self._arrivals += 1
        self._spread_ms = max(self._spread_ms, abs(lag_ms - self._lag_ms))
        self._last_arrival_ms = received_ms

    def _is_prompt(self) -> bool:
        """Tell whether readings have come at once, and evenly, for an hour."""
        steady_ms = self._last_arrival_ms - self._first_arrival_ms
        return (
            self._first_arrival_ms >= 0
            and steady_ms >= CLOCK_PROMPT_MS
            and abs(self._lag_ms) + self._spread_ms <= 2 * CLOCK_EVEN_MS
        )

    def fill(self, newest_taken_ms: int, values: Mapping[str, float], interval_ms: float) -> None:
        """Take over what a store knows, after a restart."""
        self.usual_interval_ms = interval_ms
        self.newest_taken_ms = newest_taken_ms
        for name, value in values.items():
            why = doubt(name, value)
            if why is None:
                self.last_values[name] = (newest_taken_ms, value)
                if name == BATTERY:
                    self.note_battery(value)
            else:
                self.doubted[name] = (newest_taken_ms, why.value)
