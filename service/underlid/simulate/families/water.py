"""Cases about the bed's water: it dries and is watered now and then, drowns, or turns sour after feeds."""

from __future__ import annotations

from dataclasses import replace

from underlid.simulate.families.calm import calm
from underlid.simulate.families.events import JUICY
from underlid.simulate.keeper import COVERS, feeds_regularly, look, tends, weighs
from underlid.simulate.place import RAIN
from underlid.simulate.sketch import Sketch, sketch

DROPS_AN_HOUR = 6
"""Rain is let in every ten minutes: a shower is no bucket."""


def dry_room(number: int) -> Sketch:
    """A heated room in winter, a lid that stands ajar; some keepers squeeze a handful every week."""
    case = sketch("dry-room", number, 24.0)
    weighs(case)
    _dries(case)
    feeds_regularly(case, case.days, amount=case.draw.between("fed", 0.3, 1.0))
    if case.draw.chance("tended", 0.2):
        tends(case)
    return case


def dry_and_watered(number: int) -> Sketch:
    """The same, and a keeper who waters now and then, too little; some of it is not written down."""
    case = sketch("dry-and-watered", number, 26.0)
    weighs(case)
    _dries(case)
    feeds_regularly(case, case.days, amount=case.draw.between("fed", 0.3, 0.9))
    source = case.draw.source("waterings")
    day = source.uniform(2.0, 7.0)
    while day < case.days - 2.0:
        grams = 1000.0 * case.bin.bed_kg * source.uniform(0.01, 0.08)
        kind = RAIN if source.random() < 0.25 else "water"
        case.do(day, {"kind": kind, "mass_g": round(grams, -1)})
        day += source.uniform(3.0, 11.0)
    return case


def flooded(number: int) -> Sketch:
    """Much water into a bin that does not drain: a clogged drain, a closed tap, a lined box, a tote."""
    case = sketch("flooded", number, 18.0)
    weighs(case)
    case.build = replace(case.build, drains=False)
    source = case.draw.source("flood")
    case.moisture_pct = source.uniform(74.0, 82.0)
    feeds_regularly(case, case.days, amount=source.uniform(0.4, 1.0))
    aim_pct = source.uniform(83.0, 91.0)
    whole_g = 1000.0 * case.bin.bed_kg * (aim_pct - case.moisture_pct) / (100.0 - aim_pct)
    day = source.uniform(3.0, 6.0)
    if source.random() < 0.4:
        _rains(case, day, whole_g)
        return case
    pours = source.randint(1, 6)
    for _ in range(pours):
        liquid = source.choice(("water", "leachate"))
        case.do(day, {"kind": "water", "liquid": liquid, "mass_g": round(whole_g / pours, -1)})
        day += source.uniform(0.4, 2.0)
    return case


def wet_bed(number: int) -> Sketch:
    """Juicy feeds without cover, one after another, on a bed that is wet and has settled densely."""
    case = sketch("wet-bed", number, 18.0)
    weighs(case)
    source = case.draw.source("juicy")
    case.moisture_pct = source.uniform(76.0, 82.5)
    case.bin = replace(case.bin, dry_density_kg_l=round(source.uniform(0.13, 0.19), 3))
    case.climate = replace(case.climate, rh_pct=source.uniform(60.0, 85.0))
    if source.random() < 0.4:
        case.build = replace(case.build, drains=False)
    feeds_regularly(case, 4.0, amount=0.6)
    day = source.uniform(4.0, 6.5)
    for _ in range(source.randint(1, 4)):
        grams = max(550.0, 1000.0 * case.bin.bed_kg * source.uniform(0.08, 0.30))
        kinds = source.sample(JUICY, source.randint(1, 3))
        fields: dict[str, object] = {
            "kind": "feed",
            "ingredient": "+".join(f"{kind}:{round(grams / len(kinds))}" for kind in kinds),
        }
        if source.random() < 0.25:
            cover = source.choice(COVERS)
            fields["bedding"] = f"{cover}:{round(grams * source.uniform(0.03, 0.10))}"
        case.do(day, fields)
        if source.random() < 0.5:
            look(case, day + source.uniform(0.8, 3.0), source)
        day += source.uniform(1.5, 4.0)
    return case


def near_the_limits(number: int) -> Sketch:
    """Beds near a limit that do not pass it: kept at 67 to 70 or 80 to 84 %, and fed as ever."""
    case = calm("near-the-limits", number, 18.0)
    source = case.draw.source("near")
    case.moisture_pct = source.choice((source.uniform(67.0, 70.0), source.uniform(80.0, 83.5)))
    feeds_regularly(case, case.days)
    return case


def _dries(case: Sketch) -> None:
    """Give a bin a shallow bed, the air of a heated room in winter, and gaps to breathe through."""
    source = case.draw.source("dry room")
    case.bin = replace(case.bin, bed_kg=round(case.bin.bed_kg * source.uniform(0.4, 1.0), 1))
    case.climate = replace(
        case.climate,
        mean_c=case.climate.mean_c + source.uniform(1.0, 5.0),
        rh_pct=source.uniform(22.0, 45.0),
    )
    # A lid that stands ajar, or holes all round: natural draught through some square centimetres.
    case.build = replace(case.build, vent_l_s=case.build.vent_l_s + source.uniform(0.1, 0.8))
    case.moisture_pct = source.uniform(66.0, 75.0)


def _rains(case: Sketch, day: float, whole_g: float) -> None:
    """Let water in through a leaky roof, in several showers that nobody writes down."""
    source = case.draw.source("rain")
    showers = source.randint(2, 6)
    for _ in range(showers):
        hours = source.uniform(1.0, 6.0)
        drops = max(2, round(hours * DROPS_AN_HOUR))
        for drop in range(drops):
            at_day = day + hours / 24.0 * drop / drops
            case.do(at_day, {"kind": RAIN, "mass_g": round(whole_g / showers / drops, 1)})
            case.acts[-1] = replace(case.acts[-1], open_min=0.0)
        day += hours / 24.0 + source.uniform(0.1, 1.0)
