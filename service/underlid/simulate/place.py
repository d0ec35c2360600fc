"""A simulated place: sheds with their air, bins, probes, and a keeper who does what is planned.

`run` moves everything on and returns what the probes sent, what the keeper wrote and what was true.
It can be asked in any number of stretches; the result is the same. `scenario.py` has a plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from underlid.binmodel.bins import Setup
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import Reading
from underlid.science.condensation import film_band
from underlid.simulate.deeds import apply, wipe_lid
from underlid.simulate.physics import Around, PhysicalBin, saturated_kg_m3
from underlid.simulate.sensors import SimulatedProbe, battery_v
from underlid.simulate.weather import Weather
from underlid.timeline import MINUTE_MS, SECOND_MS

STEP_MS: Final = MINUTE_MS
"""Beds have time constants of hours; with a minute the error is below 0.02 K (tested)."""

TRUTH_EVERY_MS: Final = 5 * MINUTE_MS

LOOK: Final = "look"
"""A planned visit: the keeper writes down what the lid and the walls look like."""

WIPE: Final = "wipe"
"""A planned visit: the keeper wipes the lid dry, and writes that down."""

LID_LOOKS: Final = {
    "dry": "dry",
    "mist": "mist",
    "drops": "drops",
    "runs": "drops",
    "drips": "dripping",
}

CLIMB_ABOVE_C: Final = 29.0
CLIMB_WET_PCT: Final = 86.0
"""Worms leave a bed that is too hot or too wet (our judgement)."""


@dataclass(frozen=True, slots=True)
class Act:
    """What the keeper does at a time: the fields of a journal entry, or of a `look`."""

    at_ms: int
    bin: str
    fields: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Truth:
    """A bin as it really was at one moment."""

    at_ms: int
    bin: str
    values: Mapping[str, float]


@dataclass(slots=True)
class Stretch:
    """What came of a run, each in time order of what it tells of."""

    readings: list[Reading] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    truths: list[Truth] = field(default_factory=list)


class SimulatedPlace:
    """Everything that is simulated, at one moment."""

    def __init__(
        self,
        setup: Setup,
        start_ms: int,
        *,
        weathers: Mapping[str, Weather],
        moistures_pct: Mapping[str, float],
        probes: Sequence[SimulatedProbe],
        acts: Iterable[Act] = (),
        every_ms: int = MINUTE_MS,
        step_ms: int = STEP_MS,
    ) -> None:
        if every_ms % step_ms or every_ms <= 0:
            raise UnderlidError(
                "time between readings",
                value=f"{every_ms / SECOND_MS:g} s",
                expected=f"whole steps of {step_ms / SECOND_MS:g} s",
                next_step="Choose 60, 120, 300 or another multiple.",
            )
        self.setup = setup
        self.now_ms = start_ms
        self._start_ms = start_ms
        self._weathers = weathers
        self._probes = probes
        self._acts: Iterator[Act] = iter(acts)
        self._act = next(self._acts, None)
        self._every_ms = every_ms
        self._step_ms = step_ms
        self.bins = {
            bin_.id: PhysicalBin.of(
                bin_, moistures_pct.get(bin_.id, 76.0), weathers[bin_.shed].at(start_ms).temp_c
            )
            for bin_ in setup.bins.values()
        }

    def run(self, until_ms: int) -> Stretch:
        """Move on to *until_ms*; return what happened from now to just before it."""
        stretch = Stretch()
        seconds = self._step_ms / SECOND_MS
        while self.now_ms < until_ms:
            self._keeper(stretch)
            air = {shed: weather.at(self.now_ms) for shed, weather in self._weathers.items()}
            since = self.now_ms - self._start_ms
            for bin_ in self.bins.values():
                bin_.step(seconds, air[bin_.bin.shed])
            if since % self._every_ms == 0:
                self._report(air, stretch)
            if since % TRUTH_EVERY_MS == 0:
                stretch.truths += [
                    Truth(self.now_ms, bin_id, truth_of(bin_)) for bin_id, bin_ in self.bins.items()
                ]
            self.now_ms += self._step_ms
        return stretch

    def _keeper(self, stretch: Stretch) -> None:
        """Do what is planned up to now."""
        while self._act is not None and self._act.at_ms <= self.now_ms:
            act, self._act = self._act, next(self._acts, None)
            if act.at_ms < self._start_ms or act.bin not in self.bins:
                continue
            fields = dict(act.fields)
            if fields.get("kind") == WIPE:
                wipe_lid(self.bins[act.bin])
                fields["text"] = "Wiped the lid."
            if fields.get("kind") in (LOOK, WIPE):
                fields |= {"kind": "sighting", **looks_of(self.bins[act.bin])}
            entry = entry_from_fields(
                {"bin": act.bin, "time": act.at_ms / SECOND_MS, **fields},
                known_at_ms=act.at_ms,
                new_id=f"{act.bin}-{act.at_ms // SECOND_MS:x}-{fields['kind']}",
            )
            apply(self.bins[act.bin], entry.what)
            stretch.entries.append(entry)

    def _report(self, air: Mapping[str, Around], stretch: Stretch) -> None:
        """Let every probe send."""
        for probe in self._probes:
            around = air[probe.shed]
            truth = {
                "shed_temp_c": around.temp_c,
                "shed_rh_pct": 100.0 * around.vapour_kg_m3 / saturated_kg_m3(around.temp_c),
                "battery_v": battery_v(self.now_ms - self._start_ms),
            }
            if probe.bin is not None:
                truth |= measurable(self.bins[probe.bin])
            values = probe.read(truth, self.now_ms)
            if values is not None:
                received_ms = probe.received_ms(self.now_ms)
                stretch.readings.append(
                    Reading(probe.probe, probe.shed, self.now_ms, received_ms, values)
                )


def measurable(bin_: PhysicalBin) -> dict[str, float]:
    """Return the true value of everything a probe in the bin could measure."""
    return {
        "bed_temp_c": bin_.bed_c,
        "headspace_temp_c": bin_.head_c,
        "headspace_rh_pct": bin_.rh_pct,
        "lid_temp_c": bin_.lid_c,
        "soil_raw": soil_raw(bin_.moisture_pct, bin_.bed_c),
    }


def truth_of(bin_: PhysicalBin) -> dict[str, float]:
    """Return a bin's whole state."""
    return {
        **{name: round(value, 3) for name, value in measurable(bin_).items() if name != "soil_raw"},
        "moisture_pct": round(bin_.moisture_pct, 3),
        "lid_film_g_m2": round(bin_.film_g_m2, 2),
        "condensing_g_m2_h": round(bin_.flux_g_m2_h, 3),
        "decay_heat_w": round(bin_.heat_w, 3),
        "food_kg": round(bin_.scraps_kg + bin_.pulp_kg, 4),
        "herd_kg": round(bin_.herd_kg, 4),
        "water_drained_kg": round(bin_.account.water_drained_kg, 4),
    }


SOIL_DRY_RAW: Final = 2750.0
SOIL_WET_RAW: Final = 1150.0

SOIL_BEND: Final = 0.0012
SOIL_COUNTS_K: Final = -2.2
"""A capacitive probe is not straight, and warms with the bed: a wiggle of 0.1 % point per kelvin."""


def soil_raw(moisture_pct: float, temp_c: float) -> float:
    """Return the counts of a capacitive probe.

    >>> round(soil_raw(62.0, 20.0)), round(soil_raw(78.0, 20.0))
    (2110, 1758)
    """
    beyond = moisture_pct - 62.0
    index = 0.40 + 0.01375 * beyond + SOIL_BEND * beyond * (beyond - 16.0) / 16.0
    counts = SOIL_DRY_RAW - index * (SOIL_DRY_RAW - SOIL_WET_RAW)
    return counts + SOIL_COUNTS_K * (temp_c - 20.0)


def looks_of(bin_: PhysicalBin) -> dict[str, object]:
    """Return what a keeper sees who lifts the lid."""
    troubled = bin_.bed_c > CLIMB_ABOVE_C or bin_.moisture_pct > CLIMB_WET_PCT
    moisture = bin_.moisture_pct
    squeeze = (
        "crumbles"
        if moisture < 66
        else "damp"
        if moisture < 79
        else "drops"
        if moisture < 86
        else "trickle"
    )
    return {
        "lid": LID_LOOKS[film_band(bin_.film_g_m2)],
        "climbers": "many" if troubled else "none",
        "squeeze": squeeze,
        "smell": "sour" if bin_.air_share < 0.2 else "earthy",
        "used_up": "yes" if bin_.scraps_kg + bin_.pulp_kg < 0.02 else "no",
    }
