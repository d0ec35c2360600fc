"""Which journal entries are remembered beyond the window of a judgement: weighed samples and moves.

A keeper weighs a sample perhaps twice a year, and what it says of a soil probe holds for months; a move
ends that. All other entries matter for two weeks. How long a sample counts is in
`binmodel.taught.old_samples`.
"""

from __future__ import annotations

from typing import Final

from underlid.journal.entries import Entry, Moved, Sighting
from underlid.timeline import DAY_MS

STANDS_DAYS: Final = 400
"""Then an old sample says hardly more than that soil probes are alike (our judgement)."""

STANDS_MS: Final = STANDS_DAYS * DAY_MS


def stands(entry: Entry) -> bool:
    """Tell whether an entry is remembered for `STANDS_DAYS`.

    >>> stands(Entry("a", "tansy", 0, 0, Sighting(moisture_pct=71.0)))
    True
    >>> stands(Entry("b", "tansy", 0, 0, Sighting(pests="mites")))
    False
    """
    return is_weighed(entry) or isinstance(entry.what, Moved)


def is_weighed(entry: Entry) -> bool:
    """Tell whether an entry has a weighed sample of the bed."""
    return isinstance(entry.what, Sighting) and entry.what.moisture_pct is not None
