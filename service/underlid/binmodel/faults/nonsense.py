"""Nonsense: a channel says, again and again, what no working sensor says.

The buckets it falls in are left out anyway (`hot.py`); when it is most of what comes, nothing of the
channel is believed meanwhile.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import Span
from underlid.binmodel.faults.scene import Begin, Scene

MOST_SHARE: Final = 0.5
SOIL_SHARE: Final = 0.8
"""Share of an hour's buckets. A soil probe of twelve bits may pass 1023, the end of ten bits, in good
health."""

LEAST: Final = 2


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the channels of which an hour of index ≥ *at* was mostly nonsense."""
    table = scene.table
    spoiled = table.spoiled[:, at:]
    if not spoiled.any():
        return []
    came = spoiled + table.known[:, at:]
    share = np.array([SOIL_SHARE if name == "soil_raw" else MOST_SHARE for _, name in table.keys])
    bad = (spoiled >= share[:, None] * came) & (spoiled >= np.minimum(came, LEAST)) & (spoiled > 0)
    return [
        Begin(at + hour, row, table.bucket_of(at + hour)) for row, hour in np.argwhere(bad).tolist()
    ]


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket from which the channel makes sense again."""
    table = scene.table
    if table.spoiled[row, at] or not table.known[row, at]:
        return None
    return table.bucket_of(at)
