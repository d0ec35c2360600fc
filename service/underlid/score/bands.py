"""Whether forecasts' bands hold what came: a band of 80 % should hold four outcomes of five."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Protocol

from underlid.journal.entries import Entry, Note, Sighting
from underlid.timeline import HOUR_MS

AHEAD_H: Final = (1, 3, 6, 12, 24, 48, 72)
EVERY_MS: Final = 6 * HOUR_MS

QUANTITIES: Final[dict[str, float]] = {
    "shed_temp_c": 0.1,
    "bed_temp_c": 0.1,
    "lid_film_g_m2": 2.0,
    "moisture_pct": 0.2,
    "moisture_change": 0.2,
}
"""What is foreseen, and what a sensor resolves of it."""

CHANGE: Final = "moisture_change"
"""Moisture, less the error that the soil probe's calibration has at the time."""

DRY_FILM_G_M2: Final = 5.0


class Band(Protocol):
    """Hourly values, the first one hour ahead."""

    @property
    def middle(self) -> Sequence[float]:
        """Return the middle course."""
        ...

    @property
    def low(self) -> Sequence[float]:
        """Return the lower end of the band."""
        ...

    @property
    def high(self) -> Sequence[float]:
        """Return its upper end."""
        ...


SIDES: Final = ("inside", "below", "above")
AT_NOTHING: Final = "at_nothing"
"""Of bands whose lower end is at nothing: no film can come out below, so they should hold nine of ten."""

STRICT: Final = "strict"
"""Of the outcomes inside, those between the ends themselves, without what a sensor resolves."""

Outcome = tuple[str, int, str]
"""(quantity, hours ahead, one of `SIDES`, or `AT_NOTHING` or `STRICT`, which are counted beside)."""


def outcomes(
    at_ms: int,
    courses: Mapping[str, Band | None],
    truth: Mapping[int, Mapping[str, float]],
    deeds_ms: Iterable[int],
) -> Counter[Outcome]:
    """Return what came of one forecast; *truth* by its moments."""
    found: Counter[Outcome] = Counter()
    until_ms = min((one for one in deeds_ms if one > at_ms), default=1 << 62)
    for name, resolves in QUANTITIES.items():
        source = "moisture_pct" if name == CHANGE else name
        band = courses.get(source)
        if band is None:
            continue
        error = _present_error(at_ms, band, truth) if name == CHANGE else 0.0
        for ahead in AHEAD_H:
            when = at_ms + ahead * HOUR_MS
            values = truth.get(when)
            if values is None or ahead > len(band.low):
                continue
            if when > until_ms and name != "shed_temp_c":
                continue
            low, high = float(band.low[ahead - 1]), float(band.high[ahead - 1])
            came = values[source] + error
            if name == "lid_film_g_m2" and max(came, high) < DRY_FILM_G_M2:
                continue
            side = "inside"
            if came < low - resolves:
                side = "below"
            elif came > high + resolves:
                side = "above"
            found[name, ahead, side] += 1
            if low <= came <= high:
                found[name, ahead, STRICT] += 1
            if name == "lid_film_g_m2" and low <= resolves:
                found[name, ahead, AT_NOTHING] += 1
    return found


def _present_error(at_ms: int, band: Band, truth: Mapping[int, Mapping[str, float]]) -> float:
    """Return by how much the middle course is above the truth at its beginning."""
    soon = truth.get(at_ms + HOUR_MS)
    return 0.0 if soon is None else float(band.middle[0]) - soon["moisture_pct"]


def deeds(entries: Iterable[Entry]) -> list[int]:
    """Return when the keeper did something to the bin, not only looked."""
    return [
        entry.at_ms
        for entry in entries
        if not isinstance(entry.what, Sighting | Note) or entry.text
    ]
