"""What a cheap probe makes of the truth: lag, offset, noise, steps, saturation, and its faults.

A `Sensor` measures one channel, a `SimulatedProbe` has several and may fail. Each has random numbers
of its own, so that adding a probe does not change what the others say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp
from random import Random
from typing import Final

from underlid.timeline import DAY_MS, HOUR_MS


class FaultKind(StrEnum):
    """How a probe can fail."""

    SPIKE = "spike"
    """Single values far off."""
    STUCK = "stuck"
    DRIFT = "drift"
    DROPOUT = "dropout"
    """Two thirds of the readings never come."""
    RAIL = "rail"
    """The converter at its end: an open or shorted wire."""
    SENTINEL = "sentinel"
    """The value that the sensor says instead of a temperature."""
    SILENT = "silent"
    NOISE = "noise"
    """A loose contact: values scatter widely."""
    MOVED = "moved"
    """The probe was put somewhere else in the bed: a step."""
    PULLED_OUT = "pulled_out"
    """The bed's sensors lie in the air above it."""
    WRONG_CLOCK = "wrong_clock"
    """The probe's clock is off by `size` hours."""
    SATURATED = "saturated"
    """The humidity sensor is wet and says 100 %."""
    LATE = "late"
    """Readings are kept and come all together when the fault is over."""
    SHUFFLED = "shuffled"
    """Each reading comes up to `size` hours late, out of order."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault of one probe, of all its channels or of one, for a time."""

    probe: str
    kind: FaultKind
    from_ms: int
    until_ms: int
    channel: str = ""
    again_ms: int = 0
    """It comes again every so often; 0 for never."""
    size: float = 1.0
    """How bad: a multiple of what the sensor's make has for this kind; of a clock or of late readings,
    hours."""

    def since_ms(self, at_ms: int) -> int:
        """Return the time since the fault last began; negative before the first time."""
        since_ms = at_ms - self.from_ms
        return since_ms % self.again_ms if self.again_ms and since_ms > 0 else since_ms

    def holds(self, at_ms: int, channel: str = "") -> bool:
        """Tell whether the fault touches *channel* at *at_ms*; "" asks for the probe."""
        inside = 0 <= self.since_ms(at_ms) < self.until_ms - self.from_ms
        return inside and ("" in (self.channel, channel) or channel == self.channel)


@dataclass(frozen=True, slots=True)
class Make:
    """What a kind of sensor adds to the truth."""

    noise: float
    offset_sd: float
    step: float
    lag_s: float
    drift_a_day: float
    """While the drift fault lasts."""
    spike: float
    rail: float
    sentinel: float
    scatter: float
    """Standard deviation while the noise fault lasts."""
    moved: float
    """Step when the probe is put somewhere else."""


MAKES: Final[dict[str, Make]] = {
    "bed_temp_c": Make(0.04, 0.15, 0.0625, 180.0, 0.6, 15.0, 85.0, 85.0, 2.5, 2.5),
    "headspace_temp_c": Make(0.05, 0.15, 0.01, 60.0, 0.6, 12.0, -127.0, 85.0, 2.5, 1.5),
    "headspace_rh_pct": Make(0.4, 0.9, 0.01, 120.0, 2.0, -30.0, 0.0, 0.0, 8.0, 4.0),
    "lid_temp_c": Make(0.05, 0.15, 0.0625, 90.0, 0.6, 12.0, 85.0, -127.0, 2.5, 1.5),
    "shed_temp_c": Make(0.05, 0.15, 0.01, 120.0, 0.6, 12.0, -127.0, 85.0, 2.5, 2.0),
    "shed_rh_pct": Make(0.4, 0.9, 0.01, 120.0, 2.0, -30.0, 0.0, 0.0, 8.0, 5.0),
    "soil_raw": Make(4.0, 10.0, 1.0, 0.0, 40.0, 600.0, 4095.0, 0.0, 120.0, 160.0),
    "battery_v": Make(0.004, 0.0, 0.001, 0.0, 0.05, -0.5, 0.0, 0.0, 0.2, 0.0),
}
"""After data sheets of common kinds: ±0.2..0.5 K, ±2 %RH, 12-bit converter (our judgement)."""

SPIKES_ONE_IN: Final = 40
DROPPED_SHARE: Final = 0.66

WET_ABOVE_PCT: Final = 80.0
WET_AFTER_H: Final = 60.0
WET_READS_HIGH_PCT: Final = 3.0
"""A humidity sensor left above 80 % reads up to 3 % high after 60 h (a common sensor's data sheet)."""

RH_MOST_PCT: Final = 100.0

IN_AIR_RAW: Final = 2760.0
"""Counts of a soil probe that hangs in the air."""


class Sensor:
    """One channel of one probe."""

    def __init__(self, channel: str, seed: str, worse: float = 1.0) -> None:
        """*worse* multiplies offset and noise of the usual make."""
        usual = MAKES[channel]
        self.channel = channel
        self.make = replace(usual, noise=usual.noise * worse, offset_sd=usual.offset_sd * worse)
        self._random = Random(f"{seed} {channel}")
        self._fault_random = Random(f"{seed} {channel} fault")
        self._offset = self._random.gauss(0.0, self.make.offset_sd)
        self._felt: float | None = None
        self._said: float | None = None
        self._wet_h = 0.0

    def read(self, truth: float, seconds: float, at_ms: int, fault: Fault | None) -> float:
        """Return what the sensor says, *seconds* after it was last asked."""
        make = self.make
        if self._felt is None or not make.lag_s:
            self._felt = truth
        else:
            self._felt += (truth - self._felt) * (1.0 - exp(-seconds / make.lag_s))
        value = self._felt + self._offset + self._random.gauss(0.0, make.noise)
        if self.channel.endswith("_rh_pct"):
            value = self._wet(value, seconds)
        chance = self._random.random()
        if fault is not None:
            value = self._failed(value, at_ms, fault, chance)
        value = round(round(value / make.step) * make.step, 4)
        self._said = value
        return value

    def _wet(self, value: float, seconds: float) -> float:
        wetter = 1.0 if self._felt is not None and self._felt > WET_ABOVE_PCT else -2.0
        self._wet_h = min(WET_AFTER_H, max(0.0, self._wet_h + wetter * seconds / 3600.0))
        high = WET_READS_HIGH_PCT * (self._wet_h / WET_AFTER_H) ** 2
        return min(RH_MOST_PCT, value + high)

    def _failed(self, value: float, at_ms: int, fault: Fault, chance: float) -> float:
        make = self.make
        if fault.kind is FaultKind.STUCK and self._said is not None:
            return self._said
        if fault.kind is FaultKind.DRIFT:
            return value + make.drift_a_day * fault.size * fault.since_ms(at_ms) / DAY_MS
        if fault.kind is FaultKind.RAIL:
            return make.rail
        if fault.kind is FaultKind.SENTINEL and make.sentinel:
            return make.sentinel
        if fault.kind is FaultKind.SPIKE and chance < 1.0 / SPIKES_ONE_IN:
            return value + make.spike * fault.size
        if fault.kind is FaultKind.NOISE:
            return value + self._fault_random.gauss(0.0, make.scatter * fault.size)
        if fault.kind is FaultKind.MOVED:
            return value + make.moved * fault.size
        if fault.kind is FaultKind.SATURATED and self.channel.endswith("_rh_pct"):
            return RH_MOST_PCT
        return value


class SimulatedProbe:
    """Sensors that report together, with a battery that runs down."""

    def __init__(
        self,
        probe: str,
        shed: str,
        bin_id: str | None,
        channels: Sequence[str],
        seed: str,
        worse: float = 1.0,
    ) -> None:
        self.probe = probe
        self.shed = shed
        self.bin = bin_id
        self.faults: list[Fault] = []
        self._sensors = [Sensor(channel, f"{seed} {probe}", worse) for channel in channels]
        self._random = Random(f"{seed} {probe} radio")
        self._road = Random(f"{seed} {probe} road")
        self._last_ms: int | None = None

    def read(self, truth: Mapping[str, float], at_ms: int) -> dict[str, float] | None:
        """Return what the probe sends, or None when nothing comes of it."""
        seconds = 0.0 if self._last_ms is None else (at_ms - self._last_ms) / 1000.0
        self._last_ms = at_ms
        faults = [one for one in self.faults if one.holds(at_ms)]
        if any(fault.kind is FaultKind.PULLED_OUT for fault in faults):
            truth = {**truth, **_in_air(truth)}
        values = {
            one.channel: one.read(
                truth[one.channel], seconds, at_ms, _touching(faults, at_ms, one.channel)
            )
            for one in self._sensors
        }
        lost = self._random.random() < DROPPED_SHARE
        for fault in faults:
            if fault.kind is FaultKind.SILENT or (fault.kind is FaultKind.DROPOUT and lost):
                return None
        return values

    def clock_ms(self, at_ms: int) -> int:
        """Return what the probe's clock says at *at_ms*."""
        wrong = [one for one in self.faults if one.kind is FaultKind.WRONG_CLOCK]
        return at_ms + sum(round(one.size * HOUR_MS) for one in wrong if one.holds(at_ms))

    def received_ms(self, at_ms: int) -> int:
        """Return when a reading of *at_ms* arrives."""
        come = [at_ms]
        for one in self.faults:
            if one.kind is FaultKind.LATE and one.holds(at_ms):
                come.append(at_ms + one.until_ms - one.from_ms - one.since_ms(at_ms))
            elif one.kind is FaultKind.SHUFFLED and one.holds(at_ms):
                come.append(at_ms + round(self._road.uniform(0.0, one.size) * HOUR_MS))
        return max(come)


def _in_air(truth: Mapping[str, float]) -> dict[str, float]:
    """Return what the bed's sensors feel when they lie on top of it."""
    return {"bed_temp_c": truth["headspace_temp_c"], "soil_raw": IN_AIR_RAW}


def _touching(faults: Sequence[Fault], at_ms: int, channel: str) -> Fault | None:
    return next((one for one in faults if one.holds(at_ms, channel)), None)


def battery_v(age_ms: int) -> float:
    """Return the voltage of a cell that lasts about four months."""
    return 4.12 - 0.55 * min(1.0, age_ms / HOUR_MS / 2900.0)
