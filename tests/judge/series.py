"""Hand-made bins and readings for the judge's tests: plain curves, no simulator."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from underlid.alerts.alert import Transition
from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.journal.entries import Entry, Feed, Portion, What
from underlid.judge import Judge
from underlid.pipeline import Judgement
from underlid.readings.values import Reading
from underlid.timeline import HOUR_MS, MINUTE_MS

START_MS = 1_760_000_000_000 // (24 * HOUR_MS) * (24 * HOUR_MS)

Curve = Callable[[float], dict[str, float] | None]
"""Hours since the start -> what the probe says; None for silence."""


def setup(**changes: object) -> Setup:
    """Return one shed with one bin and two probes."""
    bin_ = Bin("tansy", "potting", "Tansy", **changes)  # type: ignore[arg-type]
    place = ProbePlace(
        "tansy-1",
        "potting",
        "tansy",
        soil_dry_raw=2750,
        soil_wet_raw=1150,
        soil_points=((0.40, 62.0), (0.62, 78.0)),
    )
    return Setup(
        {"potting": Shed("potting", "Potting shed", air_probe="air1")},
        {"tansy": bin_},
        {"tansy-1": place, "air1": ProbePlace("air1", "potting", None)},
    )


def readings(bin_curve: Curve, air_curve: Curve, hours: float, step_min: int = 5) -> list[Reading]:
    """Return readings of both probes, one every *step_min* minutes."""
    made = []
    for minute in range(0, round(hours * 60), step_min):
        at_ms = START_MS + minute * MINUTE_MS
        for probe, curve in (("tansy-1", bin_curve), ("air1", air_curve)):
            values = curve(minute / 60)
            if values is not None:
                made.append(Reading(probe, "potting", at_ms, at_ms, values))
    return made


def entry(hour: float, what: What, number: int = 1) -> Entry:
    at_ms = START_MS + round(hour * HOUR_MS)
    return Entry(f"entry-{number}", "tansy", at_ms, at_ms, what, by="Ash")


def melon(hour: float, mass_g: float = 1800.0) -> Entry:
    return entry(hour, Feed((Portion("melon", mass_g),)))


def run(
    judge: Judge, made: Iterable[Reading], until_h: float, from_h: float = 0.0
) -> Iterator[Judgement]:
    """Deliver readings by their arrival and judge every minute."""
    queue = sorted(made, key=lambda one: one.received_at_ms)
    place = 0
    for minute in range(round(from_h * 60), round(until_h * 60) + 1):
        now_ms = START_MS + minute * MINUTE_MS
        batch = []
        while place < len(queue) and queue[place].received_at_ms <= now_ms:
            batch.append(queue[place])
            place += 1
        judge.add_readings(batch)
        yield from judge.judge(now_ms)


def changes(
    made: list[Reading],
    until_h: float,
    entries: Iterable[Entry] = (),
    place: Setup | None = None,
) -> list[Transition]:
    """Return every transition of one run from the start."""
    judge = Judge(place or setup(), START_MS)
    judge.set_entries("tansy", entries)
    return [change for one in run(judge, made, until_h) for change in one.transitions]
