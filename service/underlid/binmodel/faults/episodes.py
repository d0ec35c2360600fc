"""What comes and goes is one alert: when single odd values are worth telling of, and for how long.

Such a fault has no end that can be seen: it is over when it has been quiet for longer than one would expect
by how often it came.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR

WITHIN: Final = 24 * BUCKETS_PER_HOUR

CHANCE: Final = 0.05
"""A quiet so long that a fault which goes on would make it once in twenty times is its end."""

QUIET_LEAST: Final = 12 * BUCKETS_PER_HOUR
QUIET_MOST: Final = 72 * BUCKETS_PER_HOUR
"""Between these (our judgement): what comes once a night is not over at noon, and a probe that was put
right is not told of for weeks."""


@dataclass(frozen=True, slots=True)
class Kind:
    """How often, within a day, and how many buckets apart, odd values must come to be told."""

    told_from: int
    apart: int


class Episode(NamedTuple):
    """First and last bucket with an odd value, and the bucket until which it is told."""

    first: int
    last: int
    told_until: int


def episode(at: Sequence[int], kind: Kind) -> Episode | None:
    """Return the newest episode of the odd values in buckets *at*, ascending, if there is one.

    >>> spike = Kind(told_from=2, apart=3)
    >>> episode([5000, 5001, 5100, 5200], spike)
    Episode(first=5000, last=5200, told_until=5894)
    >>> episode([100, 5000, 5001], spike), episode([5000, 5100, 7000], spike)
    (None, None)
    """
    events = [
        at[0],
        *(after for before, after in itertools.pairwise(at) if after - before >= kind.apart),
    ]
    going: list[int] = []
    for one in events:
        if going and one - going[-1] > quiet(going):
            going = []
        if going:
            going.append(one)
            continue
        recent = [event for event in events if 0 <= one - event <= WITHIN]
        going = recent if len(recent) >= kind.told_from else []
    return Episode(going[0], at[-1], at[-1] + quiet(going)) if going else None


def quiet(events: Sequence[int]) -> int:
    """Return after how many buckets without one a fault that came in *events*, two or more, is over.

    Of n events over a time T the rate is known as by a gamma law; the chance of none within q is then
    (T / (T + q)) to the power of n − 1.

    >>> [quiet(range(0, 24 * 60, step)) // 12 for step in (12, 48, 144, 720)]
    [12, 12, 42, 72]
    """
    span = events[-1] - events[0]
    wanted: float = span * (CHANCE ** (-1.0 / (len(events) - 1)) - 1.0)
    return round(min(max(wanted, QUIET_LEAST), QUIET_MOST))
