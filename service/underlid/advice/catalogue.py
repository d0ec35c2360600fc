"""Which advice belongs to which finding."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from underlid.advice.air import drain, loosen
from underlid.advice.bedding import bedding_dose, drier_bed, surplus_dose
from underlid.advice.capacity import feed_capacity
from underlid.advice.heat import Peak, cold_advice, heat_advice
from underlid.advice.lid import air_lid
from underlid.advice.room import room_of
from underlid.advice.settling import settle
from underlid.advice.water import loss_ml_d, water_dose
from underlid.advice.wording import worded
from underlid.binmodel.food.feeds import feed_with_bedding
from underlid.binmodel.known import Known
from underlid.binmodel.settling import unsettled
from underlid.binmodel.water.bed import Bed, bed_of
from underlid.binmodel.window import BinWindow
from underlid.journal.feedstocks import FEEDSTOCKS, Feedstock
from underlid.journal.units import SI, Units
from underlid.rules.finding import Advice, Condition, Finding
from underlid.rules.moisture_evidence import LEVEL_SD_MOST_PCT
from underlid.rules.sour import told_as_too_wet

Advices = tuple[Advice, ...]


def advice_for(
    finding: Finding, window: BinWindow, known: Known, units: Units = SI, waits: str = ""
) -> Advices:
    """Return what to do about a finding that holds, in the keeper's units.

    *waits* is what the next feed waits for (`days.waits_for`).
    """
    if finding.condition is Condition.HUNGRY:
        advices = _for_hunger(window, known, waits)
    elif finding.condition in _ADVICE:
        advices = _ADVICE[finding.condition](finding, window, known)
    else:
        return ()
    return worded((*advices, *settle(unsettled(window), window.now_ms)), units)


def _for_lid(finding: Finding, window: BinWindow, known: Known) -> Advices:
    bin_ = window.bin
    film_g = float(finding.evidence.get("lid_film_g_m2", 0.0)) * bin_.lid_area_m2
    feed = feed_with_bedding(window, finding.feed_at_ms)
    bed, bedding = _bed(window, known), _bedding(window)
    room = room_of(bin_, bed)
    target_pct = bin_.target_moisture_pct
    over = bedding_dose(feed[1] if feed else None, film_g, target_pct, bedding, room)
    given_g = sum(one.amount_g or 0.0 for one in over)
    more: Advices = ()
    if known.drying is not None and known.drying.sd_pct <= LEVEL_SD_MOST_PCT:
        more = surplus_dose(bed, film_g, given_g, target_pct, bedding, room)
    bed_c = window.present("bed_temp_c")
    cold = bed_c is not None and bed_c <= window.limits.cold_warn_c
    return (*over, *more, *air_lid(foreseen=finding.forecast_for_ms is not None, cold=cold))


def _for_heat(finding: Finding, window: BinWindow, known: Known) -> Advices:
    feed = feed_with_bedding(window, finding.feed_at_ms)
    fed_g = feed[1].mass_g if feed else None
    limit_c = window.limits.hot_warn_c
    peak = _peak(finding, known, window.now_ms)
    return heat_advice(finding.cause, peak, limit_c, fed_g, known.food)


def _peak(finding: Finding, known: Known, now_ms: int) -> Peak | None:
    """Return how hot it gets and its own part: by the forecast, or as it is now."""
    bed_c = finding.evidence.get("bed_temp_c")
    without_c = finding.evidence.get("without_self_heat_c")
    peak = (
        None if bed_c is None or without_c is None else Peak(float(bed_c), float(without_c), False)
    )
    forecast = known.forecast
    if forecast is None or forecast.bed_temp_c is None or forecast.shed_temp_c is None:
        return peak
    bed, shed = forecast.bed_temp_c.middle, forecast.shed_temp_c.middle
    passed = forecast.passed_h(now_ms)
    hottest = passed + int(np.argmax(bed[passed:]))
    if peak is not None and float(bed[hottest]) <= peak.bed_c + HOTTER_K:
        return peak
    around = shed[max(0, hottest - AROUND_H) : hottest + 1]
    return Peak(float(bed[hottest]), float(around.mean()), True)


HOTTER_K: Final = 0.5
"""A peak that is no nearer than this to what the bed has now is what it has now."""

AROUND_H: Final = 6
"""A bed follows the air of some hours before (time constants of the science page, heat)."""


def _for_dry(finding: Finding, window: BinWindow, known: Known) -> Advices:  # noqa: ARG001
    bed = _bed(window, known)
    loss = loss_ml_d(bed, known.drying.slope_pct_d if known.drying else None)
    guess = known.drying is not None and known.drying.sd_pct > LEVEL_SD_MOST_PCT
    return water_dose(bed, window.bin.target_moisture_pct, loss, guess=guess)


def _for_wet(finding: Finding, window: BinWindow, known: Known) -> Advices:  # noqa: ARG001
    return (*_drier(window, known), *drain())


def _for_sour(finding: Finding, window: BinWindow, known: Known) -> Advices:
    smell = str(finding.evidence.get("smell", ""))
    if known.drying is None or told_as_too_wet(window, known.drying):
        # The dose stands with the alert for the wet bed, once.
        return loosen(smell, known.food)
    return (*loosen(smell, known.food), *_drier(window, known))


def _drier(window: BinWindow, known: Known) -> Advices:
    bed = _bed(window, known)
    film = known.film.last(1)
    film_g = float(film[0]) * window.bin.lid_area_m2 if len(film) else 0.0
    return drier_bed(
        bed,
        film_g,
        window.bin.target_moisture_pct,
        window.limits.moisture_high_warn_pct,
        _bedding(window),
        room_of(window.bin, bed),
    )


def _for_hunger(window: BinWindow, known: Known, waits: str) -> Advices:
    if known.food is None:
        return ()
    careful = unsettled(window) is not None
    bed_c = window.present("bed_temp_c")
    return feed_capacity(known.food, bed_c, careful=careful, waits=waits)


def _for_cold(finding: Finding, window: BinWindow, known: Known) -> Advices:  # noqa: ARG001
    said = (finding.evidence.get(name) for name in ("bed_temp_c", "coldest_temp_c"))
    coldest_c = min((float(one) for one in said if one is not None), default=None)
    short_k = 0.0 if coldest_c is None else window.limits.cold_warn_c - coldest_c
    return cold_advice(short_k=short_k)


_ADVICE: Final[dict[Condition, Callable[[Finding, BinWindow, Known], Advices]]] = {
    Condition.CONDENSATION: _for_lid,
    Condition.OVERHEATING: _for_heat,
    Condition.DRYING_OUT: _for_dry,
    Condition.TOO_WET: _for_wet,
    Condition.SOUR: _for_sour,
    Condition.TOO_COLD: _for_cold,
}


def _bed(window: BinWindow, known: Known) -> Bed:
    return known.bed or bed_of(window, known.drying.present_pct if known.drying else None)


def _bedding(window: BinWindow) -> Feedstock:
    return FEEDSTOCKS.get(window.bin.bedding, FEEDSTOCKS["newspaper"])
