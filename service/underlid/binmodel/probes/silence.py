"""Whether most probes of a shed fell silent together: then it is power or network, and no probe.

Each probe is looked at by its last reading and its usual interval. What is made of it is in
`alerts.together`; of a probe alone in `rules.probe_fault`.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from underlid.binmodel.probes.vitals import Vitals
from underlid.timeline import DAY_MS, MINUTE_MS

TOGETHER_MS: Final = 10 * MINUTE_MS
"""So far apart may devices fall silent that lose one network (our judgement)."""

COUNTS_MS: Final = DAY_MS
"""A probe that had been silent for so long before is none of those that fell silent."""


@dataclass(frozen=True, slots=True)
class Silence:
    """Probes that have said nothing since about one moment, and how many were heard before it."""

    since_ms: int
    probes: frozenset[str]
    of: int


def shed_silence(
    vitals: Mapping[str, Vitals], probes: Iterable[str], now_ms: int
) -> Silence | None:
    """Return the silence of more than half of a shed's *probes*; None while most of them speak.

    Parameters
    ----------
    probes
        All that are watched in the shed.
    """
    spans = {}
    for probe in probes:
        one = vitals.get(probe)
        if one is not None and one.newest_taken_ms >= 0:
            last_ms = one.newest_taken_ms
            spans[probe] = (last_ms, last_ms + round(one.usual_interval_ms) + TOGETHER_MS)
    missing = {probe: span for probe, span in spans.items() if span[1] < now_ms}
    if len(missing) < 2:
        return None
    begins, ends = (sorted(one) for one in zip(*missing.values(), strict=True))
    since_ms = max(begins, key=lambda at: (bisect_right(begins, at) - bisect_left(ends, at), at))
    silent = frozenset(one for one, (begin, end) in missing.items() if begin <= since_ms <= end)
    of = sum(end >= since_ms - COUNTS_MS for _, end in spans.values())
    return Silence(since_ms, silent, of) if len(silent) >= 2 and 2 * len(silent) > of else None


def still_silent(
    vitals: Mapping[str, Vitals], probes: Iterable[str], since_ms: int
) -> tuple[list[str], int]:
    """Return which *probes* have said nothing since *since_ms*, and how many were heard about then."""
    heard = {
        probe: vitals[probe].newest_taken_ms
        for probe in probes
        if probe in vitals and vitals[probe].newest_taken_ms >= since_ms - COUNTS_MS
    }
    return [probe for probe, last_ms in heard.items() if last_ms <= since_ms], len(heard)
