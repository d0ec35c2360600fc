"""Windows with known answers for the lessons: series made here by their own formulas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Shed
from underlid.binmodel.herd import limits_of
from underlid.binmodel.probes.hot import BUCKET_MS, HotProbe
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed, Portion, Sighting, What
from underlid.timeline import DAY_MS, HOUR_MS

Floats = npt.NDArray[np.float64]

DAYS = 13
BUCKETS = DAYS * 288
START_MS = 1_760_000_000_000 // DAY_MS * DAY_MS
NOW_MS = START_MS + DAYS * DAY_MS
HOURS = np.arange(BUCKETS) / 12.0
"""Hours since the start, at each 5-minute bucket; the lessons see the last twelve days."""


@dataclass(frozen=True, slots=True)
class Buckets:
    """What a store hands over."""

    start_ms: npt.NDArray[np.int64]
    low: dict[str, Floats]
    mean: dict[str, Floats]
    high: dict[str, Floats]
    count: dict[str, npt.NDArray[np.int64]]


def window(
    series: Mapping[str, Floats],
    entries: Sequence[Entry] = (),
    kind: BinKind = BinKind.PLASTIC_TOTE,
    place: ProbePlace | None = None,
    now_ms: int = NOW_MS,
) -> BinWindow:
    """Return a bin's window that holds *series*, one value a bucket from `START_MS` on."""
    bin_ = Bin("tansy", "potting", "Tansy", kind)
    place = place or ProbePlace("tansy-1", "potting", "tansy")
    air = ProbePlace("air", "potting", None)
    probes = {"tansy-1": HotProbe(), "air": HotProbe()}
    for probe, is_air in (("tansy-1", False), ("air", True)):
        own = {name: one for name, one in series.items() if name.startswith("shed_") is is_air}
        if own:
            probes[probe].fill(buckets(own))
    return BinWindow(
        bin_, Shed("potting"), limits_of(bin_), now_ms, (place,), (air,), probes, {}, tuple(entries)
    )


def buckets(series: Mapping[str, Floats]) -> Buckets:
    """Return *series* as a store sums it up."""
    starts = START_MS + np.arange(BUCKETS, dtype=np.int64) * BUCKET_MS
    counts = {name: (~np.isnan(one)).astype(np.int64) for name, one in series.items()}
    known = {name: np.nan_to_num(one) for name, one in series.items()}
    return Buckets(starts, known, known, known, counts)


def entry(hour: float, what: What) -> Entry:
    """Return a journal entry *hour* hours after the start."""
    at_ms = START_MS + round(hour * HOUR_MS)
    return Entry(f"{type(what).__name__}-{hour}", "tansy", at_ms, at_ms, what)


def fed(hour: float, mass_g: float, ingredient: str = "vegetable-scraps") -> Entry:
    return entry(hour, Feed((Portion(ingredient, mass_g),)))


def seen(hour: float, **what: object) -> Entry:
    return entry(hour, Sighting(**what))  # type: ignore[arg-type]


def weather(rng: np.random.Generator, mean_c: float = 18.0, swing_k: float = 2.0) -> Floats:
    """Return shed air: a daily swing and a slow random course."""
    knots = np.cumsum(rng.normal(0.0, 0.35, DAYS * 8 + 1))
    slow = np.interp(HOURS, np.arange(DAYS * 8 + 1) * 3.0, knots - knots.mean())
    day: Floats = swing_k * np.cos(2 * np.pi * (HOURS - rng.uniform(0, 24)) / 24)
    result: Floats = mean_c + slow + day
    return result


def lagged(air: Floats, tau_h: float) -> Floats:
    """Return a lump without own heat in *air*: exact for air that is constant within a bucket."""
    keeps = float(np.exp(-1.0 / 12.0 / tau_h))
    out = np.empty_like(air)
    held = float(air[0])
    for place, value in enumerate(air.tolist()):
        held = keeps * held + (1.0 - keeps) * value
        out[place] = held
    return out
