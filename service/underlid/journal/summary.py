"""One line that says what an entry was, in the keeper's units; the page and alerts quote it."""

from __future__ import annotations

from underlid.journal.entries import (
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
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.journal.units import SI, Units, mass_text, number_text, volume_text

_CLIMBERS = {
    Climbers.NONE: "no climbers",
    Climbers.FEW: "a few climbers",
    Climbers.MANY: "many climbers",
}
_LID = {
    LidLook.DRY: "lid dry",
    LidLook.MIST: "mist on the lid",
    LidLook.DROPS: "drops on the lid",
    LidLook.DRIPPING: "lid dripping",
}
_SQUEEZE = {
    Squeeze.CRUMBLES: "a squeezed handful crumbles",
    Squeeze.DAMP: "a squeezed handful stays damp",
    Squeeze.DROPS: "a squeezed handful gives drops",
    Squeeze.TRICKLE: "a squeezed handful trickles",
}
_SMELL = {
    Smell.NONE: "no smell",
    Smell.EARTHY: "earthy smell",
    Smell.SOUR: "sour smell",
    Smell.AMMONIA: "smell of ammonia",
}


def summary(entry: Entry, units: Units = SI) -> str:
    """Return the entry as one line, without its time, bin and text.

    >>> summary(Entry("e1", "tansy", 0, 0, Feed((Portion("melon", 1800.0),), 300.0,
    ...                                         (Portion("newspaper", 400.0),))))
    '1.8 kg melon, drained 300 g, 400 g shredded newspaper on top'
    """
    return what_text(entry.what, units)


def what_text(what: What, units: Units = SI) -> str:
    """Return what was done or seen as one line."""
    match what:
        case Feed():
            return _feed_text(what, units)
        case BeddingAdded():
            return f"{portions_line(what.portions, units)} as bedding"
        case LiquidAdded():
            word = "leachate" if what.liquid is Liquid.LEACHATE else "water"
            return f"{volume_text(what.mass_g, units)} {word}"
        case Amendment():
            return portions_line(what.portions, units)
        case Worms():
            done = "added" if what.mass_g > 0 else "taken out"
            return f"{mass_text(abs(what.mass_g), units)} worms {done}"
        case Harvest():
            return f"{mass_text(what.mass_g, units)} castings harvested"
        case Sighting():
            return _sighting_text(what)
        case Turned():
            return "bed turned"
        case Moved():
            return "bin moved or set up"
        case Photo():
            return f"photo, kept elsewhere as {what.file}" if what.file else "photo"
        case Note():
            return "note"


def portions_line(portions: tuple[Portion, ...], units: Units = SI) -> str:
    """Return masses with their feedstocks' names.

    >>> portions_line((Portion("melon", 1200.0), Portion("bread", 300.0)))
    '1.2 kg melon and 300 g bread'
    """
    parts = [
        f"{mass_text(portion.mass_g, units)} {ingredient_label(portion.ingredient)}"
        for portion in portions
    ]
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def ingredient_label(ingredient: str) -> str:
    """Return a feedstock's name; its id when a later version dropped it from the table."""
    stock = FEEDSTOCKS.get(ingredient)
    return stock.label if stock else ingredient


def _feed_text(feed: Feed, units: Units) -> str:
    parts = [portions_line(feed.portions, units)]
    if feed.drained_g:
        parts.append(f"drained {mass_text(feed.drained_g, units)}")
    if feed.bedding:
        parts.append(f"{portions_line(feed.bedding, units)} on top")
    return ", ".join(parts)


def _sighting_text(seen: Sighting) -> str:
    parts = [
        _CLIMBERS[seen.climbers] if seen.climbers else "",
        _LID[seen.lid] if seen.lid else "",
        _SQUEEZE[seen.squeeze] if seen.squeeze else "",
        _SMELL[seen.smell] if seen.smell else "",
        f"pests: {seen.pests}" if seen.pests else "",
        {True: "last feed used up", False: "last feed not used up", None: ""}[seen.used_up],
        ""
        if seen.moisture_pct is None
        else f"bed moisture {number_text(seen.moisture_pct, 1)} % by weighed sample",
    ]
    return ", ".join(part for part in parts if part) or "looked in"
