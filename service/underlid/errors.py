"""The one exception that carries a sentence for a person.

Every refusal in Underlid says four things: what was wrong, the value that was seen, what was
expected and what to do next. Anything that raises for bad input raises `UnderlidError` or a
subclass, so that each door (page, API, command line, log) can show the same sentence.
"""

from __future__ import annotations

VALUE_SHOWN_CHARS = 80
"""A hostile value must not flood a log line or a page; 80 characters identify it."""


class Words(str):
    """Words about a value that is not shown itself, such as a passphrase's length: not quoted."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


def shown(value: object) -> str:
    """Return *value* as a person should see it: quoted, one line, cut to a safe length.

    >>> shown("Tansy!"), shown(""), shown(Words("5 characters long"))
    ("'Tansy!'", 'empty', '5 characters long')
    """
    if value == "" and isinstance(value, str):
        return "empty"
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # an integer of thousands of digits, a bottomless list
        text = f"an unprintable {type(value).__name__}"
    return text if len(text) <= VALUE_SHOWN_CHARS else text[: VALUE_SHOWN_CHARS - 1] + "…"


class UnderlidError(Exception):
    """What was wrong, the value, what was expected, and the next step.

    >>> print(UnderlidError("bin id", value="Tansy!", expected="a-z, 0-9, - and _",
    ...                     next_step="Rename the bin."))
    bin id is 'Tansy!', expected a-z, 0-9, - and _. Rename the bin.
    """

    def __init__(self, what: str, *, value: object, expected: str, next_step: str) -> None:
        self.what = what
        self.value = value
        self.expected = expected
        self.next_step = next_step
        super().__init__(f"{what} is {shown(value)}, expected {expected}. {next_step}")
