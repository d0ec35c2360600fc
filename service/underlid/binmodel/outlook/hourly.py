"""What is found out once an hour of one bin: how it dries and what it weighs, what it has eaten,
what it will do.

Each part has a moment of its own in the bin's hour, so that no judgement pays for all of them. The moments
follow from the bin's name alone, and each part from what is known now of the time before its moment: so a
restart, a replay and late data find the same. What changed the past, or the journal, makes all of it anew
at once.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from underlid.binmodel.food.uneaten import Food, food
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.outlook.forecast import Forecast, foresee, moisture_course
from underlid.binmodel.outlook.warmth import Room, Warmth, room_ahead, warmth_ahead
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.water.bed import Bed, bed_of
from underlid.binmodel.water.drying import Drying, drying
from underlid.binmodel.window import BinWindow
from underlid.timeline import HOUR_MS

BEFORE_MS: Final = 2 * BUCKET_MS
"""The shed is foreseen so long before the lid, which closes its hour at the bin's whole hour. The bed comes
between them, as of the shed's moment; the slow faults are looked for at half the hour (`trust.py`)."""

DRYING_AT_MS: Final = 3 * BUCKET_MS
FOOD_AT_MS: Final = 8 * BUCKET_MS
NEVER: Final = -1


class Outlook:
    """The newest of each part; None where the data does not say, or nothing was found out yet."""

    __slots__ = (
        "_drying_ms", "_film_ms", "_food_ms", "_room", "_warmth", "bed", "drying", "food", "forecast",
    )  # fmt: skip

    def __init__(self) -> None:
        self.bed: Bed | None = None
        self.drying: Drying | None = None
        self.food: Food | None = None
        self.forecast: Forecast | None = None
        self._room: Room | None = None
        self._warmth: Warmth | None = None
        """Of the forecast that comes next."""
        self._drying_ms = self._food_ms = self._film_ms = NEVER

    def forget(self, since_ms: int = NEVER) -> None:
        """Note that the past has changed from *since_ms* on: what rests on it is found out anew."""
        if since_ms < self._drying_ms:
            self._drying_ms = NEVER
        if since_ms < self._food_ms:
            self._food_ms = NEVER
        if since_ms < self._film_ms:
            self._film_ms = NEVER
        if self._room is not None and since_ms < self._room.at_ms:
            self._room = None
        if self._warmth is not None and since_ms < self._warmth.at_ms:
            self._warmth = None

    def renew(self, window: BinWindow, film: LidFilm, begins_ms: int) -> None:
        """Find out anew the parts whose moment has come; the bin's hours begin at *begins_ms*."""
        drying_ms = _last(window, begins_ms + DRYING_AT_MS)
        if drying_ms != self._drying_ms:
            then = _at(window, drying_ms)
            self.drying = drying(then)
            self.bed = bed_of(then, self.drying.present_pct if self.drying else None)
            self._drying_ms = drying_ms
            if self.forecast is not None:
                self.forecast = replace(self.forecast, moisture_pct=moisture_course(self.drying))
        food_ms = _last(window, begins_ms + FOOD_AT_MS)
        if food_ms != self._food_ms:
            self.food = food(_at(window, food_ms))
            self._food_ms = food_ms
        film_ms = _last(window, begins_ms)
        if film_ms != self._film_ms:
            warmth = self._warmth_at(window, film_ms - BEFORE_MS)
            self.forecast = foresee(_at(window, film_ms), film, self.drying, warmth)
            self._film_ms, self._warmth = film_ms, None
        next_ms = film_ms + HOUR_MS - BEFORE_MS
        if window.now_ms == next_ms:
            self._room = room_ahead(window)
        elif window.now_ms > next_ms:
            self._warmth_at(window, next_ms)

    def _warmth_at(self, window: BinWindow, at_ms: int) -> Warmth:
        """Return shed and bed as foreseen at a moment, the shed already or now."""
        if self._warmth is None or self._warmth.at_ms != at_ms:
            room = self._room if self._room and self._room.at_ms == at_ms else None
            self._warmth = warmth_ahead(_at(window, at_ms), room)
            self._room = None
        return self._warmth


def _last(window: BinWindow, moment_ms: int) -> int:
    """Return when the hourly *moment_ms* last came."""
    return window.now_ms - (window.now_ms - moment_ms) % HOUR_MS


def _at(window: BinWindow, at_ms: int) -> BinWindow:
    return window if at_ms == window.now_ms else replace(window, now_ms=at_ms)
