"""A single bin drawn at random, with its shed, probes and keeper: what every scored case begins with.

Build, lid, vents, transfer velocities, decay, soil curve, sensor offsets and what the keeper told of
the bin are drawn anew for every number, within what is physically plausible (our judgement: ± 15 to
40 %), so that nothing can be tuned to one constant. `families` say what happens to the bin.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from math import exp
from typing import Any, Final

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Setup, Shed, Species
from underlid.simulate import build as b
from underlid.simulate.draw import Draw
from underlid.simulate.physics import PhysicalBin
from underlid.simulate.place import Act, SimulatedPlace
from underlid.simulate.sensors import Fault, FaultKind, SimulatedProbe
from underlid.simulate.soil import SOIL_DRY_RAW, SOIL_WET_RAW, SoilCurve
from underlid.simulate.weather import Air, Climate, Turn, Weather
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

FIRST_DAY_MS: Final = 1_772_323_200_000
"""2026-03-01T00:00:00Z; cases begin within ten months of it."""

BIN: Final = "bin"
SHED: Final = "shed"
PROBE: Final = "bin-1"
AIR_PROBE: Final = "air"

KINDS: Final = tuple(BinKind)
SIZES: Final[dict[BinKind, tuple[float, float, float]]] = {
    BinKind.FLOW_THROUGH_BAG: (60.0, 22.0, 0.18),
    BinKind.TRAY_STACK: (45.0, 16.0, 0.16),
    BinKind.WOODEN_BOX: (70.0, 26.0, 0.24),
    BinKind.PLASTIC_TOTE: (60.0, 22.0, 0.20),
    BinKind.TROUGH: (140.0, 60.0, 0.50),
}
"""Volume L, bed kg, lid m² of a usual one of each kind."""

IN_BIN: Final = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "soil_raw", "battery_v")
IN_AIR: Final = ("shed_temp_c", "shed_rh_pct", "battery_v")
WITH_LID: Final = (*IN_BIN, "lid_temp_c")

INTERVALS_MIN: Final = (1, 2, 5, 10, 15)
COARSEST_STEP_MS: Final = 150_000
"""Step of the balances: a tenth of a kelvin at the worst, and truth and sensors see the same."""

TROPICAL: Final = (Species.EUDRILUS_EUGENIAE, Species.PERIONYX_EXCAVATUS)
TROPICAL_WARMER_K: Final = 5.0
"""Their keepers have warmer rooms."""


@dataclass(slots=True)
class Sketch:
    """One case before it is built: families change it."""

    draw: Draw
    bin: Bin
    build: b.Build
    traits: b.Traits
    climate: Climate
    soil: SoilCurve
    soil_points: tuple[tuple[float, float], ...]
    start_ms: int
    days: float
    every_ms: int
    moisture_pct: float
    channels: tuple[str, ...]
    worse: float
    air_probe: bool = True
    air: Air | None = None
    """Instead of `climate` and `turns`."""
    turns: list[Turn] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    @property
    def end_ms(self) -> int:
        """Return when the case is over."""
        return self.start_ms + round(self.days * DAY_MS)

    def at_ms(self, day: float) -> int:
        """Return the time *day* days after the start."""
        return self.start_ms + round(day * DAY_MS)

    def do(self, day: float, fields: Mapping[str, object], wrong: float = 0.0) -> None:
        """Plan an act; the lid is off while it is done, and some are written down hours later."""
        source = self.draw.source(f"act {day:.3f} {fields['kind']}")
        late_ms = source.choice((0, 0, 0, 0, 2, 8)) * HOUR_MS
        at_ms = self.at_ms(day) // 1000 * 1000
        self.acts.append(Act(at_ms, BIN, fields, source.uniform(1.0, 6.0), late_ms, wrong))

    def fail(
        self, kind: FaultKind, day: float, hours: float, channel: str = "", size: float = 1.0
    ) -> None:
        """Plan a fault of the probe that has *channel*; of the bin's probe for ""."""
        probe = AIR_PROBE if channel.startswith("shed_") else PROBE
        from_ms = self.at_ms(day)
        until_ms = from_ms + round(hours * HOUR_MS)
        self.faults.append(Fault(probe, kind, from_ms, until_ms, channel, size=size))

    def place(self) -> SimulatedPlace:
        """Return the place, ready to run."""
        seed = str(self.draw.whole("sensors", 0, 1 << 30))
        air = self.air or Weather(self.climate, f"{seed} air", self.start_ms, self.turns)
        probes = [SimulatedProbe(PROBE, SHED, BIN, self.channels, seed, self.worse)]
        if self.air_probe:
            probes.append(SimulatedProbe(AIR_PROBE, SHED, None, IN_AIR, seed, self.worse))
        for probe in probes:
            probe.faults += [one for one in self.faults if one.probe == probe.probe]
        return SimulatedPlace(
            self.setup(),
            self.start_ms,
            weathers={SHED: air},
            probes=probes,
            acts=sorted(self.acts, key=lambda act: act.at_ms),
            every_ms=self.every_ms,
            step_ms=min(self.every_ms, COARSEST_STEP_MS),
            beds={BIN: self.bed(air.at(self.start_ms).temp_c)},
            soils={BIN: self.soil},
            keep_every_ms=HOUR_MS,
        )

    def setup(self) -> Setup:
        """Return what the keeper told of it."""
        shed = Shed(SHED, air_probe=AIR_PROBE if self.air_probe else None)
        places = [ProbePlace(PROBE, SHED, BIN, 15.0, SOIL_DRY_RAW, SOIL_WET_RAW, self.soil_points)]
        if self.air_probe:
            places.append(ProbePlace(AIR_PROBE, SHED, None))
        return Setup({SHED: shed}, {BIN: self.bin}, {one.probe: one for one in places})

    def bed(self, temp_c: float) -> PhysicalBin:
        """Return the bin as it really is: the keeper's figures are off by some per cent."""
        draw, told = self.draw, self.bin
        true = replace(
            told,
            bed_kg=draw.about("true bed", told.bed_kg, 0.10),
            lid_area_m2=draw.about("true lid", told.lid_area_m2, 0.10),
            dry_density_kg_l=draw.about("true density", told.dry_density_kg_l, 0.10),
            herd_kg=draw.about("true herd", told.herd_kg, 0.25),
        )
        made = PhysicalBin.of(true, self.moisture_pct, temp_c + draw.between("warm", 0.0, 1.0))
        return replace(made, build=self.build, traits=self.traits)


def sketch(family: str, number: int, days: float, *, kind: BinKind | None = None) -> Sketch:
    """Return a bin of a family by its number, at peace in a mild shed."""
    draw = Draw(f"{family} {number}")
    kind = kind or draw.one_of("kind", KINDS)
    species = draw.one_of(
        "species",
        (Species.EISENIA_FETIDA, Species.EISENIA_ANDREI, Species.EISENIA_HORTENSIS, *TROPICAL),
        (6, 2, 2, 0.5, 0.5),
    )
    soil = _soil(draw)
    return Sketch(
        draw,
        _bin(draw, kind, species),
        _build(draw, kind),
        _traits(draw),
        _climate(draw, TROPICAL_WARMER_K if species in TROPICAL else 0.0),
        soil,
        _weighed(draw, soil),
        FIRST_DAY_MS + draw.whole("day", 0, 300) * DAY_MS + draw.whole("hour", 0, 23) * HOUR_MS,
        days,
        draw.one_of("interval", INTERVALS_MIN, (1, 2, 4, 2, 1)) * MINUTE_MS,
        draw.between("moisture", 72.0, 78.5),
        WITH_LID if draw.chance("lid probe", 0.15) else IN_BIN,
        draw.between("worse", 0.6, 1.6),
    )


def _bin(draw: Draw, kind: BinKind, species: Species) -> Bin:
    volume, bed, lid = SIZES[kind]
    size = draw.about("size", 1.0, 0.25)
    return Bin(
        BIN,
        SHED,
        kind=kind,
        species=(species,),
        herd_kg=round(bed * size * draw.between("herd", 0.03, 0.06), 2),
        volume_l=round(volume * size),
        bed_kg=round(bed * size * draw.between("full", 0.75, 1.15), 1),
        dry_density_kg_l=round(draw.between("density", 0.12, 0.18), 3),
        lid_area_m2=round(lid * size ** (2.0 / 3.0), 3),
        bedding=draw.one_of("bedding", ("newspaper", "cardboard", "coir", "dry-leaves")),
    )


_BUILD_SHARES: Final = {
    "wall_w_k": 0.35, "lid_w_m2k": 0.25, "vent_l_s": 0.4,
    "wall_vapour_m3_s": 0.4, "holds_kg_kg": 0.12, "film_most_g_m2": 0.15,
}  # fmt: skip

_TRAIT_SHARES: Final = {
    "bed_to_head_w_m2k": 0.25, "head_to_lid_w_m2k": 0.25, "bed_to_lid_radiant_w_m2k": 0.15,
    "bed_vapour_m_s": 0.3, "lid_vapour_m_s": 0.25, "still_share": 1.2,
    "head_height_m": 0.6, "bed_to_wall_w_m2k": 0.4, "wall_most_g_m2": 1.0,
    "surface_share": 0.3, "cover_at_kg_m2": 0.3, "patchy_g_m2": 0.4, "cover_lasts_h": 0.3,
    "drip_h": 0.3, "drain_h": 0.4, "hydrolysis_per_d": 0.3, "decay_per_d": 0.3, "juice_per_d": 0.3,
    "heat_j_kg_vs": 0.08, "soft_share": 0.1, "breath_w_m2": 0.3,
}  # fmt: skip


def _build(draw: Draw, kind: BinKind) -> b.Build:
    usual = b.BUILDS[kind]
    drawn: dict[str, Any] = {
        name: draw.about(name, getattr(usual, name), most) for name, most in _BUILD_SHARES.items()
    }
    tighter = draw.spread("breath", b.BREATH_SPREAD.get(kind, 0.0), b.BREATH_MOST)
    return replace(usual, **drawn, breath_m_s=usual.breath_m_s * exp(tighter))


def _traits(draw: Draw) -> b.Traits:
    usual = b.TYPICAL
    drawn = {
        one.name: draw.about(one.name, getattr(usual, one.name), _TRAIT_SHARES[one.name])
        for one in fields(usual)
        if one.name in _TRAIT_SHARES
    }
    return replace(usual, **drawn, feed_wetter_pct=draw.spread("feed water", 1.5, 3.0))


def _climate(draw: Draw, warmer_k: float) -> Climate:
    return Climate(
        mean_c=draw.between("mean", 15.0, 20.5) + warmer_k,
        day_k=draw.between("swing", 0.6, 3.5),
        noise_k=draw.between("noise", 0.3, 1.1),
        rh_pct=draw.between("rh", 48.0, 75.0),
        warmest_hour=draw.between("warmest", 0.0, 24.0),
    )


def _soil(draw: Draw) -> SoilCurve:
    return SoilCurve(
        at_62_pct=draw.between("contact", 0.35, 0.49),
        per_pct=draw.about("slope", 0.0128, 0.25),
        bend=draw.between("bend", -0.0012, 0.0024),
        counts_k=draw.between("warmth", -4.0, 1.0),
    )


def _weighed(draw: Draw, soil: SoilCurve) -> tuple[tuple[float, float], ...]:
    """Return what the keeper weighed before: two samples, now and then one or none."""
    count = draw.one_of("samples", (2, 1, 0), (0.78, 0.08, 0.14))
    wet = draw.between("wet sample", 77.0, 84.0), draw.spread("wet error", 0.9, 2.0)
    dry = draw.between("dry sample", 61.0, 69.0), draw.spread("dry error", 0.9, 2.0)
    points = ((soil.index(true), true + error) for true, error in (dry, wet)[2 - count :])
    return tuple((round(index, 4), round(weighed, 1)) for index, weighed in points)
