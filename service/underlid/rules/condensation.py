"""Condensation: so much water on the lid that it runs, and rains back on the bed.

Humidity by itself says little: over a wet bed the headspace is near saturation whenever the bed is
warmer than the shed. What counts is how much condenses, the film. It is never measured, so the rule
asks for the chance that it is beyond the limit, over all that this lid may be like.
"""

from __future__ import annotations

from math import isnan, nan
from typing import Final

from underlid.binmodel.food.feeds import wet_feed
from underlid.binmodel.known import Known
from underlid.binmodel.lids.film import FILM_KNOWN_H, LidFilm, LidNow, lid_now
from underlid.binmodel.outlook.forecast import Forecast
from underlid.binmodel.probes.hot import BUCKETS_PER_DAY, BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow, mean_of
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.foreseen import Reach, chance_left, coming, fresh
from underlid.science.condensation import film_band
from underlid.science.numeric import Floats

TELLS: Final = 0.4
"""The film is told of when the chance that it is beyond the limit is four in ten: a look under the lid
costs a minute, a lid that drips for days costs the bed its air …"""

NEAR_SHARE: Final = 0.6
NEAR_TELLS: Final = 0.5
"""… and it is more likely than not at this share of the limit or beyond, so that there is something to
see …"""

KEEPS: Final = 0.2
"""… and until the chance has halved (all four our judgement)."""

EVEN_TELLS: Final = 0.5
"""As likely as not is enough without the second; and only then it is said that it drips."""

LATELY_H: Final = 3
DRY_G_M2: Final = 5.0
"""A lid as dry as this, and drying for so long, is not foreseen to be wet before water has begun to come
(our judgement)."""

REACHES: Final = (Reach(12, 0.75), Reach(24, 0.85))
"""A forecast is told when it is so sure within so many hours (our judgement)."""

CERTAINTY: Final = {"lid_probe": 0.9, "lid_estimate": 0.8, "humidity": 0.6}
"""No verdict is called surer, by what it rests on (our judgement)."""


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the lid of one bin."""
    film, now = known.film, lid_now(window)
    if not film.known_lately(FILM_KNOWN_H):
        reason = "the temperatures of bed, headspace and shed are not known well enough"
        return Finding(Condition.CONDENSATION, Verdict.UNKNOWN, reason=reason, grade=now.grade)
    evidence = _evidence(film, now)
    if now.saturated:
        at_fault = window.present("headspace_rh_pct") is None
        evidence["headspace_rh_sensor"] = "at fault" if at_fault else "saturated"
    priority, chance = _level(film, window, open_priority)
    if now.grade == "humidity" and priority is Priority.HIGH:
        priority = Priority.MEDIUM
    if priority is None:
        return _foreseen(window, known, now, evidence, held=open_priority is not None)
    evidence["chance_pct"] = round(100.0 * min(chance, CERTAINTY[now.grade]))
    evidence["limit_g_m2"] = window.limits.film_warn_g_m2
    feed = wet_feed(window)
    return Finding(
        Condition.CONDENSATION,
        Verdict.HOLDS,
        priority,
        round(min(chance, CERTAINTY[now.grade]), 2),
        evidence,
        cause="feed" if feed else "",
        grade=now.grade,
        feed_at_ms=feed.at_ms if feed else None,
    )


def _level(
    film: LidFilm, window: BinWindow, open_priority: Priority | None
) -> tuple[Priority | None, float]:
    """Return how bad the film is, and the chance that it is beyond the first limit."""
    limits = window.limits
    reached: Priority | None = None
    chance = film.chance(limits.film_warn_g_m2)
    alarm_chance = film.chance(limits.film_alarm_g_m2)
    near = film.chance(NEAR_SHARE * limits.film_warn_g_m2) >= NEAR_TELLS
    for likely, priority, tells in (
        (chance, Priority.MEDIUM, TELLS if near else EVEN_TELLS),
        (alarm_chance, Priority.HIGH, EVEN_TELLS),
    ):
        held = open_priority is not None and open_priority.rank >= priority.rank
        if likely >= (KEEPS if held else tells):
            reached = priority
    return reached, chance


def _foreseen(
    window: BinWindow, known: Known, now: LidNow, evidence: dict[str, float | str], *, held: bool
) -> Finding:
    """Return whether a lid that is not wet yet will be."""
    forecast: Forecast | None = fresh(known.forecast, window.now_ms)
    limit = window.limits.film_warn_g_m2
    chances = None if forecast is None else forecast.wet_chance.get(limit)
    soon = forecast and coming(forecast, chances, window.now_ms, REACHES, held=held)
    dry = float(evidence["lid_film_g_m2"]) < DRY_G_M2 and not _condenses(known.film)
    if not soon or (dry and not held):
        if held:
            evidence |= chance_left(forecast, chances, window.now_ms, REACHES)
            evidence["limit_g_m2"] = limit
        return Finding(Condition.CONDENSATION, Verdict.CLEAR, evidence=evidence, grade=now.grade)
    evidence["chance_pct"] = round(100.0 * soon.chance)
    evidence["limit_g_m2"] = limit
    feed = wet_feed(window)
    return Finding(
        Condition.CONDENSATION,
        Verdict.HOLDS,
        Priority.LOW,
        round(soon.chance, 2),
        evidence,
        cause="feed" if feed else "",
        grade=now.grade,
        forecast_for_ms=soon.at_ms,
        feed_at_ms=feed.at_ms if feed else None,
    )


def _evidence(film: LidFilm, now: LidNow) -> dict[str, float | str]:
    held, low, high = film.now()
    day = film.last_flux(BUCKETS_PER_DAY)
    lately = float(day[-1])
    evidence: dict[str, float | str] = {
        "lid_film_g_m2": round(held, 1),
        "lid_film_low_g_m2": round(min(low, held)),
        "lid_film_high_g_m2": round(max(high, held)),
        "lid_film_band": film_band(held),
    }
    if now.margin_k is not None and now.margin_sd_k is not None:
        evidence["lid_margin_k"] = round(now.margin_k, 2)
        evidence["lid_margin_sd_k"] = round(now.margin_sd_k, 2)
    if not isnan(lately):
        evidence["condensing_g_m2_h"] = round(lately, 1)
    evidence["condensing_day_mean_g_m2_h"] = round(_mean(day), 2)
    return evidence


def _condenses(film: LidFilm) -> bool:
    """Tell whether water has come onto the lid in the last hours, not left it."""
    flux = film.last_flux(LATELY_H * BUCKETS_PER_HOUR)
    return _mean(flux) > 0.0


def _mean(values: Floats) -> float:
    """Return the mean of what is known; NaN without any."""
    found = mean_of(values, 1)
    return nan if found is None else found
