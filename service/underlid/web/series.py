"""A bin's curves for a picture: measured channels calibrated, computed ones beside them.

Each point stands for one step with its lowest, mean and highest value, so that a narrow picture of
a long time still shows every peak. Steps are chosen so that no more points come than were asked for.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from underlid.binmodel.bins import ProbePlace, Setup
from underlid.binmodel.probes.calibrated import calibrate
from underlid.readings.plausibility import believable, doubt
from underlid.storage.protocols import Buckets, Floats, Integers
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from underlid.web.context import Context, DerivedSeries

STEPS_MS: Final = (
    *(minutes * MINUTE_MS for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_MS for hours in (1, 2, 3, 6, 12, 24)),
    *(days * DAY_MS for days in (2, 4, 7, 14, 28, 91, 365)),
)
POINTS_MOST: Final = 2000
"""Points of one answer: more than any screen has columns for one picture."""

MOISTURE: Final = "moisture_pct"
AIR_CHANNELS: Final = ("shed_temp_c", "shed_rh_pct")


@dataclass(frozen=True, slots=True)
class Band:
    """One channel's points: lowest, mean, highest of each step, NaN where nothing was said."""

    low: Floats
    mean: Floats
    high: Floats

    def shifted(self, by: float) -> Band:
        """Return all three that much higher."""
        return Band(self.low + by, self.mean + by, self.high + by)


@dataclass(frozen=True, slots=True)
class Curves:
    """All channels of a bin over the same steps."""

    start_ms: Integers
    step_ms: int
    bands: dict[str, Band]


def step_for(span_ms: int, points: int) -> int:
    """Return the smallest step that gives at most *points* points.

    >>> step_for(7 * 24 * 3_600_000, 700) // 60_000
    15
    """
    points = max(1, min(points, POINTS_MOST))
    for step_ms in STEPS_MS:
        if span_ms <= step_ms * points:
            return step_ms
    return -(-span_ms // points // DAY_MS) * DAY_MS


def places_of(setup: Setup, bin_id: str) -> list[ProbePlace]:
    """Return the probes that say something of a bin: those in it, and its shed's air probe."""
    shed = setup.bins[bin_id].shed
    air = setup.sheds[shed].air_probe if shed in setup.sheds else None
    return [
        place
        for place in setup.probes.values()
        if place.bin == bin_id or (place.shed == shed and (place.bin is None or place.probe == air))
    ]


def curves_of(
    context: Context, setup: Setup, bin_id: str, start_ms: int, end_ms: int, points: int
) -> Curves:
    """Return everything that was measured and computed for a bin in [start_ms, end_ms)."""
    step_ms = step_for(end_ms - start_ms, points)
    start_ms = start_ms // step_ms * step_ms
    starts = np.arange(start_ms, end_ms, step_ms, dtype=np.int64)
    found: dict[str, list[Band]] = {}
    for place in places_of(setup, bin_id):
        buckets = context.readings.buckets(place.probe, start_ms, end_ms, step_ms)
        only_air = place.bin != bin_id
        for channel, band in _calibrated(place, buckets, starts).items():
            if not only_air or channel in AIR_CHANNELS:
                found.setdefault(channel, []).append(band)
    bands = {channel: _joined(parts) for channel, parts in found.items()}
    shift_pct = moisture_shift_pct(context.judged.state(bin_id))
    if shift_pct and MOISTURE in bands:
        bands[MOISTURE] = bands[MOISTURE].shifted(shift_pct)
    derived = context.judged.derived(bin_id)
    if derived is not None:
        for channel, band in _stepped(derived, starts, step_ms).items():
            bands.setdefault(channel, band)
    return Curves(starts, step_ms, bands)


def newest_of(
    context: Context, setup: Setup, bin_id: str, fresh_since_ms: int
) -> dict[str, tuple[float, int]]:
    """Return each measured channel's newest value and its time, when fresh and believable."""
    places = {place.probe: place for place in places_of(setup, bin_id)}
    newest: dict[str, tuple[float, int]] = {}
    for seen in context.readings.probes_seen():
        place = places.get(seen.probe)
        if place is None or seen.last_taken_at_ms < fresh_since_ms:
            continue
        for channel, value in believed_now(place, seen.last_taken_at_ms, seen.last_values).items():
            if place.bin != bin_id and channel not in AIR_CHANNELS:
                continue
            if channel not in newest or newest[channel][1] < seen.last_taken_at_ms:
                newest[channel] = (value, seen.last_taken_at_ms)
    return newest


def moisture_shift_pct(state: Mapping[str, Any] | None) -> float:
    """Return what samples in the journal add to a bin's moisture, by its judge's state."""
    lessons = (state or {}).get("lessons") or {}
    return float((lessons.get("moisture_shift_pct") or {}).get("value") or 0.0)


def calibrated_now(
    place: ProbePlace, taken_at_ms: int, values: dict[str, float]
) -> dict[str, float]:
    """Return one reading's values as they are shown."""
    columns = {name: np.array([value]) for name, value in values.items()}
    shown = calibrate(place, np.array([taken_at_ms], dtype=np.int64), columns)
    return {name: float(column[0]) for name, column in shown.items() if np.isfinite(column[0])}


def believed_now(place: ProbePlace, taken_at_ms: int, values: dict[str, float]) -> dict[str, float]:
    """Return what one reading says of the bin: without what a broken sensor says."""
    sound = {name: value for name, value in values.items() if doubt(name, value) is None}
    shown = calibrated_now(place, taken_at_ms, sound)
    return {name: value for name, value in shown.items() if doubt(name, value) is None}


def _calibrated(place: ProbePlace, buckets: Buckets, starts: Integers) -> dict[str, Band]:
    """Return a probe's buckets as they are shown; calibrations are monotone, so ends stay ends.

    A bucket with a value in it that is not believable has a wrong mean too and is left out.
    """
    sound = {
        channel: believable(channel, low) & believable(channel, buckets.high[channel])
        for channel, low in buckets.low.items()
    }
    lows, means, highs = (
        calibrate(
            place,
            buckets.start_ms,
            {name: np.where(sound[name], column, np.nan) for name, column in columns.items()},
        )
        for columns in (buckets.low, buckets.mean, buckets.high)
    )
    return {
        channel: Band(
            *(
                _on(starts, buckets.start_ms, column)
                for column in (
                    np.fmin(lows[channel], highs[channel]),
                    means[channel],
                    np.fmax(lows[channel], highs[channel]),
                )
            )
        )
        for channel in means
    }


def _on(starts: Integers, own_starts: Integers, column: Floats) -> Floats:
    """Return *column* on the common steps."""
    if len(own_starts) == len(starts) and np.array_equal(own_starts, starts):
        return column
    laid = np.full(len(starts), np.nan)
    at = np.searchsorted(starts, own_starts)
    fits = (at < len(starts)) & (starts[np.minimum(at, len(starts) - 1)] == own_starts)
    laid[at[fits]] = column[fits]
    return laid


def _joined(parts: list[Band]) -> Band:
    """Return several probes' bands of one channel as one: widest ends, mean of the means."""
    if len(parts) == 1:
        return parts[0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        mean = np.nanmean([part.mean for part in parts], axis=0)
    return Band(
        np.fmin.reduce([part.low for part in parts]),
        mean,
        np.fmax.reduce([part.high for part in parts]),
    )


def _stepped(derived: DerivedSeries, starts: Integers, step_ms: int) -> dict[str, Band]:
    """Return the computed 5-minute series over the picture's steps."""
    if not len(starts) or not len(derived.start_ms):
        return {}
    where = (derived.start_ms - int(starts[0])) // step_ms
    inside = (where >= 0) & (where < len(starts))
    bands = {}
    for channel, values in derived.series.items():
        good = inside & np.isfinite(values)
        at, kept = where[good], values[good]
        if not len(kept):
            continue
        count = np.bincount(at, minlength=len(starts)).astype(np.float64)
        total = np.bincount(at, weights=kept, minlength=len(starts))
        with np.errstate(invalid="ignore"):
            mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
        bands[channel] = Band(
            _extreme(at, kept, len(starts), np.minimum.at, np.inf),
            mean,
            _extreme(at, kept, len(starts), np.maximum.at, -np.inf),
        )
    return bands


def _extreme(
    at: Integers, values: Floats, size: int, take: Callable[..., None], start: float
) -> Floats:
    """Return the least or greatest value of every step."""
    column = np.full(size, start)
    take(column, at, values)
    column[np.isinf(column)] = np.nan
    return column


def rounded(values: Floats, decimals: int = 2) -> list[float | None]:
    """Return numbers for JSON: rounded, None where there is none."""
    shown = np.round(values, decimals).astype(object)
    shown[~np.isfinite(values)] = None
    numbers: list[float | None] = shown.tolist()
    return numbers
