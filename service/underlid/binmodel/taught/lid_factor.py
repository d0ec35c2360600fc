"""The lid's temperature factor and its exchange of air: from lid probes, what was seen, and humidity.

A lid probe gives the factor directly wherever headspace and shed differ. Looks and humidity weigh the
guesses of `lids/cloud.py`, run once over what is learnt from. All start from what lids of this kind are
like. The film itself does not use these two values: it uses every guess with its weight.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.lids.guesses import LID_FACTOR
from underlid.binmodel.lids.hours import lid_hours
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import HOURS, Past
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal, worth
from underlid.journal.entries import Sighting
from underlid.science.numeric import Floats

SPAN_LEAST_K: Final = 1.0
"""Headspace and shed must differ by this for six hours; the hours in which they do not tell by how much
the sensors differ."""

PROBE_NOISE_K: Final = 0.25
PROBE_OFFSET_SD_K: Final = 0.35
"""Of hourly means, and of two sensors against a third (data sheets)."""

PROBE_SD_LEAST: Final = 0.03
HOURS_LEAST: Final = 6
FACTORS: Final = np.linspace(0.30, 1.0, 71)

HUMID_LEAST_H: Final = 48
"""Humidity teaches from so many hours below saturation on: two whole days (our judgement)."""


def lid_factor(past: Past, name: str, run: Cloud | None = None) -> tuple[Lesson, Lesson]:
    """Return the temperature factor, 0 (as the shed) .. 1 (as the headspace), and the exchange, m/h.

    *run* is the cloud after all twelve days; it does not do for a bin that was moved in them.
    """
    first = _first_hour(past)
    cloud = run if run is not None and first == 0 else _after(past, first)
    told = max(0, _looks(past) - 1)
    humid = cloud.humid_h if cloud.humid_h >= HUMID_LEAST_H else 0
    from_ms, until_ms = past.at_ms(first), past.until_ms
    sources = [f"{counted(told, 'look')} at it"] * bool(told)
    sources += [f"{counted(humid, 'hour')} of humidity"] * bool(humid)
    rests = (told + humid, from_ms, until_ms) if sources else (0, None, None)
    air = _exchange(name, cloud, sources, rests)
    measured = _by_probe(past)
    if measured is not None:
        prior = normal(FACTORS, *LID_FACTOR[past.window.bin.kind])
        value, sd = mean_and_sd(FACTORS, prior + measured[0])
        sources = [f"{counted(measured[1], 'hour')} of its probe"]
        rests = (measured[1], from_ms, until_ms)
    else:
        value, sd = _weighed(cloud.guesses.factor, cloud.weight)
    if not sources:
        value, sd = LID_FACTOR[past.window.bin.kind]
    way = "is" if sources else "is taken to be"
    why = f"learnt from {' and '.join(sources)}." if sources else NOT_LEARNT
    text = (
        f"The lid of {name} {way} {100 * value:.0f} % (± {100 * sd:.0f}) of the way from the shed's"
        f" temperature to that of the air under it, {why}"
    )
    return Lesson(round(value, 2), round(sd, 2), text, *rests), air


NOT_LEARNT: Final = (
    "by its kind: nobody has looked at it twice in twelve days, and no probe tells enough of it."
)


def _first_hour(past: Past) -> int:
    """Return the hour of the past from which on the bin has stood where it stands."""
    if past.window.end * BUCKET_MS - past.moved_ms <= 0:
        return HOURS
    return max(0, int(np.ceil(past.hour_of(past.moved_ms))))


def _after(past: Past, first: int) -> Cloud:
    """Return all guesses after the hours from *first* on."""
    cloud = Cloud(past.window.bin.kind)
    begin = past.window.end - (HOURS - first) * BUCKETS_PER_HOUR
    for hour in lid_hours(past.window, begin, HOURS - first):
        cloud.step(hour)
    return cloud


def _looks(past: Past) -> int:
    """Return how often somebody wrote down how the lid looked."""
    seen = (entry.what for entry in past.entries if isinstance(entry.what, Sighting))
    return sum(what.lid is not None for what in seen)


def _exchange(
    name: str, cloud: Cloud, sources: list[str], rests: tuple[int, int | None, int | None]
) -> Lesson:
    """Return the air that bin and shed exchange, m³ per m² of lid and hour."""
    logs = np.log(cloud.guesses.out_m_h)
    middle, spread = _weighed(logs, cloud.weight)
    value = float(np.exp(middle))
    sd = value * spread
    why = f"learnt from {' and '.join(sources)}." if sources else "by its kind."
    text = (
        f"Through lid and gaps {name} exchanges {value:.1f} m³ of air (± {sd:.1f}) an hour with the shed"
        f" for each square metre of lid, {why}"
    )
    return Lesson(round(value, 2), round(sd, 2), text, *rests)


def _weighed(values: Floats, weight: Floats) -> tuple[float, float]:
    mean = float((weight * values).sum())
    return mean, float(np.sqrt((weight * np.square(values - mean)).sum()))


def _by_probe(past: Past) -> tuple[Floats, int] | None:
    """Return how well each factor fits the lid probe, and from how many hours; None without one."""
    shed = past.hourly("shed_temp_c")
    span, lid = past.hourly("headspace_temp_c") - shed, past.hourly("lid_temp_c") - shed
    opened = past.opened()
    use = np.flatnonzero(~np.isnan(span) & ~np.isnan(lid) & ~opened)
    if np.count_nonzero(np.abs(span[use]) > SPAN_LEAST_K) < HOURS_LEAST:
        return None
    span, lid, follows = span[use], lid[use], np.diff(use, prepend=-2) == 1
    precision = PROBE_NOISE_K**2 / PROBE_OFFSET_SD_K**2
    left = lid - FACTORS[:, None] * span
    offset = left.sum(axis=1) / (len(use) + precision)
    left -= offset[:, None]
    square = np.sum(np.minimum(left**2, (4.0 * PROBE_NOISE_K) ** 2), axis=1)
    best = int(np.argmin(square + precision * offset**2))
    alike = worth(np.clip(left[best], -1.0, 1.0), follows)
    fit = -0.5 * (square / PROBE_NOISE_K**2 * alike + (offset / PROBE_OFFSET_SD_K) ** 2)
    least = -0.5 * ((FACTORS - FACTORS[best]) / PROBE_SD_LEAST) ** 2
    return np.maximum(fit - fit.max(), least), len(use)
