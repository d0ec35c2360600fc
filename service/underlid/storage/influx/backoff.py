"""How long to wait before the next try: longer each time, a little by chance, as the server asks."""

from __future__ import annotations

import random
from typing import Final

FIRST_S: Final = 0.5
LONGEST_S: Final = 60.0
"""An outage of an hour ends within a minute of the server's return (our judgement)."""

ASKED_MOST_S: Final = 3600.0
"""A server may ask for this much patience at most."""

OPERATOR_S: Final = 60.0
"""Wait when somebody has to change something first: no use in trying often."""


class Backoff:
    """The waits between tries that fail one after the other."""

    def __init__(self, chance: random.Random | None = None) -> None:
        self._chance = chance or random.Random()
        self._tries = 0

    def again(self, asked_s: float = 0.0) -> float:
        """Return the seconds to wait after one more failure: never less than the server asks.

        Half of the wait is by chance, so that many workers do not come back all at once.
        """
        wait_s = min(LONGEST_S, FIRST_S * 2.0 ** min(self._tries, 16))
        self._tries += 1
        wait_s *= 0.5 + 0.5 * self._chance.random()
        return max(wait_s, min(asked_s, ASKED_MOST_S))

    def well(self) -> None:
        """Begin anew: something worked."""
        self._tries = 0
