"""What a mapping would make of its example, and where in a payload there are numbers to map.

Nothing is stored here: a keeper tries a mapping out on a message before it is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

from jsonpointer import escape

from underlid.readings.decode import decode
from underlid.readings.mapped import Mappings
from underlid.readings.mapping import PayloadMapping
from underlid.readings.mapping_reader import unquoted
from underlid.readings.numbers import finite
from underlid.readings.payloads import read_json
from underlid.readings.refusal import RefusedError
from underlid.readings.values import Admitted, RawMessage

PLACES_MOST: Final = 24
"""Numbers listed of one payload; firmware sends a dozen."""

ITEMS_MOST: Final = 4
"""Items of a list that are looked into: the others are like them."""

DEPTH_MOST: Final = 32
"""Levels that are looked into: firmware nests a few, and a hostile payload a thousand."""


def try_out(name: str, mapping: PayloadMapping, at_ms: int) -> Admitted | None:
    """Return what would be stored of the mapping's example, and what refused; None without one."""
    if not mapping.example_topic:
        return None
    message = RawMessage(mapping.example_topic, mapping.example.encode(), at_ms)
    return decode(message, Mappings({name: mapping}))


def trouble_with(name: str, mapping: PayloadMapping, at_ms: int) -> str | None:
    """Return why the mapping makes no reading of its own example, None when it does or has none."""
    tried = try_out(name, mapping, at_ms)
    if tried is None or tried.readings:
        return None
    return tried.rejected[0].sentence


def numbers_in(payload: bytes) -> list[tuple[str, float]]:
    """Return where in a payload numbers stand: JSON Pointer and number, in their order.

    >>> numbers_in(b'{"id": "x", "soil": {"temp": 21.5, "a/b": "7"}}')
    [('/soil/temp', 21.5), ('/soil/a~1b', 7.0)]
    """
    try:
        document = read_json(payload)
    except RefusedError:
        return []
    return [found for found, _ in zip(_numbers(document, ""), range(PLACES_MOST), strict=False)]


def _numbers(value: Any, at: str, depth: int = 0) -> Iterator[tuple[str, float]]:
    inside: Iterable[tuple[str | int, Any]] = ()
    if type(value) is dict:
        inside = value.items()
    elif type(value) is list:
        inside = enumerate(value[:ITEMS_MOST])
    elif (number := finite(unquoted(value))) is not None:
        yield at, number
    if depth < DEPTH_MOST:
        for key, one in inside:
            yield from _numbers(one, f"{at}/{escape(str(key))}", depth + 1)
