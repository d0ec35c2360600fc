"""One mapping, ready to read: a message of other firmware -> rows, by probe.

What a mapping may say is in `mapping.py`; which mappings read which topic is in `mapped.py`.
"""

from __future__ import annotations

import re
from hashlib import blake2b
from math import isfinite
from typing import Any, Final

from jsonpointer import EndOfList, JsonPointer

from underlid.readings.admission import (
    RECORDS_MOST,
    Row,
    too_many_records,
)
from underlid.readings.channels import is_id
from underlid.readings.mapping import WHOLE, MappedValue, PayloadMapping, units_of
from underlid.readings.numbers import channel_value, finite, message_number, milliseconds
from underlid.readings.payloads import read_json
from underlid.readings.plain import NUMBER_MOST_BYTES, TIME_MOST_CHARS
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.topics import OWN_WORDS
from underlid.readings.values import RawMessage, RejectReason
from underlid.timeline import parse_time_ms

_NOWHERE: Final = object()
_NOT_IN_AN_ID: Final = re.compile(r"[^a-z0-9_-]+")


def id_from(text: str) -> str:
    """Return a probe's id made of what other firmware calls it; "" when nothing is left.

    Letters that no id may have leave a mark, so that two names of another script stay two.

    >>> id_from("Board 7A:0F"), id_from("Küche"), id_from("左1") == id_from("右1")
    ('board-7a-0f', 'k-che-298321', False)
    """
    known = _NOT_IN_AN_ID.sub("-", text.lower()).strip("-_")
    if text.isascii():
        return known
    mark = blake2b(text.encode("utf-8", "replace"), digest_size=3).hexdigest()
    return f"{known}-{mark}".strip("-_")


class _Place:
    """A place in a payload."""

    __slots__ = ("_pointer", "text")

    def __init__(self, text: str) -> None:
        self.text = text
        self._pointer = JsonPointer(text)

    def find(self, document: Any) -> Any:
        """Return what stands there, None when nothing does."""
        found = self._pointer.resolve(document, _NOWHERE)
        return None if found is _NOWHERE or isinstance(found, EndOfList) else found


def _place(text: str | None) -> _Place | None:
    return None if text is None else _Place(text)


class _Target:
    """Where a number of the payload goes: channel value = scale · number + offset."""

    __slots__ = ("channel", "offset", "place", "scale")

    def __init__(self, value: MappedValue) -> None:
        scale, offset = units_of(value.channel).get(value.unit, (1.0, 0.0))
        self.place = _Place(value.at)
        self.channel = value.channel
        self.scale = scale * value.times
        self.offset = offset

    def value(self, found: Any) -> float:
        """Return what is stored; raises `RefusedError` BAD_VALUE. Numbers in quotes are numbers."""
        number = channel_value(self.channel, unquoted(found))
        if self.scale == 1.0 and self.offset == 0.0:
            return number
        converted = self.scale * number + self.offset
        return converted if isfinite(converted) else channel_value(self.channel, converted)


def unquoted(found: Any) -> Any:
    """Return the number that a text is, or what came."""
    if type(found) is str and len(found) <= NUMBER_MOST_BYTES and found.isascii():
        try:
            return found if "_" in found else float(found)
        except ValueError:
            pass
    return found


class Reader:
    """One mapping, ready to read."""

    def __init__(self, name: str, mapping: PayloadMapping) -> None:
        self.name = name
        self.mapping = mapping
        self._each = _place(mapping.each_at)
        self._probe = _place(mapping.probe_at)
        self._time = _place(mapping.time_at)
        self._seq = _place(mapping.seq_at)
        self._targets = [_Target(one) for one in mapping.values]
        places = (self._each, self._probe, self._time, self._seq)
        self._bare = len(mapping.values) == 1 and mapping.values[0].at == WHOLE and not any(places)

    def probes(self, topic: str, payload: bytes) -> set[str]:
        """Return the probes that a message would give readings of, as far as they can be read."""
        if self._probe is None:
            items: list[Any] = [None]
        else:
            try:
                items = self._items(read_json(payload))
            except RefusedError:
                return set()
        found = set()
        for item in items:
            try:
                found.add(self._probe_of(topic, item))
            except RefusedError:
                continue
        return found

    def rows(self, message: RawMessage, refusals: Refusals) -> dict[str, list[Row]]:
        """Return the rows of a message by probe; raises `RefusedError` when nothing can be read."""
        if self._bare:
            return self._bare_rows(message)
        rows: dict[str, list[Row]] = {}
        for item in self._items(read_json(message.payload)):
            try:
                row = self._row(item, refusals)
                if row.values and not (message.retained and row.taken_at_ms is None):
                    rows.setdefault(self._probe_of(message.topic, item), []).append(row)
            except RefusedError as refusal:
                refusals.note(refusal)
        return rows

    def _bare_rows(self, message: RawMessage) -> dict[str, list[Row]]:
        """Return the row of a payload that is nothing but a number, in JSON or not quite."""
        target = self._targets[0]
        text = message.payload.decode("utf-8", "replace").strip().strip('"')
        row = Row({target.channel: target.value(text)})
        return {} if message.retained else {self._probe_of(message.topic, None): [row]}

    def _items(self, document: Any) -> list[Any]:
        """Return what each gives a reading: the document, or the items of its list."""
        if self._each is None:
            return [document]
        items = self._each.find(document)
        if type(items) is not list:
            raise RefusedError(
                RejectReason.BAD_VALUE,
                f"{self._each.text or 'payload'} (mapping {self.name})",
                value=items,
                expected="a list",
                next_step="Correct each_at of the mapping.",
            )
        if len(items) > RECORDS_MOST:
            raise too_many_records(len(items))
        return items

    def _row(self, item: Any, refusals: Refusals) -> Row:
        row = Row({})
        if self._time is not None:
            row.taken_at_ms = self._time_ms(self._time.find(item))
        for target in self._targets:
            found = target.place.find(item)
            if found is None:
                continue
            try:
                row.values[target.channel] = target.value(found)
            except RefusedError as refusal:
                refusals.note(refusal)
        if self._seq is not None and (seq := self._seq.find(item)) is not None:
            try:
                row.seq = message_number(unquoted(seq))
            except RefusedError as refusal:
                refusals.note(refusal)
        return row

    def _probe_of(self, topic: str, item: Any) -> str:
        """Return whose message it is; raises `RefusedError` BAD_ID."""
        mapping = self.mapping
        if mapping.probe is not None:
            return mapping.probe
        said: Any = None
        if self._probe is not None:
            said = self._probe.find(item)
        elif mapping.probe_level is not None:
            said = dict(enumerate(topic.split("/"), 1)).get(mapping.probe_level)
        probe = id_from(str(said)) if type(said) in (str, int) else ""
        if is_id(probe) and probe not in OWN_WORDS:
            return probe
        raise RefusedError(
            RejectReason.BAD_ID,
            f"probe (mapping {self.name})",
            value=said,
            expected="a name or whole number that an id can be made of",
            next_step="Correct where the mapping looks for it.",
        )

    def _time_ms(self, value: Any) -> int | None:
        """Return a time in milliseconds since 1970, None for none; raises `RefusedError` BAD_TIME."""
        if value is None:
            return None
        as_what = self.mapping.time_as
        if as_what != "rfc3339":
            number = finite(unquoted(value))
            if number is not None:
                return milliseconds(number) if as_what == "s" else round(number)
        elif (
            type(value) is str and len(value) <= TIME_MOST_CHARS and finite(unquoted(value)) is None
        ):
            try:
                return parse_time_ms(value)
            except (ValueError, OverflowError):
                pass
        raise RefusedError(
            RejectReason.BAD_TIME,
            f"time (mapping {self.name})",
            value=value,
            expected={
                "s": "seconds since 1970",
                "ms": "milliseconds since 1970",
                "rfc3339": "RFC 3339 with an offset, like 2026-05-01T09:30:00Z",
            }[as_what],
            next_step="Correct time_at or time_as, or leave both out: the time of receipt counts then.",
        )
