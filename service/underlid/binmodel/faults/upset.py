"""Whether one drift can be told while another thermometer is at fault, and when it takes that one's place.

A thermometer that drifts, or whose clock was off, makes the others look as if they did.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from underlid.binmodel.faults.fault import Cause, Key, Span
from underlid.binmodel.faults.scene import TEMPERATURES, Begin
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR

UPSET_BUCKETS: Final = 2 * BUCKETS_PER_HOUR

CORRECTS_WITHIN: Final = 48 * BUCKETS_PER_HOUR
"""Later the days that a drift is told from have it in them."""

Clock = tuple[int, int | None]
Spans = Mapping[Key, Sequence[Span]]


def is_upset(
    spans: Spans, clocks: Iterable[Clock], bucket: int, found: int, but: Span | None = None
) -> bool:
    """Tell whether a temperature other than *but* is, or was in the days before *bucket*, at fault.

    A clock that was off until the drift was *found* has put other temperatures where they do not belong.
    """
    since = bucket - LOOKBACK_H * BUCKETS_PER_HOUR
    off = any(begin <= found and (until or found + 1) > since for begin, until in clocks)
    return off or any(
        (until := one.until_bucket) is None or until > max(since, one.from_bucket + UPSET_BUCKETS)
        for key, each in spans.items()
        for one in each
        if one is not but and (key[1] in TEMPERATURES or one.cause is Cause.PULLED_OUT)
    )


def taken_for(spans: Spans, key: Key, begin: Begin) -> Span | None:
    """Return the drift of another temperature than *key*'s that, as is plain now, is this one's."""
    if not begin.corrects:
        return None
    for other, each in spans.items():
        for one in each:
            if other == key or other[1] not in TEMPERATURES or one.cause is not Cause.DRIFT:
                continue
            late = begin.from_bucket - one.from_bucket
            if one.until_bucket is None and late <= CORRECTS_WITHIN:
                return one
    return None
