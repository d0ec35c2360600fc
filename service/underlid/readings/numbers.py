"""A value from a payload -> a finite float, or the refusal that says why not.

One rule for JSON, CBOR and both kinds of topic: numbers count; true and false are 1 and 0 where
no channel of Underlid's own is meant; text is not kept.
"""

from __future__ import annotations

from decimal import Decimal
from math import isfinite
from typing import Final

from underlid.readings.channels import CHANNELS
from underlid.readings.refusal import RefusedError
from underlid.readings.values import RejectReason
from underlid.timeline import SECOND_MS

SEQ_MOST: Final = 2**53 - 1
"""A double holds every whole number up to here, and JSON and SenML numbers are doubles."""


def finite(value: object) -> float | None:
    """Return *value* as a float if it is a number that a double can hold, else None.

    >>> finite(3), finite(float("inf")), finite(10**400), finite(True), finite("3")
    (3.0, None, None, None, None)
    """
    if type(value) is float:
        return value if isfinite(value) else None
    if type(value) is int or type(value) is Decimal:
        try:
            number = float(value)
        except (OverflowError, ValueError):
            return None
        return number if isfinite(number) else None
    return None


def milliseconds(seconds: float) -> int:
    """Return *seconds* as whole milliseconds, for any finite number.

    >>> milliseconds(1276020076.001)
    1276020076001
    """
    at_ms = seconds * SECOND_MS
    return round(at_ms) if isfinite(at_ms) else round(seconds)


def channel_value(channel: str, value: object) -> float:
    """Return what is stored for *channel*; raises `RefusedError` BAD_VALUE."""
    number = finite(value)
    if number is not None:
        return number
    if type(value) is bool and channel not in CHANNELS:
        return float(value)
    raise RefusedError(
        RejectReason.BAD_VALUE,
        f"value of {channel}",
        value=value,
        expected="a finite number",
        next_step="Send numbers as numbers; leave a channel out when its sensor did not answer.",
    )


def message_number(value: object) -> int:
    """Return a message's `seq`; raises `RefusedError` BAD_SEQ."""
    number = finite(value)
    if number is not None and number.is_integer() and number >= 0:
        whole = value if type(value) is int else int(number)
        if whole <= SEQ_MOST:
            return whole
    raise RefusedError(
        RejectReason.BAD_SEQ,
        "seq",
        value=value,
        expected="a whole number from 0 to 2^53 - 1",
        next_step="Count messages upwards; the readings were kept without their number.",
    )
