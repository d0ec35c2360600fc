"""Cases in which little happens, or slowly: quiet months, open lids, hunger, new bins, outdoor weather."""

from __future__ import annotations

from dataclasses import replace

from underlid.simulate.keeper import feeds_regularly, kitchen_feed, tends, weighs
from underlid.simulate.sketch import Sketch, sketch
from underlid.simulate.weather import Turn
from underlid.simulate.weather_files import MIAMI, PIEDMONT, shed_air


def calm(family: str, number: int, days: float) -> Sketch:
    """Return a bin that is fed and looked after; other families begin with it."""
    case = sketch(family, number, days)
    tends(case)
    weighs(case)
    return case


def quiet_month(number: int) -> Sketch:
    """Nothing happens but feeding, looking and weather."""
    case = calm("quiet-month", number, 28.0)
    feeds_regularly(case, case.days)
    return case


def lid_opened(number: int) -> Sketch:
    """A keeper who looks in several times a day, and once leaves the lid off for hours."""
    case = calm("lid-opened", number, 14.0)
    feeds_regularly(case, case.days)
    source = case.draw.source("visits")
    day = 1.0
    while day < case.days:
        case.do(day, {"kind": "note", "text": "Looked in."})
        case.acts[-1] = replace(case.acts[-1], open_min=source.uniform(2.0, 30.0))
        day += source.uniform(0.2, 0.9)
    case.do(source.uniform(5.0, 12.0), {"kind": "note", "text": "Left the lid off."})
    case.acts[-1] = replace(case.acts[-1], open_min=source.uniform(90.0, 500.0))
    return case


def hungry(number: int) -> Sketch:
    """The keeper is away and nobody feeds; some come back."""
    case = calm("hungry", number, 24.0)
    away = case.draw.between("away", 4.0, 8.0)
    feeds_regularly(case, away)
    if case.draw.chance("back", 0.4):
        feeds_regularly(case, case.days, from_day=case.draw.between("home", 15.0, 19.0))
    return case


def new_bin(number: int) -> Sketch:
    """A bin that is new, or was carried to a warmer or colder place."""
    case = calm("new-bin", number, 16.0)
    source = case.draw.source("new")
    if source.random() < 0.5:
        case.do(0.02, {"kind": "move", "text": "Set up."})
        case.moisture_pct = source.uniform(68.0, 82.0)
        grams = 1000.0 * case.bin.bed_kg * source.uniform(0.03, 0.10)
        case.do(0.05, kitchen_feed(source, grams, source.uniform(0.05, 0.3)))
        feeds_regularly(case, case.days, from_day=4.0)
    else:
        feeds_regularly(case, case.days)
        moved = source.uniform(5.0, 8.0)
        case.do(moved, {"kind": "move", "text": "Carried it elsewhere."})
        shift_k = source.choice((-1.0, 1.0)) * source.uniform(3.0, 10.0)
        case.turns.append(Turn(case.at_ms(moved), case.at_ms(99.0), shift_k, ramp_h=0.5))
    return case


def summer_weather(number: int) -> Sketch:
    """Measured weather of a summer, or of a warm town's spring, held back by a building."""
    case = calm("summer-weather", number, 18.0)
    if case.draw.chance("warm town", 0.35):
        case.air = shed_air(MIAMI, case.draw, case.start_ms, (30, 130))
    else:
        case.air = shed_air(PIEDMONT, case.draw, case.start_ms, (120, 260))
    feeds_regularly(case, case.days)
    return case


def winter_weather(number: int) -> Sketch:
    """Measured weather of a winter, held back by a building that is heated a little."""
    case = calm("winter-weather", number, 18.0)
    heated_k = case.draw.between("heated", 2.0, 10.0)
    case.air = shed_air(PIEDMONT, case.draw, case.start_ms, (-60, 80), heated_k)
    feeds_regularly(case, case.days, amount=0.6)
    return case
