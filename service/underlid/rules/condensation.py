"""Condensation: so much water on the lid that it runs, and rains back on the bed.

Humidity by itself says little: over a wet bed the headspace is near saturation whenever the bed is
warmer than the shed. What counts is how much condenses, the film, and that a whole day leaves more
on the lid than it takes away: mist that comes every night and goes every noon is weather.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.feeds import wet_feed
from underlid.binmodel.hot import BUCKETS_PER_DAY, BUCKETS_PER_HOUR
from underlid.binmodel.known import Known
from underlid.binmodel.lid import LidNow, lid_now, net_g_m2_h
from underlid.binmodel.outlook.film_now import flux_doubt
from underlid.binmodel.outlook.lid_outlook import vapour_room
from underlid.binmodel.window import BinWindow, mean_of
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.foreseen import Reach, coming, fresh
from underlid.rules.levels import level
from underlid.science.condensation import film_band

FILM_DEADBAND_G_M2: Final = 20.0

NET_LEAST_G_M2_H: Final = 1.3
"""A lid is getting wet when it gains this much in the mean of a day, 31 g/m² (our judgement)."""

NET_DOUBT_SHARE: Final = 0.3
"""A lid of which little is known must gain more by so much of the doubt (our judgement)."""

STAYS_H: Final = 12
"""A film that has been beyond the limit for so long, noon or night in it, is no mist of the night."""

LATELY_H: Final = 3
"""A lid that has been drying for so long is not told of as getting wet (our judgement)."""

DRY_G_M2: Final = 5.0
"""Nor is a lid as dry as this foreseen to be wet before water has begun to come (our judgement)."""

SATURATED_TRUST: Final = 0.6
"""Certainty is cut to this share while the humidity sensor says nothing (our judgement)."""

HUMID_PCT: Final = 97.0
HUMID_H: Final = 6
WARMER_K: Final = 2.0
"""Humidity only: so humid for so long, over a bed so much warmer than its headspace."""

REACHES: Final = (Reach(12, 0.85), Reach(24, 0.9))
"""A forecast is told when it is so sure within so many hours (our judgement)."""

CERTAINTY: Final = {"lid_probe": 0.9, "lid_estimate": 0.75, "humidity": 0.5}
"""How far each grade of evidence is trusted (our judgement)."""


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the lid of one bin."""
    now = lid_now(window)
    if not now.grade:
        reason = "no headspace temperature and humidity for half an hour"
        return Finding(Condition.CONDENSATION, Verdict.UNKNOWN, reason=reason)
    if now.grade == "humidity":
        return _by_humidity(window, open_priority)
    held = float(known.film.last(1)[0])
    limits = window.limits
    priority = level(
        held,
        ((limits.film_warn_g_m2, Priority.MEDIUM), (limits.film_alarm_g_m2, Priority.HIGH)),
        open_priority,
        FILM_DEADBAND_G_M2,
    )
    evidence = _evidence(window, held, now)
    forecast = fresh(known.forecast, window.now_ms)
    if forecast is not None and forecast.film_now_g_m2 is not None:
        low, high = forecast.film_now_g_m2
        evidence["lid_film_low_g_m2"] = round(min(low, held))
        evidence["lid_film_high_g_m2"] = round(max(high, held))
    if priority is None:
        return _foreseen(window, known, now, evidence, held=open_priority is not None)
    verdict, reason = _day_by_day(window, known, evidence)
    if open_priority not in (None, Priority.LOW):
        verdict, reason = Verdict.HOLDS, ""
    elif verdict is Verdict.CLEAR and open_priority is not None:
        verdict, reason = Verdict.UNKNOWN, "wet as foreseen, but perhaps only for the night"
    feed = wet_feed(window) if verdict is Verdict.HOLDS else None
    return Finding(
        Condition.CONDENSATION,
        verdict,
        priority,
        round(CERTAINTY[now.grade] * (SATURATED_TRUST if now.saturated else 1.0), 2),
        evidence,
        cause="feed" if feed else "",
        grade=now.grade,
        reason=reason,
        feed_at_ms=feed.at_ms if feed else None,
    )


def _foreseen(
    window: BinWindow, known: Known, now: LidNow, evidence: dict[str, float | str], *, held: bool
) -> Finding:
    """Return whether a lid that is not wet yet will be."""
    forecast = fresh(known.forecast, window.now_ms)
    limit = window.limits.film_warn_g_m2
    chances = None if forecast is None else forecast.wet_chance.get(limit)
    soon = forecast and coming(forecast, chances, window.now_ms, REACHES, held=held)
    dry = float(known.film.last(1)[0]) < DRY_G_M2 and not _condenses(window, known)
    if not soon or (dry and not held):
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


def _evidence(window: BinWindow, held: float, now: LidNow) -> dict[str, float | str]:
    evidence: dict[str, float | str] = {
        "lid_film_g_m2": round(held, 1),
        "lid_film_band": film_band(held),
        "lid_margin_k": round(now.margin_k or 0.0, 2),
        "lid_margin_sd_k": round(now.margin_sd_k or 0.0, 2),
        "condensing_g_m2_h": round(now.flux_g_m2_h or 0.0, 1),
    }
    if now.saturated:
        at_fault = window.present("headspace_rh_pct") is None
        evidence["headspace_rh_sensor"] = "at fault" if at_fault else "saturated"
    return evidence


def _day_by_day(
    window: BinWindow, known: Known, evidence: dict[str, float | str]
) -> tuple[Verdict, str]:
    """Return whether a wet lid is more than the night's mist, by the balance of a whole day."""
    net = net_g_m2_h(window, known.film)
    if net is None:
        return Verdict.UNKNOWN, "too few hours of the last day to tell mist of the night from more"
    evidence["condensing_day_mean_g_m2_h"] = round(net, 2)
    film = known.film.last(STAYS_H * BUCKETS_PER_HOUR)
    if len(film) and float(film.min()) >= window.limits.film_warn_g_m2:
        return Verdict.HOLDS, ""
    gains = net >= NET_LEAST_G_M2_H + NET_DOUBT_SHARE * _doubt_g_m2_h(window)
    if gains and _condenses(window, known):
        return Verdict.HOLDS, ""
    return Verdict.CLEAR, "the lid dries again within the day"


def _condenses(window: BinWindow, known: Known) -> bool:
    """Tell whether water has come onto the lid in the last hours, not left it."""
    flux = known.film.last_flux(LATELY_H * BUCKETS_PER_HOUR, window.end)
    lately = flux[~np.isnan(flux)]
    return not len(lately) or float(lately.mean()) > 0.0


def _doubt_g_m2_h(window: BinWindow) -> float:
    """Return how wrong the flux may be for long, by what is known of this lid."""
    bed, shed = window.present("bed_temp_c"), window.present("shed_temp_c")
    if bed is None or shed is None:
        return 0.0
    return float(flux_doubt(window, vapour_room(np.array([bed]), np.array([shed])))[0])


def _by_humidity(window: BinWindow, open_priority: Priority | None) -> Finding:
    """Judge without lid or shed temperature: only the grossest case can be told."""
    if not np.isnan(window.means("shed_temp_c", BUCKETS_PER_DAY)).all():
        reason = "no shed temperature for half an hour"
        return Finding(Condition.CONDENSATION, Verdict.UNKNOWN, reason=reason, grade="humidity")
    count = HUMID_H * BUCKETS_PER_HOUR
    if lid_now(window).saturated:
        reason = "the humidity sensor is saturated or at fault and there is no lid or shed probe"
        return Finding(Condition.CONDENSATION, Verdict.UNKNOWN, reason=reason, grade="humidity")
    rh = mean_of(window.means("headspace_rh_pct", count), count // 2)
    bed, head = window.present("bed_temp_c"), window.present("headspace_temp_c")
    if rh is None or bed is None or head is None:
        reason = "without a shed air or lid probe the bed temperature is needed too"
        return Finding(Condition.CONDENSATION, Verdict.UNKNOWN, reason=reason, grade="humidity")
    slack = 1.0 if open_priority else 0.0
    holds = rh >= HUMID_PCT - slack and bed - head >= WARMER_K - slack
    feed = wet_feed(window) if holds else None
    return Finding(
        Condition.CONDENSATION,
        Verdict.HOLDS if holds else Verdict.CLEAR,
        Priority.LOW,
        CERTAINTY["humidity"],
        {"headspace_rh_pct": round(rh, 1), "bed_over_headspace_k": round(bed - head, 1)},
        cause="feed" if feed else "",
        grade="humidity",
        feed_at_ms=feed.at_ms if feed else None,
    )
