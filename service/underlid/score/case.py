"""One case: simulate, judge, compare. What comes back is small and can be sent between processes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from underlid.binmodel.bins import Setup
from underlid.files.journal_csv import write_journal
from underlid.files.readings_csv import write_readings
from underlid.files.setup import setup_text
from underlid.files.verdicts import encoded
from underlid.journal.entries import Entry, Feed, LiquidAdded, Moved
from underlid.readings.values import Reading
from underlid.rules.finding import Condition
from underlid.score.bands import CHANGE, QUANTITIES, Outcome, deeds, outcomes
from underlid.score.dates import Date, dates
from underlid.score.doses import Dose, doses
from underlid.score.events import Event, events_of, fault_event, is_blind
from underlid.score.matching import (
    FALSE,
    RIGHT,
    Raised,
    finder_of,
    judge_alert,
    returned_too_soon,
    share_told,
)
from underlid.score.unseen import is_unseen
from underlid.score.verdicts import Verdicts, received, verdicts_of
from underlid.score.watched import Moments, times_of, watch
from underlid.simulate.families.catalogue import FAMILIES
from underlid.simulate.place import RAIN, SimulatedPlace, Stretch
from underlid.simulate.sensors import Fault, FaultKind
from underlid.simulate.sketch import SHED, Sketch
from underlid.simulate.truth_csv import write_truth
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

CAUSE_G = 500.0
"""A smaller feed or watering is the cause of nothing (our judgement)."""

CAUSE_WITHIN_MS = 5 * DAY_MS
FAULT_KNOWN_MS = 6 * HOUR_MS


@dataclass(slots=True)
class Found:
    """One event and what the judgement made of it."""

    event: Event
    blind: bool
    judged: bool
    """False when the case ended before the deadline."""
    alert: Raised | None
    allowed_h: float | None
    """Hours from the last cause to the limit; None where there is no single cause."""
    variant: str = ""
    """What makes it harder: the bin has no weighed sample, the shed no probe."""
    told: float | None = None
    """Share of its later time, beyond doubt, in which an alert was open."""

    @property
    def lead_h(self) -> float | None:
        """Return the hours from the alert to the event's beginning."""
        if self.alert is None:
            return None
        return (self.event.start_ms - self.alert.at_ms) / HOUR_MS

    @property
    def alarm_lead_h(self) -> float | None:
        """Return the hours from the alert to the alarm limit, if that was reached."""
        if self.alert is None or self.event.alarm_ms is None:
            return None
        return (self.event.alarm_ms - self.alert.at_ms) / HOUR_MS


@dataclass(slots=True)
class Scored:
    """What one case comes to."""

    family: str
    number: int
    start_ms: int
    days: float
    judgements: int
    found: list[Found] = field(default_factory=list)
    alerts: list[Raised] = field(default_factory=list)
    variants: dict[str, str] = field(default_factory=dict)
    """By condition, what made it harder."""
    messages: int = 0
    faults: tuple[Fault, ...] = ()
    outcomes: Counter[Outcome] = field(default_factory=Counter)
    doses: list[Dose] = field(default_factory=list)
    dates: list[Date] = field(default_factory=list)
    """Errors of the foreseen dates at 5 days ahead."""
    same_last: bool | None = None
    differs: str = ""


def score(family: str, number: int, keep: Path | None = None, tick_ms: int = MINUTE_MS) -> Scored:
    """Simulate and judge one case; with *keep*, write its files there."""
    sketch = FAMILIES[family](number)
    place = sketch.place()
    stretch = place.run(sketch.end_ms)
    setup = sketch.setup()
    readings = received(stretch.readings)
    verdicts = verdicts_of(
        setup,
        readings,
        stretch.entries,
        sketch.end_ms,
        tick_ms=tick_ms,
        keep_lines=keep is not None,
    )
    result = Scored(
        family, number, sketch.start_ms, sketch.days, verdicts.judgements,
        alerts=verdicts.alerts, messages=verdicts.messages, faults=tuple(sketch.faults),
        variants=_variants(sketch),
    )  # fmt: skip
    _match(result, sketch, stretch, verdicts)
    if not sketch.faults:
        _look_ahead(result, stretch, verdicts)
    _try_doses(result, sketch, stretch, place)
    if any(fault.kind is FaultKind.SHUFFLED for fault in sketch.faults):
        ordered = received(stretch.readings, in_order=True)
        in_order = verdicts_of(setup, ordered, stretch.entries, sketch.end_ms, tick_ms=tick_ms)
        result.same_last = in_order.last == verdicts.last
        result.differs = str(sorted(in_order.last ^ verdicts.last))
    if keep is not None:
        _write(keep, setup, readings, stretch, verdicts)
    return result


def _match(result: Scored, sketch: Sketch, stretch: Stretch, verdicts: Verdicts) -> None:
    at_ms = times_of(stretch.truths)
    for watched in watch(sketch.bin, stretch.truths, stretch.entries):
        for event in events_of(watched, at_ms, sketch.faults):
            alert = finder_of(event, verdicts.alerts)
            result.found.append(
                Found(
                    event,
                    is_blind(event, sketch.faults),
                    alert is not None or event.deadline_ms <= int(at_ms[-1]),
                    alert,
                    _allowed_h(event, sketch, stretch.entries),
                    result.variants.get(event.condition.value, ""),
                    share_told(event, verdicts.alerts, watched, at_ms),
                )
            )
        for alert in verdicts.alerts:
            if alert.condition is watched.condition:
                alert.right, alert.why = judge_alert(alert, watched, at_ms, stretch.entries)
                alert.gone_too_soon = returned_too_soon(alert, watched, at_ms)
        if watched.condition is Condition.DRYING_OUT and watched.condition not in result.variants:
            rained_ms = [act.at_ms for act in sketch.acts if act.fields["kind"] == RAIN]
            result.dates += dates(watched, at_ms, verdicts.dries, stretch.entries, rained_ms)
    _match_faults(result, sketch, stretch, verdicts, at_ms)


def _match_faults(
    result: Scored, sketch: Sketch, stretch: Stretch, verdicts: Verdicts, at_ms: Moments
) -> None:
    of = [one for one in verdicts.alerts if one.condition is Condition.PROBE_FAULT]
    for alert in of:
        touching = [
            fault
            for fault in sketch.faults
            if fault.probe == alert.subject
            and fault.from_ms <= alert.at_ms <= fault.until_ms + FAULT_KNOWN_MS
        ]
        alert.right = RIGHT if touching else FALSE
        alert.why = touching[0].kind.value if touching else "nothing was wrong with it"
    for fault in sketch.faults:
        event = fault_event(fault, int(at_ms[-1]))
        if event is None or is_unseen(fault, result.family, result.number, stretch.readings):
            continue
        mine = [
            one
            for one in of
            if one.subject == fault.probe and event.start_ms <= one.at_ms <= event.deadline_ms
        ]
        result.found.append(
            Found(event, False, True, mine[0] if mine else None, None, fault.kind.value)
        )


def _allowed_h(event: Event, sketch: Sketch, entries: Sequence[Entry]) -> float | None:
    """Return the hours from the last cause before the event to its beginning."""
    causes = [turn.from_ms for turn in sketch.turns]
    for entry in entries:
        what = entry.what
        big = isinstance(what, Feed | LiquidAdded) and what.mass_g >= CAUSE_G
        if big or isinstance(what, Moved):
            causes.append(entry.at_ms)
    since = [event.start_ms - one for one in causes if 0 <= event.start_ms - one < CAUSE_WITHIN_MS]
    return min(since) / HOUR_MS if since else None


def _look_ahead(result: Scored, stretch: Stretch, verdicts: Verdicts) -> None:
    truth = {one.at_ms: one.values for one in stretch.truths}
    done_ms = deeds(stretch.entries)
    for forecast in verdicts.forecasts:
        courses = {name: getattr(forecast, name) for name in QUANTITIES if name != CHANGE}
        result.outcomes += outcomes(forecast.at_ms, courses, truth, done_ms)


def _try_doses(result: Scored, sketch: Sketch, stretch: Stretch, place: SimulatedPlace) -> None:
    for alert in result.alerts:
        kept = [(at_ms, bed) for at_ms, bed in stretch.kept if at_ms <= alert.at_ms]
        if not kept or alert.right == FALSE:
            continue
        at_ms, bed = kept[-1]
        result.doses += doses(
            alert,
            bed,
            sketch.bin.target_moisture_pct,
            stretch.entries,
            lambda when_ms: place.around(SHED, when_ms),
            at_ms,
        )


def _variants(sketch: Sketch) -> dict[str, str]:
    variants = {}
    if len(sketch.soil_points) < 2:
        for condition in (Condition.DRYING_OUT, Condition.TOO_WET, Condition.SOUR):
            variants[condition.value] = "not weighed"
    if not sketch.air_probe:
        variants[Condition.CONDENSATION.value] = "no shed air"
        variants[Condition.OVERHEATING.value] = "no shed air"
    return variants


def _write(
    folder: Path, setup: Setup, readings: Sequence[Reading], stretch: Stretch, verdicts: Verdicts
) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shed.toml").write_text(setup_text(setup), encoding="utf-8")
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        write_readings(file, readings)
    with (folder / "journal.csv").open("w", encoding="utf-8", newline="") as file:
        write_journal(file, stretch.entries)
    with (folder / "truth.csv").open("w", encoding="utf-8", newline="") as file:
        write_truth(file, stretch.truths)
    (folder / "verdicts.jsonl").write_bytes(encoded(verdicts.lines))
