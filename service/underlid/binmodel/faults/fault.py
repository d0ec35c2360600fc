"""What a fault is: a cause, and the buckets that are not believed because of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, Protocol

from underlid.binmodel.faults.episodes import quiet
from underlid.binmodel.lids.openings import Opening
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, WINDOW_BUCKETS
from underlid.science.numeric import Floats


class Cause(StrEnum):
    """Why a channel, or a whole probe, is not trusted."""

    NONSENSE = "nonsense"
    """Values that no working sensor says: a rail, a sentinel, out of range."""
    SPIKE = "spike"
    STUCK = "stuck"
    NOISE = "noise"
    DRIFT = "drift"
    MOVED = "moved"
    PULLED_OUT = "pulled_out"
    DROPOUT = "dropout"
    """Many readings are missing; those that come are believed."""


MASKS: Final = frozenset(Cause) - {Cause.DROPOUT, Cause.SPIKE}
"""The causes that take a whole span away. Of spikes only the buckets they fell in are taken."""

SOILS: Final = ("soil_raw", "soil_index", "moisture_pct")

SETTLES_H: Final = 3
"""Hours for which a probe that was moved is not believed at its new place."""

TOLD_AFTER_H: Final = 10
"""A step of a soil probe is told so late: until then the keeper may write down what explains it."""

LINGERS_H: Final = {
    Cause.NONSENSE: 12,
    Cause.SPIKE: 12,
    Cause.STUCK: 3,
    Cause.NOISE: 3,
    Cause.DRIFT: 3,
    Cause.MOVED: 12,
    Cause.PULLED_OUT: 3,
    Cause.DROPOUT: 6,
}
"""Hours for which a fault that has ended is still told, so that one which comes and goes is one
alert and not many (our judgement)."""

RECURS: Final = frozenset({Cause.NONSENSE, Cause.STUCK, Cause.NOISE, Cause.DROPOUT})
"""Of loose contacts and weak batteries: what has come back may come back again."""

BEFORE_BUCKETS: Final = 8 * 24 * BUCKETS_PER_HOUR
"""… if it had been within so long, which a restart finds again."""

AILING_BUCKETS: Final = 6 * BUCKETS_PER_HOUR

Key = tuple[str, str]
"""Probe and raw channel; an empty channel means the whole probe."""


@dataclass(slots=True)
class Span:
    """One fault of one channel. Buckets from ≤ number < until are not believed."""

    cause: Cause
    found_h: int
    """Number of the whole hour at which it was found."""
    from_bucket: int
    until_bucket: int | None = None
    """None while it goes on."""
    ended_h: int | None = None
    """Number of the whole hour at which its end was found."""
    anchor: tuple[float, ...] = ()
    """What the channel was like before, where its end is told by coming back to that."""
    ended: Callable[..., int | None] | None = field(default=None, repr=False)
    """Asked at every whole hour from which bucket on the channel is well again."""

    def hides_from(self, channel: str) -> int:
        """Return the first bucket that is left out.

        Of a moved soil probe all that came before, when it is believed at its new place.
        """
        return self.from_bucket - WINDOW_BUCKETS if self.is_elsewhere(channel) else self.from_bucket

    def is_elsewhere(self, channel: str) -> bool:
        """Tell whether a soil probe was moved and is believed at its new place."""
        if self.cause is not Cause.MOVED or channel not in SOILS or self.until_bucket is None:
            return False
        return self.until_bucket - self.from_bucket <= SETTLES_H * BUCKETS_PER_HOUR

    @property
    def mended_from(self) -> int | None:
        """Return the bucket from which a moved bed probe counts again, its step taken off."""
        if self.cause is not Cause.MOVED or len(self.anchor) != 1:
            return None
        return self.from_bucket + SETTLES_H * BUCKETS_PER_HOUR

    def covers(self, bucket: int) -> bool:
        """Tell whether a fault of this kind that begins in *bucket* is this one.

        A probe that was moved may be moved once more when it has settled.
        """
        if self.cause is not Cause.MOVED or (
            self.until_bucket is None and self.mended_from is None
        ):
            return self.until_bucket is None
        settles = SETTLES_H * BUCKETS_PER_HOUR
        marks = (self.from_bucket, self.until_bucket or self.from_bucket)
        return any(abs(bucket - one) < settles for one in marks)

    def told_at(self, bucket: int, channel: str, spans: Sequence[Span]) -> bool:
        """Tell whether the keeper hears of it at *bucket*; *spans* are all of its channel."""
        if self.cause is Cause.MOVED and channel in SOILS:
            told_from = self.from_bucket + TOLD_AFTER_H * BUCKETS_PER_HOUR
            if self.is_elsewhere(channel):
                lingers = LINGERS_H[self.cause] * BUCKETS_PER_HOUR
                return told_from <= bucket < told_from + lingers
            until = bucket if self.until_bucket is None else self.until_bucket
            if until < told_from:
                return False
        if self.until_bucket is None:
            return True
        return bucket - self.until_bucket < self._lingers(spans)

    def _lingers(self, spans: Sequence[Span]) -> int:
        """Return for how many buckets it is still told: longer when it had been before."""
        least = LINGERS_H[self.cause] * BUCKETS_PER_HOUR
        began = sorted(
            one.from_bucket
            for one in spans
            if one.cause is self.cause and 0 <= self.from_bucket - one.from_bucket <= BEFORE_BUCKETS
        )
        return max(least, quiet(began)) if self.cause in RECURS and len(began) > 1 else least


def is_covered(spans: Sequence[Span], cause: Cause, bucket: int) -> bool:
    """Tell whether a fault of *cause* that begins in *bucket* is one of *spans*."""
    return any(one.covers(bucket) for one in spans if one.cause is cause)


def is_ailing(spans: Sequence[Span], bucket: int) -> bool:
    """Tell whether the channel was at fault in another way until shortly before: a step ends that."""
    since = bucket - AILING_BUCKETS
    return any(
        one.until_bucket is None or one.until_bucket > since
        for one in spans
        if one.cause in MASKS - {Cause.MOVED} and one.from_bucket < bucket - 1
    )


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault as the keeper is told of it; times are bucket numbers, until None while it lasts."""

    probe: str
    channel: str
    cause: Cause
    from_bucket: int
    until_bucket: int | None


class TrustView(Protocol):
    """What a window asks `trust.Trust`."""

    @property
    def opened(self) -> Sequence[Opening]:
        """Return when the lid was lifted, oldest first."""
        ...

    def hide(self, probe: str, channel: str, values: Floats, start: int) -> None:
        """Turn what is not believed of a channel's raw means, from bucket *start* on, into NaN."""
        ...

    def spans(self, channel: str) -> list[tuple[int, int | None]]:
        """Return from and until of the faults that keep a channel from being believed, by time."""
        ...

    def faults(self, probe: str) -> list[Fault]:
        """Return the faults of a probe that the keeper is told of now."""
        ...

    def is_elsewhere(self) -> bool:
        """Tell whether a soil probe is believed at another place than before."""
        ...

    def opened_at(self) -> int | None:
        """Return the bucket in which the lid was last lifted, within a day."""
        ...
