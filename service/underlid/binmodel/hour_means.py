"""Means of whole hours of a series of buckets. Of whole days: `day_means.py`."""

from __future__ import annotations

import numpy as np

from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats


def hour_means(values: Floats, hours: int = 1) -> Floats:
    """Return the mean of each *hours* of buckets, NaN where none is known.

    One known bucket is enough: a probe that sends seldom fills one in three or fewer. The forecast, which
    is fitted to single hours, wants a quarter of each unless the probe sends seldom (`outlook/hours.py`).

    >>> hour_means(np.array([1.0] * 6 + [2.0] * 6 + [np.nan] * 11 + [3.0] + [np.nan] * 12)).tolist()
    [1.5, 3.0, nan]
    """
    rows = values.reshape(-1, hours * BUCKETS_PER_HOUR)
    sums: Floats = rows.sum(axis=1)
    if not np.isnan(sums).any():
        return sums / rows.shape[1]
    known = ~np.isnan(rows)
    count = known.sum(axis=1)
    total = np.where(known, rows, 0.0).sum(axis=1)
    result: Floats = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return result
