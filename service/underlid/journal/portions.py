"""Reads and writes "melon", "melon+bread" and "melon:1200+bread:300": grams of feedstocks.

One notation for files, forms and messages; a JSON body may also say {"melon": 1200}. Which column
a notation stands in, and in which mass unit the total is, is `parse.py`'s business.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Final

from underlid.errors import UnderlidError
from underlid.journal.entries import Portion
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.journal.numbers import finite_number

PORTIONS_MOST: Final = 24
"""A bucket with more ingredients than this is a mixed one; our judgement."""

MASS_MOST_G: Final = 2_000_000.0
"""Two tonnes in one entry: more than a farm's barrow, less than a slipped decimal point."""

AGREE_G: Final = 0.5
AGREE_SHARE: Final = 0.01
"""A total and its parts must agree within half a gram or one percent: rounding, not a mistake."""


def portions_from(name: str, value: object, total_g: float | None) -> tuple[Portion, ...]:
    """Return the portions that *value* names; *total_g* is shared out equally when it has no grams.

    >>> portions_from("ingredient", "melon+bread", 600.0)
    (Portion(ingredient='melon', mass_g=300.0), Portion(ingredient='bread', mass_g=300.0))
    """
    parts = _parts(name, value)
    ids = [_feedstock_id(name, word) for word, _ in parts]
    given = [grams for _, grams in parts if grams is not None]
    if not given:
        if total_g is None:
            raise UnderlidError(
                f"{name} without a mass",
                value=value,
                expected="grams for it",
                next_step="Give mass_g, or write it like melon:1200+bread:300.",
            )
        return tuple(Portion(id_, total_g / len(ids)) for id_ in ids)
    if len(given) < len(parts):
        raise UnderlidError(
            name,
            value=value,
            expected="grams for every ingredient or for none",
            next_step="Write it like melon:1200+bread:300.",
        )
    _check_total(name, sum(given), total_g)
    return tuple(Portion(id_, grams) for id_, grams in zip(ids, given, strict=True))


def portions_text(portions: tuple[Portion, ...]) -> str:
    """Return the notation that `portions_from` reads back to exactly these portions.

    >>> portions_text((Portion("melon", 1200.0), Portion("bread", 300.5)))
    'melon:1200+bread:300.5'
    """
    return "+".join(f"{portion.ingredient}:{exact_text(portion.mass_g)}" for portion in portions)


def exact_text(value: float) -> str:
    """Return the shortest text that reads back as exactly *value*, whole numbers without ".0"."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


def check_mass(name: str, mass_g: float) -> float:
    """Return *mass_g* when it is more than nothing and believable."""
    if not 0 < mass_g <= MASS_MOST_G:
        raise UnderlidError(
            name,
            value=mass_g,
            expected=f"more than 0 and at most {MASS_MOST_G:.0f} g",
            next_step="Correct the mass or its unit.",
        )
    return mass_g


def _parts(name: str, value: object) -> list[tuple[str, float | None]]:
    """Return the words of the notation with their grams, None where none stand."""
    parts: list[tuple[str, float | None]]
    if isinstance(value, Mapping):
        parts = [(str(word), finite_number(name, grams)) for word, grams in value.items()]
    elif isinstance(value, str):
        parts = []
        for part in value.split("+"):
            word, colon, grams = part.partition(":")
            parts.append((word, finite_number(name, grams) if colon else None))
    else:
        parts = []
    if not 0 < len(parts) <= PORTIONS_MOST:
        raise UnderlidError(
            name,
            value=value,
            expected=f"1 to {PORTIONS_MOST} feedstock ids",
            next_step="Write it like melon, melon+bread or melon:1200+bread:300.",
        )
    return [(word, None if g is None else check_mass(f"mass of {name}", g)) for word, g in parts]


def _feedstock_id(name: str, word: str) -> str:
    """Return the feedstock id that *word* means, whatever its case and spaces."""
    id_ = "-".join(word.lower().replace("_", " ").replace("-", " ").split())
    if id_ in FEEDSTOCKS:
        return id_
    near = difflib.get_close_matches(id_[:64], FEEDSTOCKS, n=3)
    raise UnderlidError(
        name,
        value=word,
        expected=" or ".join(near) if near else "one of " + ", ".join(FEEDSTOCKS),
        next_step="The feedstocks page lists them all; take the nearest one.",
    )


def _check_total(name: str, sum_g: float, total_g: float | None) -> None:
    """Refuse a total that its parts contradict."""
    if total_g is None or abs(sum_g - total_g) <= max(AGREE_G, AGREE_SHARE * total_g):
        return
    raise UnderlidError(
        f"mass of {name}",
        value=total_g,
        expected=f"the sum of its parts, {exact_text(sum_g)} g",
        next_step="Correct one of them or leave the total out.",
    )
