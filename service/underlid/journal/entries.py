"""What the keeper did and saw: the kinds of journal entry, valid once built.

Masses in grams, moisture in % wet basis. `parse.py` builds these from a form, a file row or a
message; `units.py` converts pounds and ounces at the door; the feedstock ids are in
`feedstocks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias


class Climbers(StrEnum):
    """Worms on the wall and lid."""

    NONE = "none"
    FEW = "few"
    MANY = "many"


class LidLook(StrEnum):
    """The inside of the lid, as seen."""

    DRY = "dry"
    MIST = "mist"
    DROPS = "drops"
    DRIPPING = "dripping"


class Squeeze(StrEnum):
    """A handful of bed, pressed."""

    CRUMBLES = "crumbles"
    DAMP = "damp"
    DROPS = "drops"
    TRICKLE = "trickle"


class Smell(StrEnum):
    """What the bin smells of."""

    NONE = "none"
    EARTHY = "earthy"
    SOUR = "sour"
    AMMONIA = "ammonia"


class Liquid(StrEnum):
    """What was poured on."""

    WATER = "water"
    LEACHATE = "leachate"


@dataclass(frozen=True, slots=True)
class Portion:
    """So many grams of one feedstock."""

    ingredient: str
    mass_g: float


@dataclass(frozen=True, slots=True)
class Feed:
    """Food put in: `drained_g` of liquid was poured off it first; `bedding` went on top."""

    portions: tuple[Portion, ...]
    drained_g: float = 0.0
    bedding: tuple[Portion, ...] = ()

    @property
    def mass_g(self) -> float:
        """Return the grams that went into the bin, drained liquid and bedding left out."""
        return sum(portion.mass_g for portion in self.portions) - self.drained_g


@dataclass(frozen=True, slots=True)
class BeddingAdded:
    """Bedding put in by itself."""

    portions: tuple[Portion, ...]


@dataclass(frozen=True, slots=True)
class LiquidAdded:
    """Water, or leachate, given to the bed."""

    mass_g: float
    liquid: Liquid = Liquid.WATER


@dataclass(frozen=True, slots=True)
class Amendment:
    """Grit or mineral added; recorded, no dose is claimed."""

    portions: tuple[Portion, ...]


@dataclass(frozen=True, slots=True)
class Worms:
    """Worms added (positive) or taken out (negative)."""

    mass_g: float


@dataclass(frozen=True, slots=True)
class Harvest:
    """Castings taken out."""

    mass_g: float


@dataclass(frozen=True, slots=True)
class Sighting:
    """What was seen, smelt, squeezed or weighed; None where nothing was noted."""

    climbers: Climbers | None = None
    lid: LidLook | None = None
    squeeze: Squeeze | None = None
    smell: Smell | None = None
    pests: str = ""
    used_up: bool | None = None
    """The last feed has gone."""
    moisture_pct: float | None = None
    """A weighed sample of the bed, % wet basis."""


@dataclass(frozen=True, slots=True)
class Turned:
    """The bed was turned or fluffed."""


@dataclass(frozen=True, slots=True)
class Moved:
    """The bin was set up or carried to another place."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture was taken; `file` is its name where it is kept, if that is elsewhere."""

    file: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Words only: they stand in the entry's `text`."""


What: TypeAlias = (
    Feed
    | BeddingAdded
    | LiquidAdded
    | Amendment
    | Worms
    | Harvest
    | Sighting
    | Turned
    | Moved
    | Photo
    | Note
)

KINDS: dict[str, type] = {
    "feed": Feed,
    "bedding": BeddingAdded,
    "water": LiquidAdded,
    "amendment": Amendment,
    "worms": Worms,
    "harvest": Harvest,
    "sighting": Sighting,
    "turned": Turned,
    "move": Moved,
    "photo": Photo,
    "note": Note,
}
"""The word used in files, forms and messages, for each kind."""

KIND_OF: dict[type, str] = {kind: word for word, kind in KINDS.items()}


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a bin's journal.

    `at_ms` is when it happened (may be back-dated), `known_at_ms` when Underlid learned of it; a
    judgement at time t knows entries with `known_at_ms` ≤ t. A correction is a new entry with the
    same `id` and a higher `version`; a withdrawn one has `withdrawn` set. Nothing is overwritten.
    """

    id: str
    bin: str
    at_ms: int
    known_at_ms: int
    what: What
    by: str = ""
    text: str = ""
    version: int = 1
    withdrawn: bool = False

    @property
    def kind(self) -> str:
        """Return the word for this kind of entry."""
        return KIND_OF[type(self.what)]
