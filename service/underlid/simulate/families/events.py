"""Cases with one event after a calm week: wet or dry feeds, heat, cold, drying, too much water."""

from __future__ import annotations

from dataclasses import replace

from underlid.binmodel.bins import BinKind
from underlid.simulate.families.calm import calm
from underlid.simulate.keeper import COVERS, feeds_regularly, look, weighs
from underlid.simulate.sensors import FaultKind
from underlid.simulate.sketch import KINDS, WITH_LID, Sketch, sketch
from underlid.simulate.weather import Climate, Turn

JUICY = ("melon", "squash", "salad", "tomato-courgette", "brassica", "berries")
MOIST = (
    "vegetable-scraps",
    "fruit",
    "kitchen-scraps",
    "apple-pear",
    "banana-peel",
    "grass-clippings",
)
RICH = ("bread", "coffee-grounds", "rice-pasta", "horse-manure", "rabbit-manure")


def wet_feed(case: Sketch, least: float = 0.15, most: float = 0.40) -> None:
    """Plan one big wet feed, a share of the bed's mass, with cover or without."""
    source = case.draw.source("wet feed")
    day = source.uniform(6.0, 8.5)
    grams = 1000.0 * case.bin.bed_kg * source.uniform(least, most)
    kinds = [source.choice(JUICY), *source.sample(MOIST, source.randint(0, 2))]
    fields: dict[str, object] = {
        "kind": "feed",
        "ingredient": "+".join(f"{kind}:{round(grams / len(kinds))}" for kind in kinds),
    }
    if source.random() < 0.5:
        fields["bedding"] = f"{source.choice(COVERS)}:{round(grams * source.uniform(0.05, 0.3))}"
    if source.random() < 0.25:
        fields["drained_g"] = round(grams * source.uniform(0.05, 0.15))
    case.do(day, fields)
    if source.random() < 0.6:
        look(case, day + source.uniform(0.8, 3.0), source)


def dry_feed(case: Sketch) -> None:
    """Plan one big feed that is rich in dry matter."""
    source = case.draw.source("dry feed")
    grams = 1000.0 * case.bin.bed_kg * source.uniform(0.05, 0.16)
    kinds = source.sample(RICH, source.randint(1, 2))
    ingredient = "+".join(f"{kind}:{round(grams / len(kinds))}" for kind in kinds)
    fields: dict[str, object] = {"kind": "feed", "ingredient": ingredient}
    if source.random() < 0.5:
        fields["bedding"] = f"{source.choice(COVERS)}:{round(grams * source.uniform(0.05, 0.2))}"
    case.do(source.uniform(6.0, 8.5), fields)


def turn(case: Sketch, low_k: float, high_k: float) -> None:
    """Plan a spell of other weather."""
    source = case.draw.source("turn")
    from_day, hours = source.uniform(6.0, 8.0), source.uniform(36.0, 120.0)
    case.turns.append(
        Turn(
            case.at_ms(from_day),
            case.at_ms(from_day + hours / 24.0),
            source.uniform(low_k, high_k),
            source.uniform(6.0, 18.0),
        )
    )


def wet_feeds(number: int) -> Sketch:
    """A big wet feed in a cool shed."""
    case = calm("wet-feeds", number, 14.0)
    case.climate = _cool(case)
    feeds_regularly(case, 5.0)
    wet_feed(case)
    return case


def dry_feeds(number: int) -> Sketch:
    """A big feed of bread, coffee, manure: heat from within."""
    case = calm("dry-feeds", number, 14.0)
    case.climate = replace(case.climate, mean_c=case.draw.between("mild", 17.0, 23.0))
    feeds_regularly(case, 5.0)
    dry_feed(case)
    return case


def heat_wave(number: int) -> Sketch:
    """Days of heat."""
    case = calm("heat-wave", number, 14.0)
    case.climate = replace(case.climate, mean_c=case.draw.between("warm", 18.5, 22.5))
    feeds_regularly(case, case.days)
    turn(case, 5.0, 13.0)
    return case


def cold_snap(number: int) -> Sketch:
    """Days of cold."""
    case = calm("cold-snap", number, 14.0)
    case.climate = replace(case.climate, mean_c=case.draw.between("fresh", 11.0, 17.0))
    feeds_regularly(case, case.days)
    turn(case, -11.0, -3.0)
    return case


def slow_drying(number: int) -> Sketch:
    """Dry air, a bin that breathes, and nobody who waters."""
    draw = sketch("slow-drying", number, 1.0).draw
    kind = draw.one_of("airy kind", (BinKind.WOODEN_BOX, BinKind.TRAY_STACK, BinKind.TROUGH))
    case = sketch("slow-drying", number, 26.0, kind=kind)
    weighs(case)
    case.climate = replace(
        case.climate,
        mean_c=draw.between("warm", 18.5, 23.0),
        rh_pct=draw.between("dry", 28.0, 50.0),
    )
    drier = draw.between("vents", 1.0, 3.0)
    case.build = replace(
        case.build,
        vent_l_s=case.build.vent_l_s * drier,
        wall_vapour_m3_s=case.build.wall_vapour_m3_s * drier + 5e-5,
    )
    case.moisture_pct = draw.between("start", 66.5, 71.5)
    feeds_regularly(case, case.days, amount=0.4)
    return case


def over_watering(number: int) -> Sketch:
    """Water, or spare liquid, poured on once to three times."""
    case = sketch("over-watering", number, 16.0)
    weighs(case)
    source = case.draw.source("pours")
    case.moisture_pct = source.uniform(74.0, 80.0)
    feeds_regularly(case, case.days, amount=0.6)
    aim_pct, pours = source.uniform(80.0, 90.0), source.randint(1, 3)
    whole_g = 1000.0 * case.bin.bed_kg * (aim_pct - case.moisture_pct) / (100.0 - aim_pct)
    day = source.uniform(5.0, 7.0)
    for _ in range(pours):
        liquid = source.choice(("water", "leachate"))
        case.do(day, {"kind": "water", "liquid": liquid, "mass_g": round(whole_g / pours, -1)})
        day += source.uniform(0.5, 1.5)
    return case


def lid_types(number: int) -> Sketch:
    """Every kind of lid, half of them with a probe on it, over cool nights."""
    case = calm("lid-types", number, 14.0)
    fresh = sketch("lid-types", number, 14.0, kind=KINDS[number % len(KINDS)])
    fresh.acts = case.acts
    if number // len(KINDS) % 2:
        fresh.channels = WITH_LID
    fresh.climate = _cool(fresh)
    feeds_regularly(fresh, 5.0)
    wet_feed(fresh, 0.05, 0.25)
    return fresh


def _cool(case: Sketch) -> Climate:
    draw = case.draw
    mean_c, day_k = draw.between("cool", 13.0, 21.0), draw.between("nights", 1.5, 5.5)
    return replace(case.climate, mean_c=mean_c, day_k=day_k)


def some_event(case: Sketch) -> None:
    """Plan a wet feed in the cool, a rich feed in the warm, or heat."""
    what = case.draw.whole("event", 0, 2)
    means = ((14.0, 20.0), (18.0, 23.0), (19.0, 22.5))[what]
    case.climate = replace(case.climate, mean_c=case.draw.between("mean here", *means))
    if what == 0:
        wet_feed(case, 0.15, 0.35)
    elif what == 1:
        dry_feed(case)
    else:
        turn(case, 7.0, 13.0)


def no_shed_probe(number: int) -> Sketch:
    """An event in a shed without a probe of its air."""
    case = calm("no-shed-probe", number, 14.0)
    case.air_probe = False
    feeds_regularly(case, 5.0)
    some_event(case)
    return case


def late_and_shuffled(number: int) -> Sketch:
    """An event told of late and out of order; all has come a day before the end."""
    case = calm("late-and-shuffled", number, 14.0)
    feeds_regularly(case, 5.0)
    some_event(case)
    source = case.draw.source("roads")
    until_day = case.days - 1.25
    for channel in ("", "shed_temp_c"):
        begin = source.uniform(1.0, 4.0)
        hours = 24.0 * (until_day - begin) - 12.0
        case.fail(FaultKind.SHUFFLED, begin, hours, channel, source.uniform(0.3, 8.0))
    outage = source.uniform(5.0, 10.0)
    case.fail(FaultKind.LATE, outage, source.uniform(2.0, 20.0))
    return replace(case, faults=[replace(one, channel="") for one in case.faults])
