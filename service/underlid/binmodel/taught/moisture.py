"""How sure the bed's moisture is, and what samples weighed lately add to it.

Samples that belong to a probe make its line (`readings.moisture_line`). Those that stand in the
journal alone are compared with what the probes said that day, and move the level of all of them.
"""

from __future__ import annotations

from math import hypot
from typing import Final

import numpy as np

from underlid.binmodel.calibrated import index_line, moisture_sd_pct
from underlid.binmodel.lessons import Lesson
from underlid.binmodel.taught.past import HOURS, Past
from underlid.binmodel.taught.posterior import counted
from underlid.journal.entries import Sighting
from underlid.readings.moisture_line import (
    GAIN_PCT,
    GAIN_SD_PCT,
    LEVEL_SD_PCT,
    PLACE_SD_PCT,
    SAMPLE_SD_PCT,
)
from underlid.science.numeric import Floats

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
    samples = _samples(past, said)
    if not samples:
        return _sd(name, sd, points, 0, past), Lesson(
            0.0, 0.0, f"No sample of {name}'s bed was weighed in the last twelve days."
        )
    beside = float(np.mean([told - read for _, told, read in samples]))
    if window.trust is not None and window.trust.is_elsewhere():
        sd = hypot(sd, ELSEWHERE_SD_PCT)
    before, each = sd**2 - PLACE_SD_PCT**2, SAMPLE_SD_PCT**2 / len(samples)
    before = max(before, 0.25)
    shift, shift_sd = beside * before / (before + each), (before * each / (before + each)) ** 0.5
    away = 0.0 if now is None else abs(now - float(np.mean([read for _, _, read in samples])))
    after = min(sd, hypot(hypot(shift_sd, PLACE_SD_PCT), FURTHER_SD * away))
    text = (
        f"The samples weighed lately put {name}'s moisture {abs(shift):.1f} points"
        f" {'above' if shift >= 0.0 else 'below'} what its probes say (± {shift_sd:.1f}), learnt from"
        f" {counted(len(samples), 'weighed sample')}. They count for twelve days{_for_good(past, samples)}."
    )
    from_ms, until_ms = past.at_ms(samples[0][0]), past.at_ms(samples[-1][0]) + 1
    return _sd(name, after, points, len(samples), past), Lesson(
        round(shift, 1), round(shift_sd, 2), text, len(samples), from_ms, until_ms
    )


def _samples(past: Past, said: Floats) -> list[tuple[float, float, float]]:
    """Return hour, weighed moisture and what the probes said about then, oldest first."""
    samples = []
    for entry in past.entries:
        what = entry.what
        if not isinstance(what, Sighting) or what.moisture_pct is None:
            continue
        hour = past.hour_of(entry.at_ms)
        around = said[max(0, int(hour) - AROUND_H) : min(HOURS, int(hour) + AROUND_H)]
        known = around[~np.isnan(around)]
        if len(known) >= KNOWN_LEAST_H:
            samples.append((hour, what.moisture_pct, float(known.mean())))
    return samples


def _for_good(past: Past, samples: list[tuple[float, float, float]]) -> str:
    """Return what to note with the probe so that the newest sample counts for good."""
    for place in past.window.places:
        probe = past.window.probes.get(place.probe)
        line = index_line(place)
        if probe is None or "moisture_pct" in probe.channels or line is None:
            continue
        _, told, read = samples[-1]
        index = (read - line.offset) / line.gain
        return f"; as a soil point of {place.probe}, [{index:.2f}, {told:g}], they count for good"
    return ""


def _sd(name: str, sd: float, points: int, lately: int, past: Past) -> Lesson:
    count = points + lately
    if not count:
        text = f"The moisture of {name} is good to {sd:.1f} points: no sample has been weighed."
        return Lesson(round(sd, 1), 0.0, text)
    text = (
        f"The moisture of {name} is good to {sd:.1f} points, by {counted(count, 'weighed sample')}."
    )
    return Lesson(round(sd, 1), 0.0, text, count, None if points else past.start_ms, past.until_ms)
