"""Made-up bins whose sensors fail: sines and noise, no simulator, and the trust that comes of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from underlid.binmodel.bins import Bin, ProbePlace, Shed
from underlid.binmodel.faults.fault import Cause, Fault
from underlid.binmodel.herd import limits_of
from underlid.binmodel.probes.hot import BUCKET_MS, HotProbe
from underlid.binmodel.probes.vitals import Vitals
from underlid.binmodel.trust import Trust
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry
from underlid.readings.values import Reading
from underlid.timeline import DAY_MS, HOUR_MS

Floats = npt.NDArray[np.float64]

START_MS = 1_790_000_000_000 // DAY_MS * DAY_MS
PROBE, AIR = "tansy-1", "air1"
BIN = Bin("tansy", "potting", "Tansy")
PLACE = ProbePlace(PROBE, "potting", "tansy", soil_dry_raw=2750, soil_wet_raw=1150)
AIR_PLACE = ProbePlace(AIR, "potting", None)

STEPS = {
    "bed_temp_c": 0.0625,
    "headspace_temp_c": 0.01,
    "headspace_rh_pct": 0.01,
    "soil_raw": 1.0,
    "shed_temp_c": 0.01,
    "shed_rh_pct": 0.01,
}
NOISE = {
    "bed_temp_c": 0.04,
    "headspace_temp_c": 0.05,
    "headspace_rh_pct": 0.4,
    "soil_raw": 4.0,
    "shed_temp_c": 0.05,
    "shed_rh_pct": 0.4,
}


@dataclass
class Series:
    """Values at the same times: `hours` since the start, a column a channel, NaN for nothing."""

    hours: Floats
    values: dict[str, Floats]

    def change(self, channel: str, what: Callable[[Floats, Floats], Floats]) -> Series:
        """Return the series with one channel made anew from hours and values."""
        made = what(self.hours, self.values[channel].copy())
        return Series(self.hours, self.values | {channel: made})

    def readings(self, until_h: float = 1e9) -> list[Reading]:
        """Return the readings of both probes."""
        made = []
        for at, hour in enumerate(self.hours.tolist()):
            if hour >= until_h:
                break
            at_ms = START_MS + round(hour * HOUR_MS)
            for probe in (PROBE, AIR):
                values = {
                    name: float(column[at])
                    for name, column in self.values.items()
                    if name.startswith("shed_") == (probe == AIR) and not np.isnan(column[at])
                }
                if values:
                    made.append(Reading(probe, "potting", at_ms, at_ms, values))
        return made


def healthy(
    days: float = 6.0,
    step_min: float = 5.0,
    *,
    swing_k: float = 2.0,
    own_k: float = 0.8,
    share: float = 0.6,
    tau_h: float = 5.0,
    seed: int = 1,
    steps: dict[str, float] | None = None,
    noise: float = 1.0,
    own: Callable[[Floats], Floats] | None = None,
) -> Series:
    """Return a bin in good health: the shed's day, a bed that follows it, a headspace between.

    `own` gives self-heat over hours, K; `noise` scales the sensors' noise.
    """
    hours = np.arange(0.0, days * 24.0, step_min / 60.0)
    day = 2.0 * np.pi / 24.0
    slow = 0.7 * np.sin(day * hours / 3.7 + seed)
    shed = 19.0 + swing_k * np.sin(day * (hours - 9.0)) + slow
    damped = swing_k / np.hypot(1.0, day * tau_h)
    bed = 19.0 + damped * np.sin(day * (hours - 9.0) - np.arctan(day * tau_h)) + slow
    bed = bed + (own(hours) if own else own_k)
    head = shed + share * (bed - shed)
    rh = 92.0 + 1.5 * (head - 19.0 - 0.5 * own_k) / 2.0
    true = {
        "bed_temp_c": bed,
        "headspace_temp_c": head,
        "headspace_rh_pct": np.minimum(rh, 100.0),
        "soil_raw": 1770.0 + 3.0 * (bed - 19.0) + hours / 8.0,
        "shed_temp_c": shed,
        "shed_rh_pct": 62.0 - 2.0 * (shed - 19.0),
    }
    rng = np.random.default_rng(seed)
    steps = STEPS | (steps or {})
    values = {}
    for name, column in true.items():
        said = column + noise * NOISE[name] * rng.standard_normal(len(hours))
        if name.endswith("_rh_pct"):
            said = np.minimum(said, 100.0)
        values[name] = np.round(said / steps[name]) * steps[name]
    return Series(hours, values)


class Watched:
    """The trust of one bin, fed and asked bucket by bucket or all at once."""

    def __init__(self, entries: Iterable[Entry] = (), kept: tuple[str, ...] = ()) -> None:
        self.probes = {PROBE: HotProbe(), AIR: HotProbe()}
        self.vitals = {PROBE: Vitals(), AIR: Vitals()}
        self.trust = Trust(START_MS, BIN.id)
        self.trust.rewind(0)
        self.entries = tuple(entries)
        self.kept = kept

    def add(self, readings: Iterable[Reading]) -> None:
        for one in readings:
            values = {
                name: value
                for name, value in one.values.items()
                if not self.kept or name in self.kept
            }
            self.probes[one.probe].add(one.taken_at_ms, values)
            self.vitals[one.probe].add(one)

    def window(self, hour: float) -> BinWindow:
        now_ms = START_MS + round(hour * HOUR_MS)
        return BinWindow(
            bin=BIN,
            shed=Shed("potting", air_probe=AIR),
            limits=limits_of(BIN),
            now_ms=now_ms,
            places=(PLACE,),
            air_places=(AIR_PLACE,),
            probes=self.probes,
            vitals=self.vitals,
            entries=tuple(one for one in self.entries if one.at_ms <= now_ms),
            trust=self.trust,
        )

    def judge(self, hour: float) -> int | None:
        end = (START_MS + round(hour * HOUR_MS)) // BUCKET_MS
        earliest = [probe.settle(end) for probe in self.probes.values()]
        for one in earliest:
            if one is not None:
                self.trust.rewind(one)
        return self.trust.advance(self.window(hour))

    def faults(self) -> list[Fault]:
        return [one for probe in (PROBE, AIR) for one in self.trust.faults(probe)]


def watched(
    series: Series,
    until_h: float | None = None,
    every_min: float = 60.0,
    entries: Iterable[Entry] = (),
    kept: tuple[str, ...] = (),
) -> tuple[Watched, list[tuple[float, Fault]]]:
    """Return the trust at the end, and each fault with the hour at which it was first told."""
    bin_ = Watched(entries, kept)
    until = until_h if until_h is not None else float(series.hours[-1])
    queue = series.readings(until)
    place = 0
    told: dict[tuple[str, str, str], tuple[float, Fault]] = {}
    for now in np.arange(0.0, until + 1e-9, every_min / 60.0).tolist():
        now_ms = START_MS + round(now * HOUR_MS)
        before = place
        while place < len(queue) and queue[place].taken_at_ms < now_ms:
            place += 1
        bin_.add(queue[before:place])
        bin_.judge(now)
        for one in bin_.faults():
            told.setdefault((one.probe, one.channel, one.cause.value), (now, one))
    return bin_, list(told.values())


FROM_H, UNTIL_H, DAYS = 96.0, 144.0, 8
"""When a fault lasts, and days of a series."""

Change = Callable[[Floats, Floats], Floats]


def while_it_lasts(what: Change) -> Change:
    def change(hours: Floats, values: Floats) -> Floats:
        at = (hours >= FROM_H) & (hours < UNTIL_H)
        values[at] = what(hours[at], values[at])
        return values

    return change


def hour_of(bucket: int) -> float:
    return (bucket * BUCKET_MS - START_MS) / HOUR_MS


def causes(told: list[tuple[float, Fault]]) -> set[tuple[str, Cause]]:
    return {(one.channel, one.cause) for _, one in told}


def first(told: list[tuple[float, Fault]], cause: Cause) -> tuple[float, Fault]:
    return min((one for one in told if one[1].cause is cause), key=lambda one: one[0])
