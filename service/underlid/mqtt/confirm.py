"""Which numbered messages are on disk now: from stored readings to the confirm payloads.

A probe that numbers its messages (`seq`) may delete those that are named here and sends the
others again. Pure; `door.py` and `broker.py` publish what this returns, after the commit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import msgspec

from underlid.readings.values import Reading

RANGES_MAX: Final = 1000
"""Ranges in one confirm message: 1000 pairs of long numbers stay below 64 KiB."""

Range = tuple[int, int]


class _Confirm(msgspec.Struct):
    ranges: list[Range]


def merged(numbers: Iterable[int]) -> list[Range]:
    """Return *numbers* as ascending ranges, both ends included, none touching the next.

    >>> merged([4, 1, 2, 3, 9, 2])
    [(1, 4), (9, 9)]
    """
    ranges: list[Range] = []
    first = last = None
    for number in sorted(set(numbers)):
        if first is None or last is None:
            first = last = number
        elif number == last + 1:
            last = number
        else:
            ranges.append((first, last))
            first = last = number
    if first is not None and last is not None:
        ranges.append((first, last))
    return ranges


def confirmed(readings: Iterable[Reading]) -> dict[tuple[str, str], list[Range]]:
    """Return the ranges of numbers in *readings*, for each (shed, probe) that numbers them."""
    numbers: dict[tuple[str, str], list[int]] = {}
    for reading in readings:
        if reading.seq is not None:
            numbers.setdefault((reading.shed, reading.probe), []).append(reading.seq)
    return {key: merged(found) for key, found in numbers.items()}


def payloads(ranges: list[Range]) -> Iterator[bytes]:
    """Yield the messages that carry *ranges*; nearly always one.

    >>> list(payloads([(1201, 1234)]))
    [b'{"ranges":[[1201,1234]]}']
    """
    for start in range(0, len(ranges), RANGES_MAX):
        yield msgspec.json.encode(_Confirm(ranges[start : start + RANGES_MAX]))
