"""What a fault takes out of a series: values not believed, and the step of a probe that was moved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SETTLES_H, Span
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

BACK_BUCKETS: Final = BUCKETS_PER_HOUR // 2
"""A probe that is put back is seen a quarter of an hour before or after; so much is left out."""


def counts_until(span: Span) -> int | None:
    """Return the bucket from which the end of a fault changes what is believed."""
    if span.until_bucket is None or span.mended_from is None:
        return span.until_bucket
    return max(span.from_bucket, span.until_bucket - 2 * BACK_BUCKETS)


def ways_out(spans: Sequence[Span], bucket: int) -> list[Span]:
    """Return the steps from about *bucket* on that were noise, or a probe's way into the air: no place."""
    since = bucket - BUCKETS_PER_HOUR * SETTLES_H
    return [one for one in spans if one.mended_from is not None and one.from_bucket >= since]


def mend(values: Floats, start: int, moved: Span) -> None:
    """Take the step of a moved probe off, but for the hours in which it settles here and there."""
    settled, until = moved.mended_from or 0, moved.until_bucket
    hide(values, start, moved.from_bucket, settled if until is None else min(settled, until))
    stop = len(values) if until is None else max(0, until - start)
    values[max(0, settled - start) : stop] -= moved.anchor[0]
    if until is not None:
        hide(values, start, max(moved.from_bucket, until - 2 * BACK_BUCKETS), until)


def hide(values: Floats, start: int, begin: int, until: int | None) -> None:
    """Turn buckets begin ≤ number < until into NaN."""
    stop = len(values) if until is None else until - start
    if stop > 0:
        values[max(0, begin - start) : stop] = np.nan
