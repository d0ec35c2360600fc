"""The field types of MQTT (integers, text, binary) read from bytes and written to bytes.

`Cursor` walks over one packet's body and raises `MalformedError` for the first byte that breaks
the standard; `decoding.py` catches it, so it never leaves the codec. Next: `properties.py`.
"""

from __future__ import annotations

from underlid.mqtt.packets import Malformed, Reason

VARIABLE_INTEGER_MAX = 268_435_455
"""Four groups of seven bits (MQTT 5.0, 1.5.5)."""

FIELD_BYTES_MAX = 65_535
"""The length of text and binary fields is two bytes."""


class MalformedError(Exception):
    """Carries the `Malformed` value out of nested reading; never leaves the codec."""

    def __init__(self, sentence: str, reason: Reason = Reason.MALFORMED_PACKET) -> None:
        super().__init__(sentence)
        self.value = Malformed(reason, sentence)


def text_from(data: bytes) -> str:
    """Return the text of *data*: well-formed UTF-8 without U+0000 (MQTT-1.5.4-1, -2)."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        sentence = "A text field is not well-formed UTF-8."
        raise MalformedError(sentence) from None
    if "\0" in text:
        sentence = "A text field holds U+0000."
        raise MalformedError(sentence)
    return text


class Cursor:
    """Reads the fields of `data[position:end]` one after the other."""

    __slots__ = ("data", "end", "position")

    def __init__(self, data: bytes, position: int, end: int) -> None:
        self.data = data
        self.position = position
        self.end = end

    def take(self, count: int) -> bytes:
        """Return the next *count* bytes."""
        start = self.position
        stop = start + count
        if stop > self.end:
            sentence = "A packet ends in the middle of a field."
            raise MalformedError(sentence)
        self.position = stop
        return self.data[start:stop]

    def integer(self, count: int) -> int:
        """Return a big-endian integer of *count* bytes."""
        return int.from_bytes(self.take(count), "big")

    def variable_integer(self) -> int:
        """Return a variable byte integer in its shortest form (MQTT-1.5.5-1)."""
        value = 0
        for group in range(4):
            byte = self.integer(1)
            value |= (byte & 0x7F) << (7 * group)
            if byte < 0x80:
                if byte == 0 and group:
                    sentence = "A variable byte integer is longer than needed."
                    raise MalformedError(sentence)
                return value
        sentence = "A variable byte integer is longer than four bytes."
        raise MalformedError(sentence)

    def binary(self) -> bytes:
        """Return a binary field."""
        return self.take(self.integer(2))

    def text(self) -> str:
        """Return a text field."""
        return text_from(self.binary())

    def flag(self) -> bool:
        """Return a byte that must be 0 or 1."""
        value = self.integer(1)
        if value > 1:
            sentence = f"A flag is {value}, only 0 and 1 are allowed."
            raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
        return value == 1

    def packet_id(self) -> int:
        """Return a packet identifier, which is never 0 (MQTT-2.2.1-3)."""
        value = self.integer(2)
        if not value:
            sentence = "A packet identifier is 0."
            raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
        return value

    def at_end(self) -> bool:
        """Tell whether every byte has been read."""
        return self.position >= self.end

    def finish(self) -> None:
        """Refuse bytes that belong to no field."""
        if self.position != self.end:
            sentence = "A packet has bytes after its last field."
            raise MalformedError(sentence)


def write_variable_integer(value: int) -> bytes:
    """Return *value* as a variable byte integer.

    >>> write_variable_integer(321).hex()
    'c102'
    """
    if not 0 <= value <= VARIABLE_INTEGER_MAX:
        message = f"{value} does not fit a variable byte integer"
        raise ValueError(message)
    out = bytearray()
    while True:
        value, low = value >> 7, value & 0x7F
        out.append(low | 0x80 if value else low)
        if not value:
            return bytes(out)


def write_binary(data: bytes) -> bytes:
    """Return *data* with its length before it; ValueError when it does not fit."""
    if len(data) > FIELD_BYTES_MAX:
        message = f"a field of {len(data)} bytes is longer than {FIELD_BYTES_MAX}"
        raise ValueError(message)
    return len(data).to_bytes(2, "big") + data


def write_text(text: str) -> bytes:
    """Return *text* as a text field."""
    return write_binary(text.encode("utf-8"))
