"""Between the journal's form and `journal.parse`: which inputs there are, and how they are read.

A form has one unit for all its masses and up to four ingredients; the journal takes fields. Both
directions are here, so that "same as last time" and a correction fill the form from an entry.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from underlid.errors import UnderlidError, Words
from underlid.journal.entries import (
    Amendment,
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Photo,
    Sighting,
    Worms,
)
from underlid.journal.feedstocks import FEEDSTOCKS, Group
from underlid.journal.parse import entry_from_fields, fields_from_entry
from underlid.journal.portions import exact_text
from underlid.journal.units import GRAMS
from underlid.timeline import rfc3339
from underlid.web.forms import FieldError, choice, local_time_ms, number
from underlid.web.wording import form_time

ROWS: Final = 4
"""Ingredients of one form; a bucket of more is a mixture and has a name of its own."""

MASS_MOST: Final = 100_000.0
"""In any unit: far above a barrow, so only a slip of the finger is refused."""

UNITS: Final = {"g": "grams", "kg": "kilograms", "lb": "pounds", "oz": "ounces"}
KINDS_ON_FORM: Final = {
    "feed": "Feed",
    "sighting": "Seen",
    "water": "Water",
    "bedding": "Bedding",
    "harvest": "Harvest",
    "worms": "Worms",
    "amendment": "Amendment",
    "turned": "Turned",
    "move": "Moved",
    "photo": "Photo",
    "note": "Note",
}
"""Kinds of entry, likeliest first, in words so short that a phone shows all of them."""

SAMPLE_MOST_G: Final = 10_000.0
"""Of a weighed sample: more than anybody dries."""

GROUPS: Final = {"feed": Group.FEED, "bedding": Group.BEDDING, "amendment": Group.AMENDMENT}
SEEN: Final = ("climbers", "lid", "squeeze", "smell", "pests", "used_up", "moisture_pct")


def ingredients(kind: str) -> dict[str, dict[str, str]]:
    """Return what may be chosen for a kind of entry: group label -> id -> label, likeliest first."""
    first = GROUPS.get(kind, Group.FEED)
    labels = {Group.FEED: "Feeds", Group.BEDDING: "Beddings", Group.AMENDMENT: "Amendments"}
    order = [first, *(group for group in Group if group is not first)]
    return {
        labels[group]: {
            stock.id: stock.label for stock in FEEDSTOCKS.values() if stock.group is group
        }
        for group in order
    }


def entry_from_form(
    form: Mapping[str, str], *, bin_id: str, timezone: str, now_ms: int, by: str, new_id: str
) -> Entry:
    """Return the entry that the form describes, or raise an `UnderlidError` that names the field."""
    kind = choice(form, "kind", "kind of entry", {word: word for word in KINDS_ON_FORM})
    at_ms = local_time_ms(form, "when", timezone)
    fields: dict[str, object] = {"bin": bin_id, "kind": kind, "text": form.get("text", "").strip()}
    if at_ms is not None:
        fields["time"] = rfc3339(at_ms)
    fields |= _amounts(form, kind)
    if kind == "photo":
        fields["file"] = form.get("file", "")
    if kind == "sighting":
        fields |= {name: form.get(name, "").strip() for name in SEEN}
        fields["moisture_pct"] = _moisture_pct(form)
    try:
        return entry_from_fields(fields, known_at_ms=now_ms, by=by, new_id=new_id)
    except FieldError:
        raise
    except UnderlidError as error:
        raise _on_form(error, form) from error


def form_from_entry(entry: Entry, timezone: str, *, keep_time: bool) -> dict[str, str]:
    """Return the form's fields for an entry; *keep_time* for a correction, not for "again"."""
    what = entry.what
    form = {"kind": entry.kind, "bin": entry.bin, "unit": "g", "text": ""}
    if keep_time:
        form |= {"when": form_time(entry.at_ms, timezone), "text": entry.text}
    if isinstance(what, Feed | BeddingAdded | Amendment):
        for row, portion in enumerate(what.portions[:ROWS], 1):
            form |= {
                f"ingredient_{row}": portion.ingredient,
                f"mass_{row}": exact_text(portion.mass_g),
            }
    if isinstance(what, Feed):
        form["drained"] = exact_text(what.drained_g) if what.drained_g else ""
        for portion in what.bedding[:1]:
            form |= {"bedding": portion.ingredient, "bedding_mass": exact_text(portion.mass_g)}
    if isinstance(what, LiquidAdded | Worms | Harvest):
        form["mass"] = exact_text(what.mass_g)
    if isinstance(what, LiquidAdded):
        form["liquid"] = what.liquid.value
    if isinstance(what, Photo):
        form["file"] = what.file
    if isinstance(what, Sighting):
        given = fields_from_entry(entry)
        form |= {name: _word(given[name]) for name in SEEN if name in given}
    return form


def _moisture_pct(form: Mapping[str, str]) -> float | None:
    """Return a weighed sample's moisture, % wet basis: as given, or from both its weights."""
    wet_g = number(form, "sample_wet", "weight of the wet sample", 0, SAMPLE_MOST_G)
    dry_g = number(form, "sample_dry", "weight of the dried sample", 0, SAMPLE_MOST_G)
    given_pct = number(form, "moisture_pct", "weighed moisture, %", 1, 99)
    if wet_g is None and dry_g is None:
        return given_pct
    if wet_g is None or dry_g is None:
        raise FieldError(
            "sample_wet" if wet_g is None else "sample_dry",
            "weighed sample",
            value="",
            expected="both weights, wet and dried",
            next_step="Fill in the other one too, or empty both.",
        )
    if given_pct is not None:
        raise FieldError(
            "moisture_pct",
            "weighed sample",
            value=form.get("moisture_pct", ""),
            expected="either both weights or the moisture",
            next_step="Empty one of them.",
        )
    moisture_pct = 100 * (wet_g - dry_g) / wet_g if wet_g else 0.0
    if not 1 <= moisture_pct <= 99:
        raise FieldError(
            "sample_dry",
            "weight of the dried sample",
            value=form.get("sample_dry", ""),
            expected="less than the wet weight, and more than nothing",
            next_step="Weigh both without the dish.",
        )
    return round(moisture_pct, 1)


def _amounts(form: Mapping[str, str], kind: str) -> dict[str, object]:
    """Return the masses of a form as the journal's fields, in grams."""
    if kind not in (*GROUPS, "water", "worms", "harvest"):
        return {}
    unit = choice({"unit": "g", **form}, "unit", "unit", UNITS)
    factor = GRAMS[unit]

    def mass_g(name: str, label: str, low: float = 0.0) -> float | None:
        value = number(form, name, label, low, MASS_MOST)
        return None if value is None else value * factor

    if kind not in GROUPS:
        least = -MASS_MOST if kind == "worms" else 0.0
        fields: dict[str, object] = {"mass_g": mass_g("mass", "amount", least)}
        return fields | ({"liquid": form.get("liquid", "")} if kind == "water" else {})
    fields = {"ingredient": _portions(form, mass_g)}
    if kind == "feed":
        fields["drained_g"] = mass_g("drained", "drained liquid")
        on_top = form.get("bedding", "")
        bedding_g = mass_g("bedding_mass", "bedding on top")
        if on_top and not bedding_g:
            raise FieldError(
                "bedding_mass",
                "bedding on top",
                value="",
                expected="its mass",
                next_step="Fill it in, or choose no bedding.",
            )
        if bedding_g and not on_top:
            raise FieldError(
                "bedding",
                "bedding on top",
                value="",
                expected="which bedding it was",
                next_step="Choose one, or leave its mass empty.",
            )
        if on_top:
            fields |= {"bedding": on_top, "bedding_g": bedding_g}
    return fields


def _portions(
    form: Mapping[str, str], mass_g: Callable[[str, str], float | None]
) -> dict[str, float]:
    """Return ingredient -> grams of the filled rows; the same one twice adds up."""
    portions: dict[str, float] = {}
    for row in range(1, ROWS + 1):
        chosen = form.get(f"ingredient_{row}", "")
        grams = mass_g(f"mass_{row}", "mass")
        if not chosen and not grams:
            continue
        if chosen not in FEEDSTOCKS:
            raise FieldError(
                f"ingredient_{row}",
                "ingredient",
                value=chosen,
                expected="one of the list",
                next_step="Choose one; kitchen scraps will do for a mixture.",
            )
        if not grams:
            raise FieldError(
                f"mass_{row}",
                f"mass of {FEEDSTOCKS[chosen].label}",
                value=form.get(f"mass_{row}", ""),
                expected="more than nothing",
                next_step="Weigh or guess it.",
            )
        portions[chosen] = portions.get(chosen, 0.0) + grams
    if not portions:
        raise FieldError(
            "ingredient_1",
            "ingredient",
            value="",
            expected="what it was, and its mass",
            next_step="Choose one; kitchen scraps will do for a mixture.",
        )
    return portions


def _on_form(error: UnderlidError, form: Mapping[str, str]) -> FieldError:
    """Return what `journal.parse` found wrong, in the words and at the field of the form."""
    names = {"drained_g": "drained", "mass_g": "mass", "time": "when", "entry": "text"}
    word = error.what.split(maxsplit=1)[0]
    field = names.get(word, word)
    if field == "when":
        return FieldError(
            field,
            "time",
            value=form.get("when", "").replace("T", " "),
            expected="a time since 1970 that is not in the future",
            next_step="Correct it, or leave it empty for now.",
        )
    what = {"drained_g": "drained liquid", "mass_g": "amount"}.get(word, error.what)
    value = error.value
    if word in ("drained_g", "mass_g") and isinstance(value, float):
        value = Words(f"{value:g} g")
    return FieldError(field, what, value=value, expected=error.expected, next_step=error.next_step)


def _word(value: str | float | bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else exact_text(value)
