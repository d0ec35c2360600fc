"""Reads one number or one line of text from whatever a form, a file or a message holds.

Total: any object gives a value or an `UnderlidError`. What the numbers mean is for `fields.py`.
"""

from __future__ import annotations

import math
import re
from typing import Final

from underlid.errors import UnderlidError

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")

NUMBER_MOST_CHARS: Final = 40
"""The longest float that Python writes has 24 characters; a longer one is not a number."""

INTEGER_MOST_BITS: Final = 64
"""Any amount or time fits; larger integers can be slow or impossible to convert."""


def finite_number(name: str, value: object) -> float:
    """Return *value* (a number, or text of one) as a finite float.

    >>> finite_number("mass_g", " 1800.5 ")
    1800.5
    """
    number = math.nan
    if isinstance(value, str):
        text = value.strip().replace("−", "-")
        if len(text) <= NUMBER_MOST_CHARS and _NUMBER.fullmatch(text):
            number = float(text)
    elif isinstance(value, float) or (
        isinstance(value, int)
        and not isinstance(value, bool)
        and value.bit_length() <= INTEGER_MOST_BITS
    ):
        number = float(value)
    if math.isfinite(number):
        return number
    raise UnderlidError(
        name,
        value=value,
        expected="a number such as 1.5",
        next_step="Write digits with a decimal point and no unit.",
    )


def line_of_text(name: str, value: object, most_chars: int) -> str:
    """Return *value* as text without blanks around it, when any database can store it."""
    text = value.strip() if isinstance(value, str) else None
    if text is not None and len(text) <= most_chars and "\0" not in text and _encodes(text):
        return text
    raise UnderlidError(
        name,
        value=value,
        expected=f"text of at most {most_chars} characters",
        next_step="Shorten it, and leave out characters that cannot be printed.",
    )


def _encodes(text: str) -> bool:
    """Tell whether *text* is free of lone surrogates."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
