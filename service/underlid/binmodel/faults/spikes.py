"""Spikes: single means far from their neighbours. What a bucket's mean hides is `probes/lone.py`.

The newest value is not believed when it has jumped, until the next one tells a spike from a step.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.episodes import Kind
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, EMPTY, STEP_OF, HotProbe
from underlid.binmodel.probes.lone import SPIKE_OF
from underlid.science.numeric import Floats

MAD_TO_SD: Final = 1.4826
MADS: Final = 4.0
"""x is a spike when |x − median₅| > max(4 · 1.4826 · MAD, floor): science page, fault classes."""

LEAST: Final = 4
"""Of fewer values none is told to be a spike."""


TOLD: Final = Kind(told_from=2, apart=3)
"""A single spike is left out and not told of; two in a day, fifteen minutes apart, are (our
judgement)."""

TOLD_UNDER_LID: Final = Kind(told_from=3, apart=BUCKETS_PER_HOUR)
"""In the headspace a lid that was lifted unseen looks like one; three in a day are too many for that."""


def spikes(values: Floats, floor: float, first: int = 0) -> list[int]:
    """Return the indices ≥ *first* of spikes in a channel's known means, in time order.

    >>> spikes(np.array([20.0, 20.1, 20.0, 27.0, 20.1, 20.0]), 1.5)
    [3]
    >>> spikes(np.array([20.0, 20.1, 20.0, 27.0, 27.1, 27.0]), 1.5)
    []
    """
    if len(values) < LEAST:
        return []
    jumps = np.flatnonzero(np.abs(values[1:] - values[:-1]) > floor / 2.0)
    if not len(jumps):
        return []
    near = {at for jump in jumps.tolist() for at in range(jump - 1, jump + 3)}
    known = values.tolist()
    return [at for at in sorted(near) if first <= at < len(known) and _is_spike(known, at, floor)]


def _is_spike(values: Sequence[float], at: int, floor: float) -> bool:
    last = min(at + 2, len(values) - 1)
    around = values[max(0, last - 4) : last + 1]
    if len(around) < LEAST:
        return False
    middle = sorted(around)[len(around) // 2]
    away = abs(values[at] - middle)
    spread = sorted(abs(one - middle) for one in around)[len(around) // 2]
    if away <= max(floor, MADS * MAD_TO_SD * spread):
        return False
    after = values[at + 1 : at + 3]
    if not after:
        return abs(values[at] - values[at - 1]) > floor
    return any(abs(one - values[at]) > away / 2.0 for one in after)


def lone_spikes(probe: HotProbe, channel: str, start: int, end: int) -> list[int]:
    """Return the buckets with a lone value left out, whose neighbours are even."""
    marked = probe.marked(channel, start, end)
    if not marked:
        return []
    codes = probe.codes(channel, start, end)
    at = np.flatnonzero(codes != EMPTY)
    most = SPIKE_OF[channel] / STEP_OF[channel] / 2.0
    found = []
    for place in np.searchsorted(at, [one - start for one in marked]).tolist():
        if 0 < place < len(at) - 1:
            around = codes[at[place - 1 : place + 2]]
            if int(around.max()) - int(around.min()) < most:
                found.append(start + int(at[place]))
    return found
