"""READ THIS FIRST. The reading's way in two functions: `ingest` for what comes in, `evaluate`
for what it means. Both are pure: values in, values out, no clock, no I/O.

`ingest` runs once per batch of messages, before the commit; `evaluate` runs on the tick, after
it. Ingest never waits for judgement. Around them: `storage.recorder` (commit, then acknowledge)
and `judge` (which bin is due).
"""

from __future__ import annotations

from collections.abc import Sequence

from underlid.readings.admission import keep_apart
from underlid.readings.decode import decode_into
from underlid.readings.values import Admitted, RawMessage


def ingest(batch: Sequence[RawMessage]) -> Admitted:
    """Return everything a batch of messages holds, in the order of its messages.

    Total: a hostile message becomes a rejection with its reason and never stops the others.
    """
    admitted = Admitted([], [], [], [])
    for message in batch:
        decode_into(message, admitted)
    keep_apart(admitted.readings)
    return admitted
