"""How a sentence stands on a page: what comes first, what follows in smaller type, what stays together.

The sentences themselves are made in `alerts.sentence` and `view.py`; labels are in `wording.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from underlid.alerts.alert import Alert
from underlid.journal.entries import Entry
from underlid.journal.photos import EntryPhoto
from underlid.journal.summary import ingredient_label
from underlid.storage.records.out_of_service import OutOfService
from underlid.web.wording import ENTRY_KINDS, clock_text, local

HEADLINE_MOST: Final = 90
"""A first sentence longer than this ends at its colon on a page; what follows is told below it."""

STORY: Final = re.compile(r", \d+ (?:h|days) after .+? went in")
"""The feed that an alert follows; it stands on the alert's card and in the journal."""

UNIT_AFTER: Final = re.compile(
    r"(?<=±) (?=\d)|(?<=\d) (?=(?:%|°[CF]|g|kg|lb|oz|g/m²|mL|L|cups?|gal|h|min|days?)\b|%)"
)


def headline(said: str) -> str:
    """Return what is said first; `details` returns what else stands at the head of a page.

    >>> headline("The bed is at 31.5 °C. Do not feed for 3 days."), details("It is fine.")
    ('The bed is at 31.5 °C.', '')
    >>> headline("Fennel's lid will be running with water by about 11:00 (60 % sure): now about 15"
    ...          " g/m², by then 70 or more. Wipe it dry.")
    "Fennel's lid will be running with water by about 11:00 (60 % sure)."
    """
    first, point, _ = said.partition(". ")
    first = STORY.sub("", first)
    short, colon, _ = first.partition(": ")
    if colon and len(first) > HEADLINE_MOST and short.count(" ") > 2:
        return f"{short}."
    return first + point.strip()


def details(said: str) -> str:
    """Return what follows the first sentence."""
    return said.partition(". ")[2]


def measured(alert: Alert) -> str:
    """Return what an alert says was found, without the advice that stands below it on its card."""
    first = alert.advice[0].text if alert.advice else ""
    return (alert.text.partition(first)[0].strip() if first else "") or alert.text or alert.cause


def tied(said: object) -> str:
    """Return *said* with every number tied to its unit, so that no line ends between them.

    >>> tied("at 87 % and 2.6 kg of 3").replace(chr(160), "_")
    'at 87_% and 2.6_kg of 3'
    """
    return UNIT_AFTER.sub("\xa0", str(said))


def photo_alt(photo: EntryPhoto, entry: Entry, name: str, timezone: str) -> str:
    """Return what is read out for a photo: the keeper's words, else what is known of it."""
    kind = ENTRY_KINDS[entry.kind].lower()
    with_kind = "" if entry.kind == "photo" else f" with the entry “{kind}”"
    return photo.words or f"Photo of {name}{with_kind}, {clock_text(entry.at_ms, timezone)}"


def day_text(at_ms: int, timezone: str) -> str:
    """Return a day for a sheet of paper, with its year.

    >>> day_text(1_782_000_000_000, "Europe/London")
    'Sunday 21 June 2026, 01:00'
    """
    at = local(at_ms, timezone)
    return f"{at:%A} {at.day} {at:%B %Y, %H:%M}"


def out_sentence(name: str, out: OutOfService, timezone: str) -> str:
    """Return that a bin is out of service, until when and why.

    >>> out_sentence("Tansy", OutOfService("tansy", 0, None, "Ash", "emptied"), "UTC")
    'Tansy has been out of service since Thu 1 Jan, 00:00 (emptied): nobody is told of it. By Ash.'
    """
    until = f" until {clock_text(out.until_ms, timezone)}" if out.until_ms is not None else ""
    why = f" ({out.why})" if out.why else ""
    since = clock_text(out.since_ms, timezone)
    by = f" By {out.by}." if out.by else ""
    return f"{name} has been out of service since {since}{until}{why}: nobody is told of it.{by}"


FILTERS: Final[dict[str, Callable[..., str]]] = {
    "headline": headline,
    "details": details,
    "measured": measured,
    "tied": tied,
    "photo_alt": photo_alt,
    "day_text": day_text,
    "feedstock": ingredient_label,
}
