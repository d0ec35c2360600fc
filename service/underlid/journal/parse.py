"""One way in for the journal: a mapping of fields becomes an entry, or is refused in words.

Rows of a CSV file, JSON bodies, forms and MQTT messages all come here, so that every door takes
the same fields (listed in `journal.md`). How a field is read: `fields.py`; the kinds: `entries.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import fields as dataclass_fields
from enum import StrEnum
from typing import Final

from underlid.errors import UnderlidError
from underlid.journal.entries import (
    KINDS,
    Amendment,
    BeddingAdded,
    Climbers,
    Entry,
    Feed,
    Harvest,
    LidLook,
    Liquid,
    LiquidAdded,
    Moved,
    Note,
    Photo,
    Portion,
    Sighting,
    Smell,
    Squeeze,
    Turned,
    What,
    Worms,
)
from underlid.journal.fields import Fields
from underlid.journal.portions import (
    check_mass,
    exact_text,
    portions_from,
    portions_text,
)
from underlid.readings.channels import is_id
from underlid.timeline import rfc3339

TEXT_MOST_CHARS: Final = 4000
"""A page of notes."""

PESTS_MOST_CHARS: Final = 200
BY_MOST_CHARS: Final = 64
FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,127}")
"""A plain file name that cannot leave its folder."""

MOISTURE_LOW_PCT: Final = 1.0
MOISTURE_HIGH_PCT: Final = 99.0
"""A weighed sample outside this range was weighed or reckoned wrongly."""

NOT_READ_HERE: Final = ("received",)
"""Columns that the reader of a file takes itself (it becomes `known_at_ms`)."""


def entry_from_fields(
    fields: Mapping[str, object], *, known_at_ms: int, by: str = "", new_id: str
) -> Entry:
    """Return the entry that *fields* describe, or raise `UnderlidError`.

    *by* is who is known to have written it; only when empty, the field `by` is believed. Without
    the field `time`, it happened when it became known.

    >>> entry_from_fields({"bin": "tansy", "kind": "water", "mass_kg": "0.5"},
    ...                   known_at_ms=1_700_000_000_000, new_id="e1").what
    LiquidAdded(mass_g=500.0, liquid=<Liquid.WATER: 'water'>)
    """
    given = Fields(fields)
    kind = given.text("kind", BY_MOST_CHARS).lower()
    if kind not in KINDS:
        raise UnderlidError(
            "kind of entry", value=kind, expected=" or ".join(KINDS), next_step="Choose one."
        )
    for name in NOT_READ_HERE:
        given.take(name)
    bin_id = given.text("bin", BY_MOST_CHARS)
    if not is_id(bin_id):
        raise UnderlidError(
            "bin", value=bin_id, expected="the id of a bin", next_step="Say which bin it was."
        )
    at_ms = given.time_ms("time", known_at_ms)
    written_by = given.text("by", BY_MOST_CHARS)
    text = given.text("text", TEXT_MOST_CHARS)
    what = _READ[kind](given)
    given.refuse_rest(kind)
    _refuse_nothing(what, text)
    return Entry(new_id, bin_id, at_ms, known_at_ms, what, by or written_by, text)


def fields_from_entry(entry: Entry) -> dict[str, str | float | bool]:
    """Return the fields that `entry_from_fields` reads back to the same entry.

    >>> fields_from_entry(Entry("e1", "tansy", 0, 0, Worms(-250.0)))["mass_g"]
    -250.0
    """
    what = entry.what
    fields: dict[str, str | float | bool] = {
        "time": rfc3339(entry.at_ms),
        "bin": entry.bin,
        "kind": entry.kind,
    }
    if isinstance(what, Feed | BeddingAdded | Amendment):
        fields["ingredient"] = portions_text(what.portions)
        fields["mass_g"] = sum(portion.mass_g for portion in what.portions)
    if isinstance(what, Feed):
        fields |= {"drained_g": what.drained_g} if what.drained_g else {}
        fields |= {"bedding": portions_text(what.bedding)} if what.bedding else {}
    if isinstance(what, LiquidAdded | Worms | Harvest):
        fields["mass_g"] = what.mass_g
    if isinstance(what, LiquidAdded):
        fields["liquid"] = what.liquid.value
    if isinstance(what, Sighting):
        for field in dataclass_fields(what):
            value = getattr(what, field.name)
            if value is not None and value != "":
                fields[field.name] = value.value if isinstance(value, StrEnum) else value
    if isinstance(what, Photo):
        fields |= {"file": what.file} if what.file else {}
    fields |= {"text": entry.text} if entry.text else {}
    fields |= {"by": entry.by} if entry.by else {}
    return fields | {"received": rfc3339(entry.known_at_ms)}


def _feed(given: Fields) -> Feed:
    """Read a feed: what was weighed, the liquid poured off it, the bedding put on top."""
    portions = _portions(given)
    mass_g = sum(portion.mass_g for portion in portions)
    drained_g = given.mass_g("drained") or 0.0
    if not 0 <= drained_g < mass_g:
        raise UnderlidError(
            "drained_g",
            value=drained_g,
            expected=f"from 0 to less than the feed's {exact_text(mass_g)} g",
            next_step="Give the mass before draining, and the liquid poured off.",
        )
    bedding = given.take("bedding")
    bedding_g = _checked(given, "bedding")
    if bedding is None and bedding_g is not None:
        raise UnderlidError(
            "bedding",
            value="",
            expected="the id of a bedding for the given mass",
            next_step="Write it like newspaper, or newspaper:400.",
        )
    on_top = () if bedding is None else portions_from("bedding", bedding, bedding_g)
    return Feed(portions, drained_g, on_top)


def _portions(given: Fields) -> tuple[Portion, ...]:
    """Read the columns `ingredient` and `mass_…` together."""
    mass_g = _checked(given, "mass")
    value = given.take("ingredient")
    if value is None:
        raise UnderlidError(
            "ingredient",
            value="",
            expected="feedstock ids",
            next_step="Say what it was; kitchen-scraps will do for a mixture.",
        )
    return portions_from("ingredient", value, mass_g)


def _checked(given: Fields, stem: str) -> float | None:
    """Read an optional positive mass."""
    mass_g = given.mass_g(stem)
    return None if mass_g is None else check_mass(f"{stem}_g", mass_g)


def _mass(given: Fields) -> float:
    """Read a mass that must be there and positive."""
    mass_g = _checked(given, "mass")
    if mass_g is None:
        raise _no_mass()
    return mass_g


def _no_mass() -> UnderlidError:
    """Return the refusal of an entry without its mass."""
    return UnderlidError(
        "mass_g", value="", expected="a mass", next_step="Give mass_g, mass_kg, mass_lb or mass_oz."
    )


def _liquid(given: Fields) -> LiquidAdded:
    """Read water or leachate, by mass or by volume (1 g/mL)."""
    liquid = given.word("liquid", Liquid) or Liquid.WATER
    mass_g, volume_ml = given.mass_g("mass"), given.volume_ml("volume")
    if mass_g is not None and volume_ml is not None:
        raise UnderlidError(
            "mass and volume",
            value=(mass_g, volume_ml),
            expected="one of them",
            next_step="Leave the other out.",
        )
    amount = mass_g if mass_g is not None else volume_ml
    if amount is None:
        raise _no_mass()
    return LiquidAdded(check_mass("mass_g", amount), liquid)


def _worms(given: Fields) -> Worms:
    """Read worms put in, or taken out when negative."""
    mass_g = given.mass_g("mass")
    if mass_g is None:
        raise _no_mass()
    check_mass("mass_g", abs(mass_g))
    return Worms(mass_g)


def _sighting(given: Fields) -> Sighting:
    """Read what was seen, smelt, squeezed or weighed."""
    return Sighting(
        climbers=given.word("climbers", Climbers),
        lid=given.word("lid", LidLook),
        squeeze=given.word("squeeze", Squeeze),
        smell=given.word("smell", Smell),
        pests=given.text("pests", PESTS_MOST_CHARS),
        used_up=given.yes_no("used_up"),
        moisture_pct=given.number("moisture_pct", MOISTURE_LOW_PCT, MOISTURE_HIGH_PCT),
    )


def _photo(given: Fields) -> Photo:
    """Read a picture's file name, if it is kept elsewhere."""
    file = given.text("file", 128)
    if file and not FILE_NAME.fullmatch(file):
        raise UnderlidError(
            "file",
            value=file,
            expected="a plain file name",
            next_step="Use letters, digits, dots, - and _ without a folder.",
        )
    return Photo(file)


def _refuse_nothing(what: What, text: str) -> None:
    """Refuse a sighting that saw nothing and a note without words."""
    if not text and what in (Sighting(), Note()):
        raise UnderlidError(
            "entry",
            value="",
            expected="something noted",
            next_step="Fill in what you saw, or the text.",
        )


_READ: Final[dict[str, Callable[[Fields], What]]] = {
    "feed": _feed,
    "bedding": lambda given: BeddingAdded(_portions(given)),
    "water": _liquid,
    "amendment": lambda given: Amendment(_portions(given)),
    "worms": _worms,
    "harvest": lambda given: Harvest(_mass(given)),
    "sighting": _sighting,
    "turned": lambda _: Turned(),
    "move": lambda _: Moved(),
    "photo": _photo,
    "note": lambda _: Note(),
}
