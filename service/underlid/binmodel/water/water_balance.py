"""The bed's water by the journal: what it held before it was watered, and all that came in since.

A soil probe is calibrated where beds usually are; far on the wet side its line is stretched, and a few
% points there are a great deal of water. What the keeper poured in is known to the gram. So the two are
weighed by how sure each is. And a bed gives off no more water than vapour can carry: what falls faster is
a probe, not a bed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.bins import BinKind
from underlid.binmodel.water.bed import WETTEST_PCT, Bed, came, water_of
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Feed, LiquidAdded
from underlid.science.psychrometrics import absolute_humidity_g_m3
from underlid.timeline import DAY_MS

WATERED_G: Final = 200.0
"""Smaller additions tell nothing of the level, and end no trend (our judgement)."""

POURED_DAYS: Final = 8
"""So long a watering says where a bed stands: later, what evaporated since is as uncertain (our
judgement)."""

SHARE_SD: Final = 0.12
"""Of the rise: the bed's dry matter is known to a tenth, and some water runs past (our judgement)."""

FED_SHARE: Final = 0.05
"""A feed with so much water, as a share of the bed, tells as much as a watering (our judgement)."""

HOLDS_KG_KG: Final = 4.0
"""Water that a kilogram of dry bed holds for sure: of a bed with a drain the rest may have run out."""

HOLDS_SD_PCT: Final = 2.0
"""How far that is off, in % points of moisture (our judgement)."""

AGREES_SDS: Final = 2.0
"""Where probe and balance differ by more, something came that nobody wrote down, or ran out: then
the probe alone is believed."""

TIGHT: Final = (BinKind.PLASTIC_TOTE,)
"""Bins without a drain."""

MOST_M_S: Final = 0.005
WALLS: Final = 2.0
"""Transfer velocity of vapour off an open bed in a draught, and how much more surface gives water off
than that under the lid, at the most (our judgement)."""

DRY_AIR_PCT: Final = 40.0
"""Humidity of a shed where nobody measures it, for the most that can evaporate (our judgement)."""


@dataclass(frozen=True, slots=True)
class Level:
    """Moisture, % wet basis, and how sure it is, % points."""

    pct: float
    sd_pct: float


def wettings(window: BinWindow) -> list[int]:
    """Return when much water was poured in or fed lately, oldest first."""
    since_ms = window.now_ms - POURED_DAYS * DAY_MS
    target_pct = window.bin.target_moisture_pct
    found = []
    for entry in window.entries:
        if entry.at_ms < since_ms or not isinstance(entry.what, LiquidAdded | Feed):
            continue
        least_g = WATERED_G
        if isinstance(entry.what, Feed):
            least_g = max(WATERED_G, 1000.0 * FED_SHARE * window.bin.bed_kg)
        if 1000.0 * water_of(entry.what, target_pct) >= least_g:
            found.append(entry.at_ms)
    return found


def by_journal(
    window: BinWindow, bed: Bed, before: Level, since_ms: int, loses_pct_d: tuple[float, float]
) -> Level:
    """Return the bed's moisture now by what it held at *since_ms* and the journal since.

    Parameters
    ----------
    bed
        The bed as it is: only its dry matter is used.
    before
        Its moisture at *since_ms*.
    loses_pct_d
        What evaporates a day, % points, and its sd.

    Source: water balance, r = W/D with M = r/(1 + r).
    """
    before = Level(min(before.pct, WETTEST_PCT), before.sd_pct)
    held = before.pct / (100.0 - before.pct)
    dry_kg, water_kg = bed.dry_kg, 0.0
    for entry in window.entries:
        if entry.at_ms < since_ms:
            continue
        days = max(0.0, (window.now_ms - entry.at_ms) / DAY_MS)
        added_kg, locked_kg = came(entry, days, before.pct)
        dry_kg -= added_kg
        water_kg += water_of(entry.what, before.pct) - locked_kg
    dry_kg = max(dry_kg, 0.3 * bed.dry_kg)
    ratio = max(0.1, (dry_kg * held + water_kg) / bed.dry_kg)
    share = 1.0 / (1.0 + ratio)
    held_sd = before.sd_pct / 100.0 / (1.0 - before.pct / 100.0) ** 2 * dry_kg / bed.dry_kg
    sd = float(np.hypot(held_sd, SHARE_SD * abs(ratio - held))) * share**2 * 100.0
    days = (window.now_ms - since_ms) / DAY_MS
    level = 100.0 * (1.0 - share) - loses_pct_d[0] * days
    return Level(level, float(np.hypot(sd, loses_pct_d[1] * days)))


def weighed(probe: Level, journal: Level, *, tight: bool) -> Level:
    """Return the level by probe and journal together.

    >>> weighed(Level(92.0, 3.8), Level(88.0, 1.2), tight=True)
    Level(pct=88.4, sd_pct=1.2)
    >>> weighed(Level(79.0, 2.5), Level(86.0, 1.2), tight=False)
    Level(pct=79.5, sd_pct=2.3)
    """
    held_pct = 100.0 * HOLDS_KG_KG / (1.0 + HOLDS_KG_KG)
    if not tight and journal.pct > held_pct:
        if probe.pct >= held_pct:
            held_pct = min(probe.pct, journal.pct)
        journal = Level(held_pct, float(np.hypot(journal.sd_pct, HOLDS_SD_PCT)))
    apart = probe.pct - journal.pct
    if abs(apart) > AGREES_SDS * float(np.hypot(probe.sd_pct, journal.sd_pct)):
        return probe
    share = probe.sd_pct**2 / (probe.sd_pct**2 + journal.sd_pct**2)
    # The journal starts from what the probe said: together they are no surer than the better one.
    sd = min(probe.sd_pct, journal.sd_pct)
    return Level(round(probe.pct - share * apart, 1), round(sd, 1))


def falls_at_most_pct_d(window: BinWindow, bed: Bed, air_c: float, rh_pct: float) -> float:
    """Return by how many % points a day a bed can dry at the most, by the vapour that leaves it.

    Source: flux = velocity · (saturated − present vapour density); dM/dt = (1 − M)²/D dW/dt.
    """
    humid_pct = min(rh_pct, 100.0)
    lacks_g_m3 = absolute_humidity_g_m3(air_c, 100.0) - absolute_humidity_g_m3(air_c, humid_pct)
    surface_m2 = WALLS * window.bin.lid_area_m2
    loss_kg_d = MOST_M_S * surface_m2 * lacks_g_m3 / 1000.0 * DAY_MS / 1000.0
    return 100.0 * (1.0 - bed.moisture_pct / 100.0) ** 2 * loss_kg_d / bed.dry_kg
