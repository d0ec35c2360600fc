"""Whether a probe's clock is believed, and what happens to a row when it is not.

The rows of one message are placed together, so that a back-fill keeps its spacing when its clock
is wrong and no two rows fall onto one key (time, probe) and overwrite each other. The rules, in
words with examples, are on the payloads page under "Time". Reading bytes is not done here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from underlid.readings.refusal import RefusedError
from underlid.readings.topics import Topic
from underlid.readings.values import Reading, RejectReason, TimeSource
from underlid.timeline import MINUTE_MS

PAYLOAD_MOST_BYTES: Final = 64 * 1024
RECORDS_MOST: Final = 512
CHANNELS_MOST: Final = 64
"""The three limits of a message: far above any probe, far below what would hurt (our judgement)."""

AHEAD_MOST_MS: Final = 10 * MINUTE_MS
"""A probe's clock may run this far ahead before it is distrusted (our judgement)."""

EARLIEST_MS: Final = 1_577_836_800_000
"""2020-01-01T00:00:00Z: no probe for Underlid was made before; an unset clock starts at 1970."""


_DEVICE: Final = TimeSource.DEVICE
"""Looked up once: an enum member costs as much to find as a topic."""


class Row(msgspec.Struct, gc=False):
    """Values of one instant, before the clock has been judged.

    `taken_at_ms` is None when the sender said nothing of time. `by_receipt` tells that the time
    was counted from the moment of receipt and not read off a clock.
    """

    values: dict[str, float]
    taken_at_ms: int | None = None
    by_receipt: bool = False
    seq: int | None = None


def admit(rows: Sequence[Row], topic: Topic, received_at_ms: int, into: list[Reading]) -> None:
    """Append a reading for every row, each with a time that can be stored.

    Raises `RefusedError` TOO_MANY_CHANNELS, before anything was appended.
    """
    if len(rows) == 1:
        row = rows[0]
        if len(row.values) > CHANNELS_MOST:
            raise too_many_channels(len(row.values))
        at_ms, source = _placed(row, received_at_ms)
        into.append(
            Reading(topic.probe, topic.shed, at_ms, received_at_ms, row.values, source, row.seq)
        )
        return
    channels = {channel for row in rows for channel in row.values}
    if len(channels) > CHANNELS_MOST:
        raise too_many_channels(len(channels))
    for row, (at_ms, source) in zip(rows, _placed_together(rows, received_at_ms), strict=True):
        into.append(
            Reading(topic.probe, topic.shed, at_ms, received_at_ms, row.values, source, row.seq)
        )


def _placed(
    row: Row, received_at_ms: int, ahead_ms: int = 0, unset_shift_ms: int | None = None
) -> tuple[int, TimeSource]:
    """Return the row's time and whose clock it is.

    *ahead_ms* is how far the message's newest row is in the future; *unset_shift_ms* takes the
    newest time read off a clock that was never set to the moment of receipt.
    """
    taken_at_ms = row.taken_at_ms
    if taken_at_ms is None:
        return received_at_ms, TimeSource.RECEIPT
    at_ms = received_at_ms
    if taken_at_ms < EARLIEST_MS:
        source = TimeSource.RECEIPT_CLOCK_UNSET
        if unset_shift_ms is not None:
            at_ms = taken_at_ms + unset_shift_ms
    elif ahead_ms or taken_at_ms > received_at_ms + AHEAD_MOST_MS:
        source = TimeSource.RECEIPT_CLOCK_AHEAD
        if ahead_ms:
            at_ms = taken_at_ms - ahead_ms
    else:
        return taken_at_ms, TimeSource.RECEIPT if row.by_receipt else TimeSource.DEVICE
    return (at_ms if at_ms >= EARLIEST_MS else received_at_ms), source


def _placed_together(rows: Sequence[Row], received_at_ms: int) -> list[tuple[int, TimeSource]]:
    """Return time and source per row: spacing kept, no two differing rows at one instant."""
    times = [row.taken_at_ms for row in rows if row.taken_at_ms is not None]
    newest_ms = max(times, default=received_at_ms)
    ahead_ms = newest_ms - received_at_ms if newest_ms > received_at_ms + AHEAD_MOST_MS else 0
    unset = [at_ms for at_ms in times if at_ms < EARLIEST_MS]
    unset_shift_ms = received_at_ms - max(unset) if unset else None
    placed = [_placed(row, received_at_ms, ahead_ms, unset_shift_ms) for row in rows]
    if len({at_ms for at_ms, _ in placed}) < len(placed):
        _spread(rows, placed)
    return placed


def _spread(rows: Sequence[Row], placed: list[tuple[int, TimeSource]]) -> None:
    """Move rows that would overwrite another by milliseconds, in place.

    A clock that was believed keeps its time: of two such rows that contradict each other the
    later one in the message moves forward. Rows placed by receipt move back, the last row of the
    message staying where it is, because a message lists its rows oldest first.
    """
    taken: dict[int, dict[str, float]] = {}
    step: dict[int, int] = {}
    believed = [i for i, (_, source) in enumerate(placed) if source is TimeSource.DEVICE]
    others = [i for i, (_, source) in enumerate(placed) if source is not TimeSource.DEVICE]
    for order, direction in ((believed, 1), (reversed(others), -1)):
        for i in order:
            at_ms, source = placed[i]
            free_ms = step.get(at_ms * direction, at_ms)
            while free_ms in taken and not _agree(taken[free_ms], rows[i].values):
                free_ms += direction
            step[at_ms * direction] = free_ms
            taken[free_ms] = {**taken.get(free_ms, {}), **rows[i].values}
            placed[i] = (free_ms, source)


def _agree(one: dict[str, float], other: dict[str, float]) -> bool:
    """Tell whether both can be the same instant: no channel has two values."""
    return all(one.get(channel, value) == value for channel, value in other.items())


def keep_apart(readings: list[Reading]) -> None:
    """Move readings of different messages that would overwrite each other, in place.

    Only readings timed by receipt: a probe without a clock that empties its queue sends several
    within one millisecond. Each moves on by as many milliseconds as it takes. Two readings with
    a time of the probe's own are left alone: the same instant said twice is a repetition.
    """
    seen: dict[tuple[str, int], dict[str, float]] = {}
    last_ms: dict[tuple[str, int], int] = {}
    for i, reading in enumerate(readings):
        if reading.time_source is _DEVICE:
            continue
        key = (reading.probe, reading.taken_at_ms)
        at_ms = last_ms.get(key, reading.taken_at_ms)
        while (held := seen.get((reading.probe, at_ms))) is not None:
            if held.keys().isdisjoint(reading.values):
                break
            at_ms += 1
        last_ms[key] = at_ms
        seen[reading.probe, at_ms] = {**held, **reading.values} if held else reading.values
        if at_ms != reading.taken_at_ms:
            readings[i] = msgspec.structs.replace(reading, taken_at_ms=at_ms)


def empty(value: object) -> RefusedError:
    """Return the refusal of a message or object without any value."""
    return RefusedError(
        RejectReason.EMPTY,
        "message",
        value=value,
        expected="at least one value that can be kept",
        next_step="Look for another refusal of the same message, or check the firmware.",
    )


def too_many_records(count: int) -> RefusedError:
    """Return the refusal of an array or pack that is too long."""
    return RefusedError(
        RejectReason.TOO_MANY_RECORDS,
        "number of records",
        value=count,
        expected=f"at most {RECORDS_MOST}",
        next_step="Send the back-fill in several messages.",
    )


def too_many_channels(count: int) -> RefusedError:
    """Return the refusal of a message with more channels than a probe may have."""
    return RefusedError(
        RejectReason.TOO_MANY_CHANNELS,
        "number of channels",
        value=count,
        expected=f"at most {CHANNELS_MOST}",
        next_step="Split the probe in two, each with an id of its own.",
    )


def too_large(payload: bytes) -> RefusedError:
    """Return the refusal of a payload that is too long."""
    return RefusedError(
        RejectReason.TOO_LARGE,
        "payload",
        value=f"{len(payload)} bytes",
        expected=f"at most {PAYLOAD_MOST_BYTES} bytes",
        next_step="Send the back-fill in several messages.",
    )
