"""What one round of the courier did."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Drained:
    """How many deliveries were made, failed for now, were given up."""

    sent: int = 0
    failed: int = 0
    given_up: int = 0

    def __add__(self, other: Drained) -> Drained:
        return Drained(
            self.sent + other.sent,
            self.failed + other.failed,
            self.given_up + other.given_up,
        )
