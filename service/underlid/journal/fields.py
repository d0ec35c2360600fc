"""Takes typed values out of a mapping of fields, remembers which, and refuses what is left over.

`parse.py` says which fields a kind of entry has; here is how each sort of field is read.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, TypeVar

from underlid.errors import UnderlidError
from underlid.journal.numbers import finite_number, line_of_text
from underlid.journal.units import GRAMS, grams, millilitres
from underlid.timeline import MINUTE_MS, parse_time_ms

Word = TypeVar("Word", bound=StrEnum)

AHEAD_MOST_MS: Final = 10 * MINUTE_MS
"""An entry may be this far ahead of the service's clock, as a reading may: clocks differ."""

VOLUME_FIELDS: Final = {"ml": "ml", "l": "l", "cups": "cup", "gal": "gal"}
_YES: Final = frozenset({"yes", "true", "1", "on"})
_NO: Final = frozenset({"no", "false", "0", "off"})


class Fields:
    """The fields of one entry that hold something; empty ones count as absent."""

    def __init__(self, fields: Mapping[str, object]) -> None:
        self._values = {str(name): value for name, value in fields.items() if not _is_empty(value)}
        self._taken: set[str] = set()

    def take(self, name: str) -> object | None:
        """Return the value of field *name* as it came, or None."""
        self._taken.add(name)
        return self._values.get(name)

    def text(self, name: str, most_chars: int) -> str:
        """Return field *name* as text, "" when absent."""
        value = self.take(name)
        return "" if value is None else line_of_text(name, value, most_chars)

    def word(self, name: str, words: type[Word]) -> Word | None:
        """Return field *name* as one of *words*, or None."""
        value = self.take(name)
        if value is None:
            return None
        try:
            return words(value.strip().lower() if isinstance(value, str) else "")
        except ValueError:
            raise UnderlidError(
                name,
                value=value,
                expected=" or ".join(words),
                next_step="Use one of these words.",
            ) from None

    def yes_no(self, name: str) -> bool | None:
        """Return field *name* as yes or no, or None."""
        value = self.take(name)
        if value is None or isinstance(value, bool):
            return value
        word = value.strip().lower() if isinstance(value, str) else ""
        if word in _YES or word in _NO:
            return word in _YES
        raise UnderlidError(
            name, value=value, expected="yes or no", next_step="Use one of these words."
        )

    def number(self, name: str, low: float, high: float) -> float | None:
        """Return field *name* as a number from *low* to *high*, or None."""
        value = self.take(name)
        if value is None:
            return None
        number = finite_number(name, value)
        if low <= number <= high:
            return number
        raise UnderlidError(
            name,
            value=value,
            expected=f"a number from {low:g} to {high:g}",
            next_step="Correct the number.",
        )

    def mass_g(self, stem: str) -> float | None:
        """Return the mass in `{stem}_g`, `_kg`, `_lb` and `_oz`; pounds and ounces add up."""
        parts = {
            unit: finite_number(f"{stem}_{unit}", value)
            for unit in GRAMS
            if (value := self.take(f"{stem}_{unit}")) is not None
        }
        if not parts:
            return None
        if len(parts) > 1 and set(parts) != {"lb", "oz"}:
            raise self._twice(stem, [f"{stem}_{unit}" for unit in parts])
        return sum(grams(value, unit) for unit, value in parts.items())

    def volume_ml(self, stem: str) -> float | None:
        """Return the volume in `{stem}_ml`, `_l`, `_cups` or `_gal`."""
        parts = {
            name: millilitres(finite_number(name, value), unit)
            for ending, unit in VOLUME_FIELDS.items()
            if (value := self.take(name := f"{stem}_{ending}")) is not None
        }
        if len(parts) > 1:
            raise self._twice(stem, list(parts))
        return next(iter(parts.values()), None)

    def time_ms(self, name: str, known_at_ms: int) -> int:
        """Return the time in field *name*; when absent, *known_at_ms*."""
        value = self.take(name)
        if value is None:
            return known_at_ms
        try:
            if isinstance(value, str) and not value.strip().replace(".", "").isdecimal():
                at_ms = parse_time_ms(value.strip())
            else:
                at_ms = round(finite_number(name, value) * 1000)
        except (ValueError, OverflowError, UnderlidError):
            at_ms = -1
        if 0 <= at_ms <= known_at_ms + AHEAD_MOST_MS:
            return at_ms
        raise UnderlidError(
            name,
            value=value,
            expected="a time since 1970 that is not in the future, with its offset",
            next_step="Write it like 2026-05-01T18:30:00+01:00.",
        )

    def refuse_rest(self, kind: str) -> None:
        """Refuse fields that nobody took: a slip of the pen must not vanish silently."""
        rest = sorted(set(self._values) - self._taken)
        if not rest:
            return
        raise UnderlidError(
            f"field {rest[0][:64]} of a {kind} entry",
            value=self._values[rest[0]],
            expected="only " + ", ".join(sorted(self._taken)),
            next_step="Correct its name, leave it out, or write it as an entry of its own.",
        )

    def _twice(self, stem: str, names: list[str]) -> UnderlidError:
        """Return the refusal of one amount said in two ways."""
        return UnderlidError(
            f"{stem} in more than one unit",
            value=names,
            expected="one of them (lb and oz together are one)",
            next_step="Leave the others out.",
        )


def _is_empty(value: object) -> bool:
    """Tell whether a form, a file row or a message means "not given" by *value*."""
    return value is None or (isinstance(value, str) and not value.strip())
