"""How sure the bed's moisture is, and what samples weighed lately add to it.

Samples that belong to a probe make its line (`readings.moisture_line`). Those that stand in the
journal alone are compared with what the probes said that day, and move the level of all of them: older
ones less (`old_samples.py`). So do handfuls that were squeezed, as far as they say something
(`handfuls.py`).
"""

from __future__ import annotations

from math import hypot
from typing import Final

import numpy as np

from underlid.binmodel.probes.calibrated import moisture_sd_pct
from underlid.binmodel.taught.handfuls import Handful, log_chance
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.old_samples import OldSamples, old_samples
from underlid.binmodel.taught.past import HOURS, Past
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal
from underlid.journal.entries import Sighting
from underlid.readings.moisture_line import (
    GAIN_PCT,
    GAIN_SD_PCT,
    LEVEL_SD_PCT,
    PLACE_SD_PCT,
    SAMPLE_SD_PCT,
    moisture_fit,
)
from underlid.science.numeric import Floats

SHIFTS_PCT: Final = np.linspace(-30.0, 30.0, 241)
"""Shifts that are tried, % points."""

AROUND_H: Final = 12
"""What a probe said within half a day of a sample, so that its daily wiggle is out."""

KNOWN_LEAST_H: Final = 6

ELSEWHERE_SD_PCT: Final = 6.0
"""Of a probe at a new place its old samples say little: contact with the bed is another (our judgement)."""

FURTHER_SD: Final = GAIN_SD_PCT / GAIN_PCT
"""A shift holds near the samples; each % point away adds so much doubt."""


def moisture(past: Past, name: str) -> tuple[Lesson, Lesson]:
    """Return the sd of the moisture and the shift by samples of the journal, both % points."""
    said = past.hourly("moisture_pct")
    lately = said[-24:][~np.isnan(said[-24:])]
    now = float(lately.mean()) if len(lately) else None
    window = past.window
    sds = [
        sd
        for place in window.places
        if (probe := window.probes.get(place.probe)) is not None
        and (sd := moisture_sd_pct(place, probe.channels, now)) is not None
    ]
    sd = min(sds, default=hypot(LEVEL_SD_PCT, PLACE_SD_PCT))
    points = sum(len(place.soil_points) for place in window.places)
    samples, squeezed = _samples(past, said), _handfuls(past, said)
    old = old_samples(past, sd)
    if not samples and not squeezed and old is None:
        return _sd(name, sd, points, 0, past), Lesson(
            0.0, 0.0, f"No sample of {name}'s bed was weighed lately."
        )
    if window.trust is not None and window.trust.is_elsewhere():
        sd = hypot(sd, ELSEWHERE_SD_PCT)
    before = max(sd**2 - PLACE_SD_PCT**2, 0.25)
    weight = normal(SHIFTS_PCT, 0.0, before**0.5) + log_chance(SHIFTS_PCT, squeezed)
    for _, told, read in samples:
        weight += normal(SHIFTS_PCT, told - read, SAMPLE_SD_PCT)
    if old is not None:
        weight += normal(SHIFTS_PCT, old.shift_pct, old.sd_pct)
    shift, shift_sd = mean_and_sd(SHIFTS_PCT, weight)
    reads = [read for _, _, read in samples] or ([old.read_pct] if old else [])
    reads = reads or [one.read_pct for one in squeezed]
    away = 0.0 if now is None else abs(now - float(np.mean(reads)))
    after = min(sd, hypot(hypot(shift_sd, PLACE_SD_PCT), FURTHER_SD * away))
    hours = [one[0] for one in (*samples, *squeezed)]
    first_ms = old.first_ms if old else past.at_ms(min(hours))
    weighed = len(samples) + (old.count if old else 0)
    return _sd(name, after, points, weighed, past, len(squeezed)), Lesson(
        round(shift, 1),
        round(shift_sd, 2),
        _words(past, name, (shift, shift_sd), samples, len(squeezed), old),
        weighed + len(squeezed),
        first_ms,
        past.at_ms(max(hours)) + 1 if hours else past.start_ms,
    )


def _words(
    past: Past,
    name: str,
    shift: tuple[float, float],
    samples: list[tuple[float, float, float]],
    squeezed: int,
    old: OldSamples | None,
) -> str:
    """Return what moved the level, by how much, and how long that counts."""
    what = "samples weighed" if samples or old else "handfuls squeezed"
    sources = [counted(len(samples), "weighed sample")] * bool(samples)
    sources += [counted(old.count, "older sample")] if old else []
    sources += [counted(squeezed, "handful")] * bool(squeezed)
    lasts = (
        "A sample counts for less with every month, and no more once the bin or its probe is moved"
        if samples or old
        else "They count for twelve days"
    )
    return (
        f"The {what} put {name}'s moisture {abs(shift[0]):.1f} points"
        f" {'above' if shift[0] >= 0.0 else 'below'} what its probes say (± {shift[1]:.1f}), learnt"
        f" from {' and '.join(sources)}. {lasts}{_for_good(past, samples) if samples else ''}."
    )


def _samples(past: Past, said: Floats) -> list[tuple[float, float, float]]:
    """Return hour, weighed moisture and what the probes said about then, oldest first."""
    samples = []
    for entry in past.entries:
        what = entry.what
        if not isinstance(what, Sighting) or what.moisture_pct is None:
            continue
        hour = past.hour_of(entry.at_ms)
        read = _around(said, hour)
        if read is not None:
            samples.append((hour, what.moisture_pct, read))
    return samples


def _handfuls(past: Past, said: Floats) -> list[Handful]:
    """Return the handfuls that were squeezed, with what the probes said about then."""
    found = []
    for entry in past.entries:
        squeeze = entry.what.squeeze if isinstance(entry.what, Sighting) else None
        read = _around(said, past.hour_of(entry.at_ms))
        if squeeze is not None and read is not None:
            found.append(Handful(past.hour_of(entry.at_ms), squeeze, read))
    return found


def _around(said: Floats, hour: float) -> float | None:
    """Return what the probes said about an hour; None where too little is known."""
    around = said[max(0, int(hour) - AROUND_H) : min(HOURS, int(hour) + AROUND_H)]
    known = around[~np.isnan(around)]
    return float(known.mean()) if len(known) >= KNOWN_LEAST_H else None


def _for_good(past: Past, samples: list[tuple[float, float, float]]) -> str:
    """Return what to note with the probe so that the newest sample counts for good."""
    for place in past.window.places:
        probe = past.window.probes.get(place.probe)
        fit = moisture_fit(place.soil_points)
        if probe is None or "moisture_pct" in probe.channels or fit is None:
            continue
        _, told, read = samples[-1]
        index = fit.index(read)
        return f"; as a soil point of {place.probe}, [{index:.2f}, {told:g}], it counts for good"
    return ""


def _sd(name: str, sd: float, points: int, lately: int, past: Past, squeezed: int = 0) -> Lesson:
    count = points + lately
    if squeezed and not count:
        text = (
            f"The moisture of {name} is good to {sd:.1f} points, by {counted(squeezed, 'handful')}: no"
            " sample has been weighed."
        )
        return Lesson(round(sd, 1), 0.0, text, squeezed, past.start_ms, past.until_ms)
    if not count:
        text = f"The moisture of {name} is good to {sd:.1f} points: no sample has been weighed."
        return Lesson(round(sd, 1), 0.0, text)
    text = (
        f"The moisture of {name} is good to {sd:.1f} points, by {counted(count, 'weighed sample')}."
    )
    return Lesson(round(sd, 1), 0.0, text, count, None if points else past.start_ms, past.until_ms)
