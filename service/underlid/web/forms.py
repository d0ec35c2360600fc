"""Reads single fields of a form, and refuses each in a sentence that names the field.

A `FieldError` carries the field, so that the page can mark it. Journal entries are read by
`journal.parse`; here is what sets up sheds, bins and probes, and what a form adds around an entry.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from underlid.errors import UnderlidError
from underlid.readings.channels import ID_PATTERN
from underlid.timeline import SECOND_MS
from underlid.web.wording import zone

TEXT_MOST_CHARS: Final = 120
"""A name or a label; longer ones break every list."""


class FieldError(UnderlidError):
    """What is wrong with one field of a form."""

    def __init__(
        self, field: str, what: str, *, value: object, expected: str, next_step: str
    ) -> None:
        self.field = field
        super().__init__(what, value=value, expected=expected, next_step=next_step)


def text(
    fields: Mapping[str, str],
    name: str,
    label: str,
    *,
    needed: bool = False,
    most: int = TEXT_MOST_CHARS,
) -> str:
    """Return a field as one line of text."""
    value = " ".join(fields.get(name, "").split())
    if needed and not value:
        raise FieldError(name, label, value="", expected="some text", next_step="Fill it in.")
    if len(value) > most:
        raise FieldError(
            name, label, value=value, expected=f"at most {most} characters", next_step="Shorten it."
        )
    return value


def number(
    fields: Mapping[str, str], name: str, label: str, low: float, high: float
) -> float | None:
    """Return a field as a number from *low* to *high*; None when empty. A comma is a point."""
    given = fields.get(name, "").strip()
    if not given:
        return None
    try:
        value = float(given.replace(",", "."))
    except ValueError:
        raise FieldError(
            name,
            label,
            value=given,
            expected="a number",
            next_step="Write the number alone, without a unit.",
        ) from None
    if not low <= value <= high:
        raise FieldError(
            name,
            label,
            value=given,
            expected=f"a number from {low:g} to {high:g}",
            next_step="Correct it.",
        )
    return value


def needed_number(
    fields: Mapping[str, str], name: str, label: str, low: float, high: float
) -> float:
    """Return a number that must be there."""
    value = number(fields, name, label, low, high)
    if value is None:
        raise FieldError(
            name,
            label,
            value="",
            expected=f"a number from {low:g} to {high:g}",
            next_step="Fill it in.",
        )
    return value


def choice(fields: Mapping[str, str], name: str, label: str, words: Mapping[str, str]) -> str:
    """Return a field that must be one of *words* (id -> label)."""
    value = fields.get(name, "")
    if value not in words:
        raise FieldError(
            name,
            label,
            value=value,
            expected="one of: " + ", ".join(list(words.values())[:12]),
            next_step="Choose one.",
        )
    return value


def new_id(name: str, taken: Mapping[str, object]) -> str:
    """Return an id made of a name, with a number when it is taken.

    >>> new_id("Potting shed", {}), new_id("Tansy", {"tansy": 1}), new_id("æ", {})
    ('potting-shed', 'tansy-2', 'place')
    """
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:48] or "place"
    assert ID_PATTERN.fullmatch(plain)
    number_ = 1
    made = plain
    while made in taken:
        number_ += 1
        made = f"{plain}-{number_}"
    return made


def local_time_ms(fields: Mapping[str, str], name: str, timezone: str) -> int | None:
    """Return a date-and-time field of the shed's wall clock; None when empty: it is now."""
    given = fields.get(name, "").strip()
    if not given:
        return None
    try:
        at = datetime.fromisoformat(given)
        if at.tzinfo is None:
            at = at.replace(tzinfo=zone(timezone))
        return round(at.timestamp() * SECOND_MS)
    except (ValueError, OverflowError):
        raise FieldError(
            name,
            "time",
            value=given,
            expected="a day and a time like 2026-05-01T18:30",
            next_step="Correct it, or leave it empty for now.",
        ) from None
