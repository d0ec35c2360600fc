"""What the door counts, for the metrics and the probes page, and the brake on its log."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Final

LOG_EVERY_S: Final = 60.0
"""The same complaint about the same user is logged once a minute."""

COMPLAINTS_MAX: Final = 1000
"""Complaints remembered for that; a flood of made-up names must not fill the memory."""


@dataclass(slots=True)
class Counts:
    """Since the start; `open` is the present."""

    open: int = 0
    connections: int = 0
    messages: int = 0
    acknowledged: int = 0
    not_stored: int = 0
    """Messages whose commit failed: not acknowledged, the probe still has them."""
    held_back: int = 0
    """Times the writer's queue was full, so that nothing more was read for a while."""
    sent: int = 0
    dropped: int = 0
    """Outward messages a reader was too slow for."""
    refused: Counter[str] = field(default_factory=Counter)
    """What was not accepted, and every unusual end of a connection, by label."""


class LogBrake:
    """Says whether a complaint is due, and how many like it were left out."""

    def __init__(self) -> None:
        self._seen: dict[tuple[str, str], tuple[float, int]] = {}

    def due(self, label: str, who: str, now_s: float) -> int | None:
        """Return how many were left out since the last line, or None to leave this out too."""
        key = label, who
        last_s, left_out = self._seen.get(key, (-LOG_EVERY_S, 0))
        if now_s - last_s < LOG_EVERY_S:
            self._seen[key] = last_s, left_out + 1
            return None
        if len(self._seen) >= COMPLAINTS_MAX:
            self._seen.clear()
        self._seen[key] = now_s, 0
        return left_out
