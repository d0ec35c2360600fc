"""Figures over many cases, as the table shows them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Final

from underlid.rules.finding import Condition
from underlid.score.bands import AHEAD_H, AT_NOTHING, QUANTITIES, SIDES, STRICT, Outcome
from underlid.score.case import Found, Scored
from underlid.score.dates import Date
from underlid.score.doses import Dose
from underlid.score.matching import FALSE, LATE, LEFT_OUT, RIGHT, Raised

ALLOWED_H: Final = {Condition.CONDENSATION: 4.0, Condition.OVERHEATING: 6.0}
"""The lead that is asked for, where physics allows it."""

MONTH_DAYS: Final = 30.0
DOSE_NEAR_PCT: Final = 2.0
DATE_NEAR: Final = 0.2


@dataclass(slots=True)
class Row:
    """One condition, or a harder part of it, over all cases."""

    name: str
    condition: Condition
    events: int = 0
    found: int = 0
    blind: int = 0
    alerts: int = 0
    right: int = 0
    late: int = 0
    """Of these, forecasts that came true later than they said."""
    left_out: int = 0
    leads_h: list[float] = field(default_factory=list)
    alarm_leads_h: list[float] = field(default_factory=list)
    """Leads to the alarm limit, of the events that allow the lead asked for."""
    told: list[float] = field(default_factory=list)
    """Of each event, the share of its later time in which an alert was open."""
    alarms: int = 0
    alarms_allowed: int = 0
    whole: bool = True
    """False for a harder part."""

    @property
    def recall(self) -> float | None:
        """Return the share of events found."""
        return self.found / self.events if self.events else None

    @property
    def precision(self) -> float | None:
        """Return the share of alerts that were right, those left out not counted."""
        judged = self.alerts - self.left_out
        return self.right / judged if judged else None


@dataclass(frozen=True, slots=True)
class Held:
    """What came of one quantity's 80 % bands so many hours ahead."""

    inside: int
    below: int
    above: int
    at_nothing: int
    """Bands whose lower end is at nothing, with no room for a tenth of the outcomes below."""
    strict: int
    """Of those inside, how many lie between the ends themselves."""

    @property
    def count(self) -> int:
        """Return how many outcomes there are."""
        return self.inside + self.below + self.above

    @property
    def due(self) -> float:
        """Return the share that these bands should hold."""
        return 0.8 + 0.1 * self.at_nothing / self.count


def rows_of(cases: Sequence[Scored]) -> list[Row]:
    """Return a row for each condition, followed by its harder parts."""
    rows: list[Row] = []
    for condition in Condition:
        variants = {
            found.variant for case in cases for found in case.found if _is(found, condition)
        } | {
            case.variants.get(condition.value, "")
            for case in cases
            if any(alert.condition is condition for alert in case.alerts)
        }
        whole = _row(cases, condition, None)
        if not whole.events and not whole.alerts and not whole.blind:
            continue
        rows.append(whole)
        if variants - {""}:
            rows += [_row(cases, condition, variant) for variant in sorted(variants)]
    return rows


def _row(cases: Sequence[Scored], condition: Condition, variant: str | None) -> Row:
    name = condition.value if variant is None else f"  {variant or 'the rest'}"
    row = Row(name, condition, whole=variant is None)
    for case in cases:
        for found in case.found:
            if _is(found, condition) and variant in (None, found.variant):
                _add_event(row, found)
        for alert in case.alerts:
            kind = case.variants.get(condition.value, "")
            if condition is Condition.PROBE_FAULT:
                kind = alert.why if alert.right == RIGHT else ""
            if alert.condition is condition and variant in (None, kind):
                row.alerts += 1
                row.right += alert.right == RIGHT
                row.late += alert.why.startswith(LATE)
                row.left_out += alert.right == LEFT_OUT
    return row


def _is(found: Found, condition: Condition) -> bool:
    return found.event.condition is condition


def _add_event(row: Row, found: Found) -> None:
    if not found.judged:
        return
    if found.blind:
        row.blind += 1
        return
    row.events += 1
    row.found += found.alert is not None
    if found.told is not None:
        row.told.append(found.told)
    if found.lead_h is not None:
        row.leads_h.append(found.lead_h)
    if found.event.alarm_ms is None:
        return
    row.alarms += 1
    to_alarm_h = (found.event.alarm_ms - found.event.start_ms) / 3.6e6
    allowed = found.allowed_h is None or found.allowed_h + to_alarm_h >= ALLOWED_H.get(
        row.condition, 0.0
    )
    row.alarms_allowed += allowed
    if allowed and found.alarm_lead_h is not None:
        row.alarm_leads_h.append(found.alarm_lead_h)


def middle(values: Iterable[float]) -> float | None:
    """Return the median, or None of nothing."""
    known = list(values)
    return median(known) if known else None


@dataclass(slots=True)
class Whole:
    """Figures that belong to no single condition."""

    cases: int
    bin_days: float
    messages_a_day: float
    false_a_month: float
    false_bin_alerts: int
    """False alerts of bins, those of probes left out."""
    too_soon: int
    """Alerts that returned while the bin was still beyond doubt beyond its limit."""
    order_same: int
    order_cases: int
    dates: list[Date]


def near(errors: Iterable[float | None]) -> int:
    """Return how many dates were within a fifth of the remaining time.

    >>> near([0.1, -0.3, None])
    1
    """
    return sum(1 for one in errors if one is not None and abs(one) <= DATE_NEAR)


def whole_of(cases: Sequence[Scored]) -> Whole:
    """Return the figures of *cases* as a whole."""
    days = sum(case.days for case in cases)
    false = [alert for case in cases for alert in case.alerts if alert.right == FALSE]
    ordered = [case for case in cases if case.same_last is not None]
    return Whole(
        len(cases),
        days,
        sum(case.messages for case in cases) / days if days else 0.0,
        MONTH_DAYS * len(false) / days if days else 0.0,
        sum(1 for alert in false if alert.condition is not Condition.PROBE_FAULT),
        sum(1 for case in cases for alert in case.alerts if alert.gone_too_soon),
        sum(1 for case in ordered if case.same_last),
        len(ordered),
        [date for case in cases for date in case.dates],
    )


def coverage_of(cases: Iterable[Scored]) -> dict[str, dict[int, Held]]:
    """Return per quantity and hours ahead how often the band held what came."""
    total: Counter[Outcome] = Counter()
    for case in cases:
        total += case.outcomes
    found: dict[str, dict[int, Held]] = {name: {} for name in QUANTITIES}
    for name in QUANTITIES:
        for ahead in AHEAD_H:
            held = Held(*(total[name, ahead, side] for side in (*SIDES, AT_NOTHING, STRICT)))
            if held.count:
                found[name][ahead] = held
    return found


def doses_of(cases: Iterable[Scored]) -> dict[str, list[Dose]]:
    """Return the advised amounts by condition and act."""
    found: dict[str, list[Dose]] = {}
    for case in cases:
        for dose in case.doses:
            found.setdefault(f"{dose.condition.value} {dose.act}", []).append(dose)
    return found


def false_alerts(cases: Iterable[Scored]) -> list[tuple[Scored, Raised]]:
    """Return the alerts that were not right, each with its case."""
    return [(case, alert) for case in cases for alert in case.alerts if alert.right == FALSE]


def missed(cases: Iterable[Scored]) -> list[tuple[Scored, Found]]:
    """Return the events that were not found, each with its case."""
    return [
        (case, found)
        for case in cases
        for found in case.found
        if found.judged and not found.blind and found.alert is None
    ]
