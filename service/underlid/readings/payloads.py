"""Payload bytes -> JSON or CBOR values, or one refusal: total and bounded for any bytes.

The readers are msgspec and cbor2; here stand the guards around them. JSON names used twice in
one object are found here, because a reader keeps the last one in silence. What the values mean
is in `plain.py` and `senml.py`.
"""

from __future__ import annotations

import io
import json
from typing import Any, Final, NoReturn

import cbor2
import msgspec

from underlid.errors import shown
from underlid.readings.refusal import RefusedError
from underlid.readings.values import RejectReason

CBOR_DEPTH_MOST: Final = 4
"""A pack is an array of maps of numbers; a decimal fraction (tag 4) adds an array."""

CBOR_SELF_DESCRIBED: Final = b"\xd9\xd9\xf7"
"""Tag 55799 (RFC 8949 section 3.4.6): says "this is CBOR" and nothing else."""

_ONLY_OBJECTS: Final = {dict}

_JSON: Final = msgspec.json.Decoder()


class TwiceNamed:
    """Stands where an object had the same name twice: which value was meant cannot be known."""

    __slots__ = ("name",)

    def __init__(self, name: str) -> None:
        self.name = name

    def __repr__(self) -> str:
        return f"an object with {shown(self.name)} twice"


def read_json(payload: bytes) -> Any:
    """Return the JSON value of *payload*; an object with a name twice becomes a `TwiceNamed`.

    Raises `RefusedError` NOT_JSON. Also refused, as RFC 8259 has it: NaN and Infinity, a byte
    order mark, lone surrogates, numbers beyond a double, and nesting beyond what is safe.

    >>> read_json(b'[{"a": 1}, {"a": 1, "a": 2}]')
    [{'a': 1}, an object with 'a' twice]
    """
    try:
        document = _JSON.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        raise _not_json(payload, error) from None
    if _maybe_twice_named(payload, document):
        try:
            document = json.loads(payload, object_pairs_hook=_object)
        except (ValueError, RecursionError) as error:
            raise _not_json(payload, error) from None
    return document


def _maybe_twice_named(payload: bytes, document: Any) -> bool:
    """Tell whether a name may stand twice in an object: exact enough to spare a second reading.

    Every member has its colon, and only members have one right after a quote; so more of those
    than members were kept means one was lost, or that a string or nested value holds them.
    """
    if type(document) is dict:
        members = len(document)
    elif type(document) is list:
        if set(map(type, document)) != _ONLY_OBJECTS:
            return b":" in payload
        members = sum(map(len, document))
    else:
        return False
    if payload.count(b":") == members:
        return False
    if payload.count(b'":') != members:
        return True
    return (
        (b" " in payload and b" :" in payload)
        or (b"\n" in payload and b"\n:" in payload)
        or (b"\t" in payload and b"\t:" in payload)
        or (b"\r" in payload and b"\r:" in payload)
    )


def _object(pairs: list[tuple[str, Any]]) -> Any:
    fields: dict[str, Any] = {}
    for name, value in pairs:
        if name in fields:
            return TwiceNamed(name)
        fields[name] = value
    return fields


def _not_json(payload: bytes, error: Exception) -> RefusedError:
    why = "nested too deeply" if isinstance(error, RecursionError) else str(error)
    return RefusedError(
        RejectReason.NOT_JSON,
        f"payload ({shown(why)[1:-1]})",
        value=payload[:40],
        expected="JSON (RFC 8259)",
        next_step="Check what the firmware sends.",
    )


def _refuse_tag(_decoder: object) -> NoReturn:
    message = "only decimal fractions (tag 4) may be tagged"
    raise ValueError(message)


_REFUSED_TAGS: Final = dict.fromkeys(
    (0, 1, 2, 3, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000),
    _refuse_tag,
)
"""Every tag the reader would act on but tag 4: RFC 8428 section 6 allows that one for numbers,
and the others can cost time (regular expressions), memory (big numbers) or raise of their own."""


def read_cbor(payload: bytes) -> Any:
    """Return the one CBOR item that is *payload*; raises `RefusedError` NOT_CBOR.

    >>> read_cbor(bytes.fromhex("81a102f94500"))
    [{2: 5.0}]
    """
    if payload.startswith(CBOR_SELF_DESCRIBED):
        payload = payload[len(CBOR_SELF_DESCRIBED) :]
    stream = io.BytesIO(payload)
    try:
        document = cbor2.load(
            stream,
            semantic_decoders=_REFUSED_TAGS,
            max_depth=CBOR_DEPTH_MOST,
            allow_duplicate_keys=False,
        )
    except (cbor2.CBORError, ValueError, TypeError, ArithmeticError, RecursionError) as error:
        raise _not_cbor(payload, str(error)) from None
    if stream.tell() != len(payload):
        raise _not_cbor(payload, f"{len(payload) - stream.tell()} bytes too many")
    return document


def _not_cbor(payload: bytes, why: str) -> RefusedError:
    return RefusedError(
        RejectReason.NOT_CBOR,
        f"payload ({shown(why)[1:-1]})",
        value=payload[:40],
        expected="one CBOR item (RFC 8949)",
        next_step="Check what the firmware sends.",
    )
