"""Plain payloads -> rows: one JSON object, an array of them (a back-fill), or a bare number.

The clock is judged in `admission.py`, bytes become values in `payloads.py`.
"""

from __future__ import annotations

from typing import Any, Final

from underlid.readings.admission import (
    CHANNELS_MOST,
    RECORDS_MOST,
    Row,
    empty,
    too_many_channels,
    too_many_records,
)
from underlid.readings.channels import CHANNELS, is_channel_name
from underlid.readings.numbers import channel_value, finite, message_number, milliseconds
from underlid.readings.payloads import TwiceNamed, read_json
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.topics import bad_channel
from underlid.readings.values import RejectReason
from underlid.timeline import parse_time_ms

TIME_MOST_CHARS: Final = 40
"""The longest RFC 3339 time with nine decimals has 35."""

FIELDS_MOST: Final = CHANNELS_MOST + len(("ts", "seq"))

NUMBER_MOST_BYTES: Final = 64
"""A bare number; a double needs 24."""


def rows_from_json(payload: bytes, refusals: Refusals) -> list[Row]:
    """Return a row per object; what cannot be used is noted in *refusals* and left out."""
    document = read_json(payload)
    if type(document) is dict:
        objects: list[Any] = [document]
    elif type(document) is list:
        objects = document
        if len(objects) > RECORDS_MOST:
            raise too_many_records(len(objects))
    else:
        raise _not_an_object(document)
    rows = []
    for fields in objects:
        try:
            row = _row(fields, refusals)
        except RefusedError as refusal:
            refusals.note(refusal)
        else:
            if row.values:
                rows.append(row)
    if not rows and not refusals:
        raise empty(document)
    return rows


def _row(fields: Any, refusals: Refusals) -> Row:
    """Return one object's row, without the fields that were refused; raises when all of it is."""
    if type(fields) is not dict:
        raise _not_an_object(fields)
    if len(fields) > FIELDS_MOST:
        raise too_many_channels(len(fields))
    row = Row({})
    values = row.values
    for name, value in fields.items():
        if type(value) is float and name in CHANNELS:
            values[name] = value
        elif name == "ts":
            row.taken_at_ms = _time_ms(value)
        elif value is not None:
            try:
                _odd_field(row, name, value)
            except RefusedError as refusal:
                refusals.note(refusal)
    return row


def _odd_field(row: Row, name: str, value: object) -> None:
    """Take in a field that is not simply a float of a channel we know."""
    if name == "seq":
        row.seq = message_number(value)
    elif name in CHANNELS or is_channel_name(name):
        row.values[name] = channel_value(name, value)
    else:
        raise bad_channel(name)


def _time_ms(value: object) -> int | None:
    """Return `ts` in milliseconds since 1970; None for null, as if it had been left out."""
    if value is None:
        return None
    seconds = finite(value)
    if seconds is not None and isinstance(value, int | float):
        return milliseconds(seconds)
    if type(value) is str and len(value) <= TIME_MOST_CHARS and value.isascii():
        try:
            return parse_time_ms(value)
        except (ValueError, OverflowError):
            pass
    raise RefusedError(
        RejectReason.BAD_TIME,
        "ts",
        value=value,
        expected="seconds since 1970 or RFC 3339 with an offset, like 2026-05-01T09:30:00Z",
        next_step="Correct the firmware, or leave ts out: then the time of receipt counts.",
    )


def row_from_number(payload: bytes, channel: str) -> Row:
    """Return the row of a bare number; raises `RefusedError`."""
    if not payload.strip():
        raise empty(payload)
    if len(payload) <= NUMBER_MOST_BYTES and b"_" not in payload:
        try:
            return Row({channel: channel_value(channel, float(payload))})
        except ValueError:
            pass
    raise RefusedError(
        RejectReason.BAD_VALUE,
        f"value of {channel}",
        value=payload[:NUMBER_MOST_BYTES],
        expected="a bare number like 22.4",
        next_step="Send digits only, without a unit; the unit is in the channel's name.",
    )


def _not_an_object(value: object) -> RefusedError:
    if isinstance(value, TwiceNamed):
        expected = "every name once"
    else:
        expected = 'an object like {"bed_temp_c": 22.4}, or an array of such'
    return RefusedError(
        RejectReason.NOT_JSON,
        "JSON value",
        value=value,
        expected=expected,
        next_step="Check what the firmware sends.",
    )
