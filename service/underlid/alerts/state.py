"""A bin's state as JSON: present values, verdicts and open alerts, for programs and pages."""

from __future__ import annotations

from collections.abc import Sequence

from underlid.alerts.alert import Alert
from underlid.alerts.show import alert_as_json
from underlid.binmodel.lids.film import LidNow
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.settling import unsettled
from underlid.binmodel.thermal import self_heat
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Finding
from underlid.science.condensation import film_band
from underlid.timeline import HOUR_MS, SECOND_MS, rfc3339

MEASURED = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c", "moisture_pct")


def state_of(
    window: BinWindow,
    lid: LidNow,
    film_g_m2: float | None,
    drying: Drying | None,
    findings: Sequence[Finding],
    alerts: Sequence[Alert],
) -> dict[str, object]:
    """Return what the state topic says of one bin; a value that is not known is null."""
    own = self_heat(window)
    now: dict[str, float | None] = {name: _rounded(window.present(name)) for name in MEASURED}
    now |= {
        "lid_temp_c": _rounded(lid.lid_c),
        "dew_point_c": _rounded(lid.dew_point_c),
        "lid_margin_k": _rounded(lid.margin_k),
        "lid_margin_sd_k": _rounded(lid.margin_sd_k),
        "lid_film_g_m2": None if film_g_m2 is None else round(film_g_m2, 1),
        "self_heat_k": _rounded(own.self_heat_k) if own else None,
        "moisture_day_mean_pct": _rounded(drying.level_pct) if drying else None,
        "moisture_trend_pct_d": _rounded(drying.slope_pct_d) if drying else None,
        "moisture_sd_pct": _rounded(drying.sd_pct) if drying else None,
    }
    return {
        "bin": window.bin.id,
        "shed": window.bin.shed,
        "name": window.bin.name or window.bin.id.capitalize(),
        "judged_at": rfc3339(window.now_ms),
        "now": now,
        "age_s": _ages_s(window),
        "film_band": None if film_g_m2 is None else film_band(film_g_m2),
        "feed": _feed(window),
        "opened_at": _opened_at(window),
        "unsettled": _unsettled(window),
        "distrusted": _distrusted(window),
        "lessons": window.lessons.as_json() if window.lessons else None,
        "verdicts": [_verdict(one) for one in findings],
        "alerts": [alert_as_json(one) for one in alerts],
    }


def _ages_s(window: BinWindow) -> dict[str, int]:
    """Return the age of the newest believed value of each raw channel, seconds."""
    ages: dict[str, int] = {}
    for place in window.places:
        vitals = window.vitals.get(place.probe)
        for name, (at_ms, _) in vitals.last_values.items() if vitals else ():
            age_s = max(0, window.now_ms - at_ms) // SECOND_MS
            ages[name] = min(age_s, ages.get(name, age_s))
    return ages


def _opened_at(window: BinWindow) -> str | None:
    """Return when the lid was last seen to be lifted, within a day."""
    bucket = window.trust.opened_at() if window.trust is not None else None
    return None if bucket is None else rfc3339(bucket * BUCKET_MS)


def _distrusted(window: BinWindow) -> list[dict[str, object]]:
    """Return which channels of the bin's probes are, or lately were, not believed, why and since when.

    The alert of a probe names one fault; here are all. A channel "" is the whole probe.
    """
    if window.trust is None:
        return []
    probes = dict.fromkeys(place.probe for place in (*window.places, *window.air_places))
    return [
        {
            "probe": probe,
            "channel": one.channel,
            "cause": one.cause.value,
            "since": rfc3339(one.from_bucket * BUCKET_MS),
            "until": None if one.until_bucket is None else rfc3339(one.until_bucket * BUCKET_MS),
        }
        for probe in probes
        for one in window.trust.faults(probe)
    ]


def _feed(window: BinWindow) -> dict[str, object] | None:
    last = window.last_feed()
    if last is None:
        return None
    entry, feed = last
    return {
        "at": rfc3339(entry.at_ms),
        "ingredients": [portion.ingredient for portion in feed.portions],
        "mass_g": round(feed.mass_g, 1),
        "bedding_g": round(sum(portion.mass_g for portion in feed.bedding), 1),
        "age_h": round((window.now_ms - entry.at_ms) / HOUR_MS, 1),
    }


def _unsettled(window: BinWindow) -> dict[str, object] | None:
    """Return why a herd is watched more closely and until when; None for a settled one."""
    one = unsettled(window)
    if one is None:
        return None
    return {"why": one.why, "since": rfc3339(one.since_ms), "until": rfc3339(one.until_ms)}


def _verdict(finding: Finding) -> dict[str, object]:
    return {
        "condition": finding.condition.value,
        "subject": finding.subject,
        "verdict": finding.verdict.value,
        "priority": finding.priority.value,
        "certainty": finding.certainty,
        "cause": finding.cause,
        "grade": finding.grade,
        "reason": finding.reason,
        "evidence": finding.evidence,
        "forecast_for": (
            None if finding.forecast_for_ms is None else rfc3339(finding.forecast_for_ms)
        ),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
