"""Five bins of an allotment club: what they are, what is done to them, and what goes wrong when.

The plan counts from the opening: before it lie calm weeks, after it every kind of alert has its cause
within 100 hours (the comments in `MISHAPS` and `PLAN` say which). Then it starts again every ten
days. Bins, probes and people are invented.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Setup, Shed, Species
from underlid.errors import UnderlidError
from underlid.simulate.place import LOOK, WIPE, Act, SimulatedPlace
from underlid.simulate.sensors import Fault, FaultKind, SimulatedProbe
from underlid.simulate.soil import SOIL_DRY_RAW, SOIL_WET_RAW
from underlid.simulate.weather import Climate, Turn, Weather
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

POTTING: Final = "potting"
BOILER: Final = "boiler"

SHEDS: Final = (
    Shed(POTTING, "Potting shed", air_probe="potting-air"),
    Shed(BOILER, "Boiler room", air_probe="boiler-air"),
)

CLIMATES: Final = {
    POTTING: Climate(mean_c=18.5, day_k=1.8, noise_k=0.6, rh_pct=64.0),
    BOILER: Climate(mean_c=21.0, day_k=0.8, noise_k=0.3, rh_pct=38.0),
}

BINS: Final = (
    Bin(
        "tansy", POTTING, "Tansy", BinKind.FLOW_THROUGH_BAG, (Species.EISENIA_FETIDA,), herd_kg=1.2
    ),
    Bin(
        "sorrel", POTTING, "Sorrel", BinKind.PLASTIC_TOTE, (Species.EISENIA_FETIDA,),
        herd_kg=1.0, volume_l=65.0, bed_kg=24.0, lid_area_m2=0.20,
    ),
    Bin(
        "fennel", POTTING, "Fennel", BinKind.TRAY_STACK, (Species.EISENIA_ANDREI,),
        herd_kg=0.8, volume_l=45.0, bed_kg=16.0, lid_area_m2=0.16, bedding="cardboard",
    ),
    Bin(
        "borage", BOILER, "Borage", BinKind.WOODEN_BOX, (Species.EISENIA_HORTENSIS,),
        herd_kg=1.0, volume_l=70.0, bed_kg=26.0, lid_area_m2=0.24, bedding="dry-leaves",
    ),
    Bin(
        "quince", POTTING, "Quince", BinKind.TROUGH, (Species.EUDRILUS_EUGENIAE,),
        herd_kg=3.0, volume_l=140.0, bed_kg=70.0, lid_area_m2=0.50, bedding="coir",
    ),
)  # fmt: skip

MOISTURES_PCT: Final = {
    "tansy": 77.0, "sorrel": 82.2, "fennel": 76.0, "borage": 74.9, "quince": 79.0,
}  # fmt: skip
"""At the start of the calm weeks, three weeks before the opening."""

IN_BIN: Final = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "soil_raw", "battery_v")
IN_AIR: Final = ("shed_temp_c", "shed_rh_pct", "battery_v")
EXTRA: Final = {"fennel": ("lid_temp_c",)}
"""One bin has a probe on its lid."""

SOIL_POINTS: Final = ((0.40, 62.0), (0.62, 78.0))

CYCLE_H: Final = 240
"""What happens after the opening happens again every ten days."""

HISTORY_DAYS_MOST: Final = 366

FEEDS_EVERY_H: Final = 96
CALM_FEEDS: Final = {
    "tansy": ("vegetable-scraps:700+coffee-grounds:100", "newspaper:110"),
    "sorrel": ("vegetable-scraps:450", "newspaper:60"),
    "fennel": ("kitchen-scraps:300", "cardboard:80"),
    "borage": ("vegetable-scraps:380", "dry-leaves:60"),
    "quince": ("horse-manure:1600", "coir:150"),
}
"""Before the opening, every four days."""


@dataclass(frozen=True, slots=True)
class Planned:
    """An act *at_h* hours after the opening."""

    at_h: float
    bin: str
    fields: dict[str, object]


PLAN: Final = (
    Planned(  # condensation: a big wet feed without bedding under a thin lid
        1.0, "fennel",
        {"kind": "feed", "ingredient": "melon:2600+vegetable-scraps:1800+coffee-grounds:400",
         "by": "Ash", "text": "Leftovers of the harvest supper."},
    ),
    Planned(  # too_wet: the juice and the spare liquid go to the bin that needs them least
        3.0, "sorrel",
        {"kind": "water", "liquid": "leachate", "mass_g": 5500, "by": "Robin"},
    ),
    Planned(  # overheating, cause feed: much dry matter at once
        4.0, "tansy",
        {"kind": "feed", "ingredient": "bread:2200+coffee-grounds:900", "bedding": "newspaper:150",
         "by": "Robin", "text": "The bakery stall gave us everything."},
    ),
    Planned(25.0, "fennel", {"kind": LOOK, "by": "Ash"}),
    Planned(26.0, "sorrel", {"kind": LOOK, "by": "Ash"}),
    Planned(48.0, "tansy", {"kind": LOOK, "by": "Robin"}),
    Planned(46.0, "quince", {"kind": "note", "by": "Ash", "text": "New cell in the probe."}),
    Planned(100.0, "sorrel", {"kind": "bedding", "ingredient": "cardboard:1800", "by": "Ash"}),
    Planned(101.0, "sorrel", {"kind": "harvest", "mass_g": 3000, "by": "Ash"}),
    Planned(102.0, "borage", {"kind": "water", "mass_g": 6500, "by": "Robin"}),
    Planned(104.0, "fennel", {"kind": WIPE, "by": "Robin"}),
    Planned(105.0, "tansy", {"kind": WIPE, "by": "Robin"}),
    Planned(126.0, "quince", {"kind": "feed", "ingredient": "horse-manure:2500",
                              "bedding": "coir:200", "by": "Ash"}),
    Planned(130.0, "fennel", {"kind": "feed", "ingredient": "kitchen-scraps:400",
                              "bedding": "cardboard:100", "by": "Robin"}),
    Planned(150.0, "tansy", {"kind": "amendment", "ingredient": "eggshell:80", "by": "Ash"}),
    Planned(152.0, "tansy", {"kind": LOOK, "by": "Ash"}),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mishap:
    """Weather or a fault, from one hour after the opening to another."""

    from_h: float
    until_h: float
    shed: str = ""
    shift_k: float = 0.0
    probe: str = ""
    fault: FaultKind = FaultKind.SILENT


MISHAPS: Final = (
    Mishap(18.0, 46.0, probe="quince-1"),  # probe_fault: its cell is empty
    Mishap(28.0, 60.0, shed=BOILER, shift_k=8.5),  # overheating, cause room: the boiler runs
    Mishap(62.0, 98.0, shed=POTTING, shift_k=-9.5),  # too_cold: a frosty spell
)
"""drying_out needs none: Borage stands open beside the boiler, and nobody waters it until hour 102."""


def setup(bins: Sequence[str] = ()) -> Setup:
    """Return the set-up of the scenario, or of some of its bins."""
    wanted = [bin_ for bin_ in BINS if not bins or bin_.id in bins]
    unknown = set(bins) - {bin_.id for bin_ in BINS}
    if unknown:
        raise UnderlidError(
            "bin to simulate",
            value=", ".join(sorted(unknown)),
            expected="some of " + ", ".join(bin_.id for bin_ in BINS),
            next_step="Choose among these.",
        )
    sheds = [shed for shed in SHEDS if any(bin_.shed == shed.id for bin_ in wanted)]
    places = [
        ProbePlace(
            f"{bin_.id}-1", bin_.shed, bin_.id, 15.0, SOIL_DRY_RAW, SOIL_WET_RAW, SOIL_POINTS
        )
        for bin_ in wanted
    ]
    places += [ProbePlace(shed.air_probe or "", shed.id, None) for shed in sheds]
    return Setup(
        {shed.id: shed for shed in sheds},
        {bin_.id: bin_ for bin_ in wanted},
        {place.probe: place for place in places},
    )


def place(
    opening_ms: int,
    calm_days: int,
    *,
    seed: int = 1,
    every_ms: int = 2 * MINUTE_MS,
    bins: Sequence[str] = (),
    season_k: float = 0.0,
    calm_only: bool = False,
) -> SimulatedPlace:
    """Return the scenario's place, standing *calm_days* before its opening.

    Parameters
    ----------
    opening_ms
        When things begin to happen.
    season_k
        Half the difference between summer and winter in the sheds.
    calm_only
        Only the regular feeds: nothing goes wrong.
    """
    if not 0 <= calm_days <= HISTORY_DAYS_MOST:
        raise UnderlidError(
            "days of history",
            value=calm_days,
            expected=f"0 to {HISTORY_DAYS_MOST}",
            next_step="Choose fewer.",
        )
    where = setup(bins)
    start_ms = opening_ms - calm_days * DAY_MS
    weathers = {
        shed: Weather(replace(CLIMATES[shed], season_k=season_k), f"{seed} {shed}", start_ms)
        for shed in where.sheds
    }
    probes = [
        SimulatedProbe(one.probe, one.shed, one.bin, _channels(one.bin), str(seed))
        for one in where.probes.values()
    ]
    if not calm_only:
        for mishap in MISHAPS:
            _arrange(mishap, opening_ms, weathers, probes)
    return SimulatedPlace(
        where,
        start_ms,
        weathers=weathers,
        moistures_pct=MOISTURES_PCT,
        probes=probes,
        acts=acts(opening_ms, start_ms, calm_only=calm_only),
        every_ms=every_ms,
    )


def acts(opening_ms: int, start_ms: int, *, calm_only: bool = False) -> Iterator[Act]:
    """Yield what the keepers do, in time order, without end."""
    yield from _calm_acts(start_ms, opening_ms)
    at_ms = opening_ms
    while True:
        cycle_ms = at_ms + CYCLE_H * HOUR_MS
        if calm_only:
            yield from _calm_acts(at_ms, cycle_ms)
        else:
            for planned in PLAN:
                yield Act(at_ms + round(planned.at_h * HOUR_MS), planned.bin, planned.fields)
        at_ms = cycle_ms


def _calm_acts(start_ms: int, end_ms: int) -> Iterator[Act]:
    """Yield regular feeds, the last one well before *end_ms*, and a look a day after each."""
    found = []
    for number, (bin_id, (food, bedding)) in enumerate(CALM_FEEDS.items()):
        at_ms = start_ms + (18 + 19 * number) * HOUR_MS
        while at_ms < end_ms - 30 * HOUR_MS:
            by = ("Ash", "Robin")[(at_ms // DAY_MS) % 2]
            feed: dict[str, object] = {
                "kind": "feed", "ingredient": food, "bedding": bedding, "by": by,
            }  # fmt: skip
            found.append(Act(at_ms, bin_id, feed))
            found.append(Act(at_ms + DAY_MS, bin_id, {"kind": LOOK, "by": by}))
            at_ms += FEEDS_EVERY_H * HOUR_MS
    yield from sorted(found, key=lambda act: (act.at_ms, act.bin))


def _arrange(
    mishap: Mishap, opening_ms: int, weathers: dict[str, Weather], probes: list[SimulatedProbe]
) -> None:
    """Put a mishap, and its repetitions, where it belongs."""
    again_ms = CYCLE_H * HOUR_MS
    from_ms = opening_ms + round(mishap.from_h * HOUR_MS)
    until_ms = opening_ms + round(mishap.until_h * HOUR_MS)
    if mishap.shed in weathers:
        turn = Turn(from_ms, until_ms, mishap.shift_k, again_ms=again_ms)
        weathers[mishap.shed].turns.append(turn)
    for probe in probes:
        if probe.probe == mishap.probe:
            fault = Fault(probe.probe, mishap.fault, from_ms, until_ms, again_ms=again_ms)
            probe.faults.append(fault)


def _channels(bin_id: str | None) -> tuple[str, ...]:
    return IN_AIR if bin_id is None else (*IN_BIN, *EXTRA.get(bin_id, ()))
