"""How long a bin that cannot be judged is left alone before it is tried again.

A mistake of ours that its data shows stays until data or program change, and to try means to judge all of
the bin's two weeks anew. `judge` keeps one of these.
"""

from __future__ import annotations

from typing import Final

from underlid.timeline import HOUR_MS, MINUTE_MS

FIRST_MS: Final = 5 * MINUTE_MS
MOST_MS: Final = 6 * HOUR_MS
"""Each pause is twice as long as the one before, up to this (our judgement)."""


class Pauses:
    """Bins that could not be judged, and how often in a row."""

    def __init__(self) -> None:
        self._failed: dict[str, int] = {}

    def __contains__(self, bin_id: str) -> bool:
        return bin_id in self._failed

    def after_failure_ms(self, bin_id: str) -> int:
        """Note that a bin could not be judged; return how long it is left alone.

        >>> pauses = Pauses()
        >>> [pauses.after_failure_ms("tansy") // MINUTE_MS for _ in range(8)]
        [5, 10, 20, 40, 80, 160, 320, 360]
        """
        times = self._failed.get(bin_id, 0)
        self._failed[bin_id] = times + 1
        return min(FIRST_MS << min(times, 10), MOST_MS)

    def forget(self, bin_id: str) -> None:
        """Note that a bin was judged, is no more, or has news that a person made."""
        self._failed.pop(bin_id, None)
