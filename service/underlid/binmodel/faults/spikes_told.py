"""Which channels had so many spikes lately that the keeper should look at their probe.

In the headspace a lid that was lifted looks like a spike: several channels move together, or the
journal has a visit, or `openings` saw temperature and humidity leave. Such are not counted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from underlid.binmodel.faults.episodes import Episode, episode
from underlid.binmodel.faults.fault import Key
from underlid.binmodel.faults.scene import visits_of
from underlid.binmodel.faults.spikes import TOLD, TOLD_UNDER_LID, lone_spikes
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.lids.openings import Opening
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow

LID_MOVES: Final = ("headspace_temp_c", "headspace_rh_pct", "lid_temp_c")
"""The channels that a lifted lid moves."""

VISIT_BUCKETS: Final = BUCKETS_PER_HOUR


def spikes_told(
    window: BinWindow,
    keys: Sequence[Key],
    spikes: Mapping[Key, Sequence[int]],
    opened: Sequence[Opening] = (),
) -> dict[Key, Episode]:
    """Return the newest spikes of each channel that are, or were lately, worth a word.

    Parameters
    ----------
    spikes
        Buckets whose mean is a spike; those that a mean hides are added here.
    opened
        The lifted lids that were seen.
    """
    end = window.end
    first = end - LOOKBACK_H * BUCKETS_PER_HOUR
    at = {}
    for key in keys:
        lone = lone_spikes(window.probes[key[0]], key[1], first, end)
        found = {*lone, *(one for one in spikes.get(key, ()) if one >= first)}
        if found:
            at[key] = sorted(found)
    lid = [set(at[key]) for key in at if key[1] in LID_MOVES]
    visits = visits_of(window.entries) if at else []
    result = {}
    for key, buckets in at.items():
        alone = key[1] in LID_MOVES
        odd = [
            one
            for one in buckets
            if not (alone and (_is_visit(one, lid, visits) or _is_opening(one, opened)))
        ]
        told = episode(odd, TOLD_UNDER_LID if alone else TOLD) if odd else None
        if told:
            result[key] = told
    return result


def _is_visit(bucket: int, lid: Sequence[set[int]], visits: Sequence[int]) -> bool:
    """Tell whether a spike of the headspace is a lid lifted: several channels, or in the journal."""
    near = {bucket - 1, bucket, bucket + 1}
    if sum(bool(near & one) for one in lid) > 1:
        return True
    return any(abs(bucket - one) <= VISIT_BUCKETS for one in visits)


def _is_opening(bucket: int, opened: Sequence[Opening]) -> bool:
    """Tell whether a lid that is surely open explains what the headspace says."""
    return any(
        one.from_bucket - 1 <= bucket <= (bucket if one.until_bucket is None else one.until_bucket)
        for one in opened
        if one.sure
    )
