"""The built-in feedstocks: what each typically holds of water, carbon and nitrogen.

Typical values, not measurements of anybody's melon: good enough for a dose of bedding, and always
shown as an estimate. The page `feedstocks.md` prints this table with what stands behind it. The
formulas that use it are in `science.mixing`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Group(StrEnum):
    """What a feedstock is mainly put in for."""

    FEED = "feed"
    BEDDING = "bedding"
    AMENDMENT = "amendment"


@dataclass(frozen=True, slots=True)
class Feedstock:
    """One feedstock; `holding_kg_kg` is the water a kilogram of its dry matter holds, if known."""

    id: str
    label: str
    group: Group
    moisture_pct: float
    c_to_n: float
    nitrogen_pct_dry: float
    loose_kg_l: float
    holding_kg_kg: float | None
    source: str

    @property
    def dry_label(self) -> str:
        """Return what to ask for where it must be dry.

        >>> FEEDSTOCKS["coir"].dry_label, FEEDSTOCKS["dry-leaves"].dry_label
        ('dry coir', 'dry leaves')
        """
        return f"dry {self.label.removeprefix('dry ')}"


HANDBOOK: Final = "handbook range (NRAES-54 Table A.1, USDA NEH-637 ch. 2), from memory"
PRODUCE: Final = "water: University of Kentucky ENRI-129; C:N and nitrogen: handbook, from memory"
PRACTICE: Final = "common practice"
STRAW: Final = "holding 2.2-3.6 in the literature; the rest handbook range, from memory"
SAWDUST: Final = "holding 4.3 in the literature, here 4; the rest handbook range, from memory"
PEAT: Final = "holding 5-7 in the literature, here 5; the rest common practice"
LEAVES: Final = "holding 1.6-2 in the literature, here 1.8; the rest handbook range, from memory"
MINERAL: Final = "common practice: counted as dry matter without carbon, no dose is claimed"

_FEEDS: Final = (
    # id, label, % water (wet basis), C:N, % nitrogen of dry matter, loose kg/L, source
    ("vegetable-scraps", "vegetable scraps", 85, 15, 2.7, 0.6, HANDBOOK),
    ("kitchen-scraps", "kitchen scraps", 72, 15, 2.4, 0.4, HANDBOOK),
    ("fruit", "mixed fruit", 80, 40, 1.4, 0.7, HANDBOOK),
    ("melon", "melon", 92, 22, 2.0, 0.75, PRODUCE),
    ("salad", "salad", 95, 16, 3.2, 0.5, PRODUCE),
    ("tomato-courgette", "tomato and courgette", 94, 16, 3.0, 0.6, PRODUCE),
    ("squash", "squash", 91, 19, 2.2, 0.55, PRODUCE),
    ("brassica", "brassicas", 92, 13, 3.5, 0.45, PRODUCE),
    ("carrot", "carrot", 87, 27, 1.5, 0.6, PRODUCE),
    ("potato", "potato", 79, 20, 1.5, 0.9, PRODUCE),
    ("apple-pear", "apple and pear", 85, 48, 1.1, 0.75, PRODUCE),
    ("banana-peel", "banana peel", 87, 32, 1.3, 0.5, PRACTICE),
    ("citrus", "citrus", 80, 32, 1.2, 0.5, PRACTICE),
    ("berries", "berries", 88, 32, 1.3, 0.6, PRODUCE),
    ("coffee-grounds", "coffee grounds", 60, 20, 2.0, 0.4, HANDBOOK),
    ("tea-leaves", "tea leaves", 80, 17, 3.5, 0.4, PRACTICE),
    ("bread", "bread", 36, 20, 2.0, 0.25, PRACTICE),
    ("rice-pasta", "cooked rice and pasta", 67, 22, 1.3, 0.8, PRACTICE),
    ("grass-clippings", "grass clippings", 82, 17, 3.6, 0.3, HANDBOOK),
    ("horse-manure", "aged horse manure", 72, 30, 1.6, 0.8, HANDBOOK),
    ("cattle-manure", "aged cattle manure", 70, 19, 2.2, 0.8, HANDBOOK),
    ("rabbit-manure", "rabbit manure", 68, 12, 2.7, 0.5, HANDBOOK),
)

_BEDDINGS: Final = (
    # as above, with kg of water held per kg of dry matter before the source
    ("newspaper", "shredded newspaper", 6, 600, 0.1, 0.05, 3.0, PRACTICE),
    ("cardboard", "shredded cardboard", 8, 560, 0.1, 0.08, 3.0, PRACTICE),
    ("office-paper", "office paper", 6, 170, 0.25, 0.06, 2.5, PRACTICE),
    ("egg-carton", "egg carton", 8, 450, 0.1, 0.05, 3.0, PRACTICE),
    ("dry-leaves", "dry leaves", 25, 54, 0.9, 0.08, 1.8, LEAVES),
    ("straw", "straw", 12, 80, 0.7, 0.06, 2.5, STRAW),
    ("coir", "coir", 12, 100, 0.5, 0.08, 7.0, PRACTICE),
    ("peat", "peat", 45, 50, 1.0, 0.15, 5.0, PEAT),
    ("sawdust", "untreated sawdust", 30, 440, 0.2, 0.24, 4.0, SAWDUST),
    ("castings", "finished castings", 68, 12, 1.8, 0.8, 2.0, PRACTICE),
)

_AMENDMENTS: Final = (
    # id, label, % water, C:N, % nitrogen of dry matter, loose kg/L, source
    ("eggshell", "crushed eggshell", 1, 0, 0.0, 0.8, MINERAL),
    ("oyster-shell", "crushed oyster shell", 1, 0, 0.0, 1.1, MINERAL),
    ("rock-dust", "rock dust", 1, 0, 0.0, 1.5, MINERAL),
    ("neem-cake", "neem cake", 10, 9, 5.0, 0.6, PRACTICE),
    ("diatomaceous-earth", "diatomaceous earth", 4, 0, 0.0, 0.3, MINERAL),
)


def _table() -> dict[str, Feedstock]:
    """Return all feedstocks by id, in the order of the page."""
    rows = [
        Feedstock(id_, label, group, water, ratio, nitrogen, loose, holding, source)
        for group, lines in (
            (Group.FEED, [(*row[:6], None, row[6]) for row in _FEEDS]),
            (Group.BEDDING, list(_BEDDINGS)),
            (Group.AMENDMENT, [(*row[:6], None, row[6]) for row in _AMENDMENTS]),
        )
        for id_, label, water, ratio, nitrogen, loose, holding, source in lines
    ]
    return {row.id: row for row in rows}


FEEDSTOCKS: Final[dict[str, Feedstock]] = _table()
"""Every feedstock by id: feeds, then beddings, then amendments."""

UNKNOWN_MOISTURE_PCT: Final = 85.0
"""Of a feedstock that the table no longer has: as of mixed vegetable scraps."""


def moisture_pct_of(ingredient: str) -> float:
    """Return the typical moisture of a feedstock, % wet basis.

    >>> moisture_pct_of("melon"), moisture_pct_of("no longer there")
    (92, 85.0)
    """
    stock = FEEDSTOCKS.get(ingredient)
    return stock.moisture_pct if stock else UNKNOWN_MOISTURE_PCT
