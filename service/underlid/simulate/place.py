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
from underlid.journal.entries import Entry, LiquidAdded
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import Reading
from underlid.simulate.deeds import apply, wipe_lid
from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.simulate.looks import looks_of, tended
from underlid.simulate.physics import PhysicalBin
from underlid.simulate.sensors import SimulatedProbe, battery_v
from underlid.simulate.soil import USUAL_SOIL, SoilCurve, soil_raw
from underlid.simulate.weather import Air
from underlid.timeline import MINUTE_MS, SECOND_MS

STEP_MS: Final = MINUTE_MS
"""Beds have time constants of hours; with a minute the error is below 0.02 K (tested)."""

TRUTH_EVERY_MS: Final = 5 * MINUTE_MS

LOOK: Final = "look"
"""A planned visit: the keeper writes down what the lid and the walls look like."""

WIPE: Final = "wipe"
"""A planned visit: the keeper wipes the lid dry, and writes that down."""

WEIGH: Final = "weigh"
"""A planned visit: a sample of the bed is weighed, dried and weighed again."""

TEND: Final = "tend"
"""A planned visit: the keeper squeezes a handful, and gives water or bedding if the bed needs it."""

RAIN: Final = "rain"
"""Not the keeper's doing: water comes in, `mass_g` of it, and nobody writes it down."""


@dataclass(frozen=True, slots=True)
class Act:
    """What the keeper does at a time: the fields of a journal entry, or of a `look`."""

    at_ms: int
    bin: str
    fields: Mapping[str, object]
    open_min: float = 0.0
    """How long the lid is off."""
    known_after_ms: int = 0
    """How much later it is written down."""
    wrong: float = 0.0
    """What the keeper gets wrong: bands of the lid's wetness, % points of a weighed sample."""


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
    kept: list[tuple[int, PhysicalBin]] = field(default_factory=list)
    """Copies of the bins, to be moved on in other ways."""


class SimulatedPlace:
    """Everything that is simulated, at one moment."""

    def __init__(
        self,
        setup: Setup,
        start_ms: int,
        *,
        weathers: Mapping[str, Air],
        moistures_pct: Mapping[str, float] | None = None,
        probes: Sequence[SimulatedProbe],
        acts: Iterable[Act] = (),
        every_ms: int = MINUTE_MS,
        step_ms: int = STEP_MS,
        beds: Mapping[str, PhysicalBin] | None = None,
        soils: Mapping[str, SoilCurve] | None = None,
        keep_every_ms: int = 0,
    ) -> None:
        """Set everything up.

        Parameters
        ----------
        moistures_pct
            Moisture of the beds at the start.
        beds
            Bins that are not as the set-up says, by id.
        soils
            Soil probes that are not as usual, by bin.
        keep_every_ms
            How often a run keeps a copy of every bin; 0 for never.
        """
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
        self._soils = soils or {}
        self._keep_every_ms = keep_every_ms
        moistures = moistures_pct or {}
        self.bins = dict(beds or {}) or {
            bin_.id: PhysicalBin.of(
                bin_, moistures.get(bin_.id, 76.0), weathers[bin_.shed].at(start_ms).temp_c
            )
            for bin_ in setup.bins.values()
        }

    def around(self, shed: str, at_ms: int) -> Around:
        """Return the air of a shed at *at_ms*."""
        return self._weathers[shed].at(at_ms)

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
                    Truth(self.now_ms, bin_id, truth_of(bin_, air[bin_.bin.shed]))
                    for bin_id, bin_ in self.bins.items()
                ]
            if self._keep_every_ms and since % self._keep_every_ms == 0:
                stretch.kept += [(self.now_ms, bin_.copy()) for bin_ in self.bins.values()]
            self.now_ms += self._step_ms
        return stretch

    def _keeper(self, stretch: Stretch) -> None:
        """Do what is planned up to now."""
        while self._act is not None and self._act.at_ms <= self.now_ms:
            act, self._act = self._act, next(self._acts, None)
            if act.at_ms < self._start_ms or act.bin not in self.bins:
                continue
            bin_ = self.bins[act.bin]
            bin_.open_s = max(bin_.open_s, 60.0 * act.open_min)
            fields = self._seen_to(bin_, act)
            if fields is None:
                continue
            entry = entry_from_fields(
                {"bin": act.bin, "time": act.at_ms / SECOND_MS, **fields},
                known_at_ms=act.at_ms + act.known_after_ms,
                new_id=f"{act.bin}-{act.at_ms // SECOND_MS:x}-{fields['kind']}",
            )
            apply(bin_, entry.what)
            stretch.entries.append(entry)

    def _seen_to(self, bin_: PhysicalBin, act: Act) -> dict[str, object] | None:
        """Return what of a planned visit is written down; None for nothing."""
        fields = dict(act.fields)
        kind = fields.get("kind")
        if kind == WIPE:
            wipe_lid(bin_)
            fields["text"] = "Wiped the lid."
        if kind in (LOOK, WIPE):
            fields |= {"kind": "sighting", **looks_of(bin_, act.wrong)}
        elif kind == WEIGH:
            weighed_pct = round(bin_.moisture_pct + act.wrong, 1)
            fields = {"kind": "sighting", "moisture_pct": weighed_pct}
        elif kind == TEND:
            return tended(bin_, act.wrong)
        elif kind == RAIN:
            apply(bin_, LiquidAdded(float(str(fields["mass_g"]))))
            return None
        return fields

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
                truth |= measurable(self.bins[probe.bin], self._soils.get(probe.bin, USUAL_SOIL))
            values = probe.read(truth, self.now_ms)
            if values is not None:
                received_ms = probe.received_ms(self.now_ms)
                taken_ms = probe.clock_ms(self.now_ms)
                stretch.readings.append(
                    Reading(probe.probe, probe.shed, taken_ms, received_ms, values)
                )


def measurable(bin_: PhysicalBin, soil: SoilCurve) -> dict[str, float]:
    """Return the true value of everything a probe in the bin could measure."""
    return {
        "bed_temp_c": bin_.bed_c,
        "headspace_temp_c": bin_.head.head_c,
        "headspace_rh_pct": bin_.rh_pct,
        "lid_temp_c": bin_.head.lid_c,
        "soil_raw": soil_raw(bin_.moisture_pct, bin_.bed_c, soil),
    }


def truth_of(bin_: PhysicalBin, around: Around) -> dict[str, float]:
    """Return a bin's whole state, and the air of its shed."""
    return {
        "bed_temp_c": round(bin_.bed_c, 3),
        "headspace_temp_c": round(bin_.head.head_c, 3),
        "headspace_rh_pct": round(bin_.rh_pct, 3),
        "lid_temp_c": round(bin_.head.lid_c, 3),
        "shed_temp_c": round(around.temp_c, 3),
        "moisture_pct": round(bin_.moisture_pct, 3),
        "lid_film_g_m2": round(bin_.film_g_m2, 2),
        "condensing_g_m2_h": round(bin_.flux_g_m2_h, 3),
        "decay_heat_w": round(bin_.heat_w, 3),
        "food_kg": round(bin_.food_kg, 4),
        "herd_kg": round(bin_.herd_kg, 4),
        "air_share": round(bin_.air_share, 4),
        "water_drained_kg": round(bin_.account.water_drained_kg, 4),
    }
