"""The lid was lifted: headspace humidity falls, its temperature goes to the shed's, both come back.

No fault and no bin alert; what the headspace says meanwhile is the shed's air and is left out of the
arithmetic of lid and film. A lid that stays open longer than an hour and a half is how things are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from underlid.science.numeric import Floats

FALL_PCT: Final = 6.0
FALL_ALONE_PCT: Final = 10.0
"""Humidity falls at least so much; more when no temperature can bear it out (our judgement)."""

BEFORE: Final = 12
"""Buckets before, whose middle value the fall is counted from."""

TOWARDS: Final = 0.2
"""Share of the gap to the shed that the temperature closes."""

GAP_K: Final = 1.0
"""With a smaller gap the temperature says nothing."""

BACK_SHARE: Final = 0.4
"""It is over when less than this share of the fall is left."""

LASTS_MOST: Final = 18
"""Buckets: an hour and a half. Longer, and the lid was left open."""


LEFT_K: Final = 0.2
BEYOND_K: Final = 1.5
"""The temperature leaves by so much; so far beyond the shed's is no air (our judgement)."""

STAYED_SHARE: Final = 0.5
"""Two values in a row that keep this share of the fall are no spike."""

BESIDE: Final = 6
"""Buckets on either side of an opening, whose nearest value it is compared with."""


@dataclass(frozen=True, slots=True)
class Opening:
    """Buckets from ≤ number < until in which the lid was off; until None while it is."""

    from_bucket: int
    until_bucket: int | None
    sure: bool = field(default=False, compare=False)
    """The temperature left at the same time, or humidity stayed away: no single odd value."""


def openings(rh: Floats, head: Floats, shed: Floats, start: int, first: int) -> list[Opening]:
    """Return the openings that begin at *first* or later.

    Parameters
    ----------
    rh, head, shed
        Headspace humidity, % (raw), headspace and shed temperature, °C; NaN where unknown.
    start
        Number of their first bucket.
    first
        Number of the first bucket in which one may begin.
    """
    found: list[Opening] = []
    if not np.fmax.reduce(rh) - np.fmin.reduce(rh) > FALL_PCT:
        return found
    with np.errstate(invalid="ignore"):
        falls = _just_before(rh) - rh[1:] > FALL_PCT / 2.0
    at = first - start
    for place in (np.flatnonzero(falls) + 1).tolist():
        if place < at:
            continue
        opening = _opening_at(rh, head, shed, place)
        if opening is not None:
            begin, end = opening
            at = len(rh) if end is None else end
            sure = _stayed(rh, begin, at) or _temperature_left(head, shed, begin, at)
            found.append(Opening(start + begin, None if end is None else start + end, sure))
    return found


def _opening_at(
    rh: Floats, head: Floats, shed: Floats, place: int
) -> tuple[int, int | None] | None:
    past = slice(max(0, place - BEFORE), place)
    humid, warm = _middle(rh[past]), _middle(head[past])
    if humid is None:
        return None
    soon = rh[place : place + 3]
    fall = humid - float(np.fmin.reduce(soon))
    if fall < FALL_PCT or not _borne_out(warm, head[place : place + 3], shed, place, fall):
        return None
    stop = min(place + LASTS_MOST, len(rh))
    low = place + int(np.nanargmin(soon))
    for later in range(low + 1, stop):
        if humid - rh[later] <= BACK_SHARE * fall:
            return place, later
    return place, (stop if place + LASTS_MOST <= len(rh) else None)


def _borne_out(warm: float | None, heads: Floats, shed: Floats, place: int, fall: float) -> bool:
    """Tell whether the temperature says the same, or cannot say."""
    around = _middle(shed[max(0, place - BEFORE) : place + 1])
    known = heads[~np.isnan(heads)]
    if warm is None or around is None or not len(known) or abs(around - warm) < GAP_K:
        return fall >= FALL_ALONE_PCT
    closed = (known - warm) / (around - warm)
    return float(closed.max()) >= TOWARDS


def _just_before(rh: Floats) -> Floats:
    """Return, for each bucket but the first, the highest humidity of the three before it."""
    padded = np.concatenate([[np.nan, np.nan], rh])
    result: Floats = np.fmax(np.fmax(padded[2:-1], padded[1:-2]), padded[:-3])
    return result


def _stayed(rh: Floats, begin: int, end: int) -> bool:
    """Tell whether two values in a row, or more, lie low."""
    before = _middle(rh[max(0, begin - BEFORE) : begin])
    inside = rh[begin:end]
    inside = inside[~np.isnan(inside)]
    if before is None or len(inside) < 2:
        return False
    falls = np.sort(before - inside)
    return float(falls[-2]) >= max(FALL_PCT, STAYED_SHARE * float(falls[-1]))


def _temperature_left(head: Floats, shed: Floats, begin: int, end: int) -> bool:
    """Tell whether the temperature was elsewhere, between here and the shed's, meanwhile."""
    before, after = head[max(0, begin - BESIDE) : begin], head[end : end + BESIDE]
    before, after = before[~np.isnan(before)], after[~np.isnan(after)]
    meanwhile, around = _middle(head[begin:end]), _middle(shed[max(0, begin - BESIDE) : end])
    if meanwhile is None or not len(before):
        return False
    usual = float(np.mean([before[-1], *after[:1]]))
    left = abs(meanwhile - usual)
    most = np.inf if around is None else abs(around - usual) + BEYOND_K
    return LEFT_K <= left <= most


def _middle(values: Floats) -> float | None:
    known = np.sort(values[~np.isnan(values)])
    return float(known[len(known) // 2]) if len(known) else None
