"""What an ordinary keeper does in a drawn case: feeds, covers, looks, squeezes, weighs a sample."""

from __future__ import annotations

from random import Random
from typing import Final

from underlid.science.heat import worm_activity
from underlid.simulate.place import LOOK, TEND, WEIGH
from underlid.simulate.sketch import Sketch

KITCHEN: Final = (
    "vegetable-scraps", "kitchen-scraps", "fruit", "salad", "carrot", "apple-pear", "banana-peel",
    "coffee-grounds", "tea-leaves", "brassica", "squash", "potato", "tomato-courgette",
)  # fmt: skip
COVERS: Final = ("newspaper", "cardboard", "egg-carton", "dry-leaves")

APPETITE_KG_KG_D: Final = 0.22
"""Of which a keeper gives a part, times the herd's activity."""


def feeds_regularly(
    case: Sketch, until_day: float, *, from_day: float = 0.3, amount: float = 1.0
) -> None:
    """Plan regular feeds with cover, and a look after some of them."""
    draw = case.draw
    habit = draw.source("habit")
    every_d = habit.uniform(2.5, 5.0)
    share = habit.uniform(0.45, 0.85) * amount
    looks = habit.uniform(0.2, 0.9)
    hour = habit.uniform(0.0, 1.0)
    activity = worm_activity(case.climate.mean_c)
    day, count = from_day + hour, 0
    while day < until_day:
        source = draw.source(f"feed {count}")
        grams = 1000.0 * case.bin.herd_kg * APPETITE_KG_KG_D * activity * every_d * share
        grams *= source.uniform(0.7, 1.3)
        case.do(day, kitchen_feed(source, grams, source.uniform(0.10, 0.20)))
        if source.random() < looks:
            look(case, day + source.uniform(0.6, 1.6), source)
        day += max(1.0, every_d + source.gauss(0.0, 0.4))
        count += 1


def kitchen_feed(source: Random, grams: float, cover_share: float) -> dict[str, object]:
    """Return a mixed feed of so many grams, with bedding on top."""
    kinds = source.sample(KITCHEN, source.randint(1, 3))
    each = round(max(20.0, grams / len(kinds)))
    cover = source.choice(COVERS)
    return {
        "kind": "feed",
        "ingredient": "+".join(f"{kind}:{each}" for kind in kinds),
        "bedding": f"{cover}:{max(10, round(grams * cover_share))}",
    }


def look(case: Sketch, day: float, source: Random) -> None:
    """Plan a look under the lid; one in eight misjudges the lid by a band."""
    wrong = source.choice((-1.0, 1.0)) if source.random() < 0.125 else 0.0
    case.do(day, {"kind": LOOK}, wrong)


def tends(case: Sketch) -> None:
    """Plan a squeeze every week or so, with water or bedding where the bed needs it."""
    source = case.draw.source("tends")
    day = source.uniform(1.5, 4.0)
    while day < case.days - 1.0:
        case.do(day, {"kind": TEND}, source.gauss(0.0, 1.5))
        day += source.uniform(5.0, 8.0)


def weighs(case: Sketch) -> None:
    """Plan a weighed sample or two, for some keepers."""
    source = case.draw.source("weighs")
    for _ in range(source.choice((0, 0, 1, 1, 2))):
        wrong = max(-2.0, min(2.0, source.gauss(0.0, 0.9)))
        case.do(source.uniform(1.0, 0.6 * case.days), {"kind": WEIGH}, wrong)
