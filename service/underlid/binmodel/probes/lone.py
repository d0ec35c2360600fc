"""A lone value far from the others of its bucket: a spike that a mean would hide.

Told from what a store sums up of a bucket, so that probe and store agree. Spikes between buckets are
`faults.spikes`.
"""

from __future__ import annotations

from typing import Final

SPIKE_OF: Final[dict[str, float]] = {
    "bed_temp_c": 1.5,
    "headspace_temp_c": 1.5,
    "headspace_rh_pct": 5.0,
    "lid_temp_c": 1.5,
    "shed_temp_c": 1.5,
    "shed_rh_pct": 5.0,
    "moisture_pct": 5.0,
    "soil_raw": 112.0,
    "soil_index": 0.07,
}
"""What a spike is beyond, at the least: 1.5 K, 5 % of humidity, 5 % points of moisture (science page,
fault classes); a soil probe's in its own unit, for a span of 1600 counts."""

LONE: Final = 128
"""Set in a bucket's count when a lone value was left out of its mean."""

LONE_FROM: Final = 3
"""Of fewer values none can be told to be the lone one."""

LONE_SHARE: Final = 0.25
"""A value is lone when the others lie within this share of its distance (our judgement)."""


def without_lone(
    low: float, mean: float, high: float, count: int, spike: float
) -> tuple[float, bool]:
    """Return a bucket's mean without a value that stands alone far off, and whether there is one.

    Parameters
    ----------
    low, mean, high
        Of the *count* values.
    spike
        The distance from which a value counts as far off.

    >>> without_lone(20.0, 23.0, 35.0, 5, 1.5), without_lone(20.0, 23.0, 26.0, 4, 1.5)
    ((20.0, True), (23.0, False))
    """
    if count < LONE_FROM or high - low <= spike:
        return mean, False
    under, over = (mean * count - high) / (count - 1), (mean * count - low) / (count - 1)
    if high - under > spike and under - low <= LONE_SHARE * (high - under):
        return under, True
    if over - low > spike and high - over <= LONE_SHARE * (over - low):
        return over, True
    return mean, False
