"""Cases with one sensor fault in a calm fortnight, and the same fault during a real event."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from underlid.simulate.families.calm import calm
from underlid.simulate.families.events import some_event
from underlid.simulate.keeper import feeds_regularly
from underlid.simulate.sensors import FaultKind
from underlid.simulate.sketch import Sketch

TEMPERATURES: Final = ("bed_temp_c", "headspace_temp_c", "shed_temp_c")
SENSORS: Final = (*TEMPERATURES, "headspace_rh_pct", "soil_raw")
HUMIDITY: Final = ("headspace_rh_pct",)
WHOLE: Final = ("",)


@dataclass(frozen=True, slots=True)
class Way:
    """How a kind of fault is drawn: where, how long, how bad."""

    channels: tuple[str, ...]
    hours: tuple[float, float]
    sizes: tuple[float, float] = (1.0, 1.0)


WAYS: Final[dict[FaultKind, Way]] = {
    FaultKind.SPIKE: Way(SENSORS, (24.0, 120.0), (0.5, 1.5)),
    FaultKind.STUCK: Way(SENSORS, (24.0, 120.0)),
    FaultKind.DRIFT: Way(SENSORS, (96.0, 150.0), (1.5, 4.0)),
    FaultKind.NOISE: Way(SENSORS, (24.0, 120.0), (0.6, 1.6)),
    FaultKind.DROPOUT: Way(WHOLE, (24.0, 120.0)),
    FaultKind.RAIL: Way(SENSORS, (12.0, 120.0)),
    FaultKind.SENTINEL: Way(TEMPERATURES, (12.0, 120.0)),
    FaultKind.SILENT: Way(("", "shed_temp_c"), (12.0, 96.0)),
    FaultKind.MOVED: Way(("bed_temp_c", "soil_raw"), (96.0, 150.0), (0.6, 1.6)),
    FaultKind.PULLED_OUT: Way(WHOLE, (12.0, 120.0)),
    FaultKind.WRONG_CLOCK: Way(WHOLE, (24.0, 120.0), (-9.0, 9.0)),
    FaultKind.SATURATED: Way(HUMIDITY, (48.0, 150.0)),
}
"""Lengths and sizes are our judgement; what a size is multiplied with stands in `sensors.MAKES`."""


def name_of(kind: FaultKind) -> str:
    """Return the family's name of a fault alone."""
    return f"fault-{kind.value.replace('_', '-')}"


def alone(kind: FaultKind) -> Callable[[int], Sketch]:
    """Return the family of *kind* in a calm fortnight."""

    def family(number: int) -> Sketch:
        case = calm(name_of(kind), number, 14.0)
        feeds_regularly(case, case.days)
        _fail(case, kind)
        return case

    return family


def in_event(kind: FaultKind) -> Callable[[int], Sketch]:
    """Return the family of *kind* while something really happens."""

    def family(number: int) -> Sketch:
        case = calm(f"{name_of(kind)}-in-event", number, 14.0)
        feeds_regularly(case, 5.0)
        some_event(case)
        _fail(case, kind)
        return case

    return family


def _fail(case: Sketch, kind: FaultKind) -> None:
    source, way = case.draw.source("fault"), WAYS[kind]
    channel = source.choice(way.channels)
    day, hours = source.uniform(5.5, 8.0), source.uniform(*way.hours)
    size = source.uniform(*way.sizes)
    if kind in (FaultKind.DRIFT, FaultKind.MOVED) and source.random() < 0.5:
        size = -size
    case.fail(kind, day, hours, channel, size)
    if kind is FaultKind.SILENT:
        case.faults[-1] = replace(case.faults[-1], channel="")
