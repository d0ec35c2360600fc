"""Why a message, or a part of one, is refused: the exception, and the list kept per message.

One rejection per reason and message comes out at the most, however many records are bad: a
hostile pack of 512 bad records must not make 512 rows. The reasons themselves are in `values.py`.
"""

from __future__ import annotations

from codecs import getincrementaldecoder

from underlid.errors import VALUE_SHOWN_CHARS, UnderlidError
from underlid.readings.values import RawMessage, Rejected, RejectReason

PAYLOAD_KEPT_BYTES = 4096
"""Enough to see what a probe sends; a refused payload may be as long as the sender likes."""


class RefusedError(UnderlidError):
    """A refusal with its reason: raised for a whole message, noted for a part of one."""

    def __init__(
        self, reason: RejectReason, what: str, *, value: object, expected: str, next_step: str
    ) -> None:
        self.reason = reason
        super().__init__(what, value=_bearable(value), expected=expected, next_step=next_step)


def _bearable(value: object) -> object:
    """Return *value*, or something shorter to show in its place: showing must never fail."""
    if isinstance(value, bytes):
        return as_text(value[:VALUE_SHOWN_CHARS])
    if isinstance(value, str):
        return value[:VALUE_SHOWN_CHARS]
    try:
        repr(value)
    except (RecursionError, ValueError):
        return type(value)
    return value


def as_text(payload: bytes) -> str | bytes:
    r"""Return *payload* as the text it is, or as it came when it is none.

    A character that was cut off at the end is left out.

    >>> as_text(b'{"bed_temp_c": }'), as_text("22 °".encode()[:-1]), as_text(b"\xff")
    ('{"bed_temp_c": }', '22 ', b'\xff')
    """
    try:
        return getincrementaldecoder("utf-8")().decode(payload)
    except UnicodeDecodeError:
        return payload


class Refusals:
    """What was refused of one message: the first refusal of each reason, and how many more."""

    __slots__ = ("_first", "_more")

    def __init__(self) -> None:
        self._first: dict[RejectReason, RefusedError] = {}
        self._more: dict[RejectReason, int] = {}

    def __bool__(self) -> bool:
        return len(self._first) > 0

    def note(self, refusal: RefusedError) -> None:
        """Remember *refusal*, or count it when its reason is known already."""
        if refusal.reason in self._first:
            self._more[refusal.reason] = self._more.get(refusal.reason, 0) + 1
        else:
            self._first[refusal.reason] = refusal

    def rejected(self, message: RawMessage) -> list[Rejected]:
        """Return one rejection of *message* per reason, its payload cut to a bearable length."""
        if len(message.payload) > PAYLOAD_KEPT_BYTES:
            message = RawMessage(
                message.topic, message.payload[:PAYLOAD_KEPT_BYTES], message.received_at_ms
            )
        return [
            Rejected(reason, f"{refusal}{_and_more(self._more.get(reason, 0))}", message)
            for reason, refusal in self._first.items()
        ]


def _and_more(count: int) -> str:
    return f" ({count} more like it in this message.)" if count else ""
