"""The figures as rows of text, and as an object for scripts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from underlid.score.bands import AHEAD_H
from underlid.score.case import Scored
from underlid.score.matching import Raised
from underlid.score.totals import (
    DOSE_NEAR_PCT,
    Held,
    Row,
    coverage_of,
    doses_of,
    false_alerts,
    middle,
    missed,
    near,
    rows_of,
    whole_of,
)
from underlid.timeline import HOUR_MS, rfc3339

CONDITION_HEADER = (
    "condition", "events", "recall", "told", "blind", "alerts", "precision", "late", "left out", "lead h",
    "to alarm h", "allowed",
)  # fmt: skip
FAMILY_HEADER = (
    "family", "cases", "events", "missed", "blind", "alerts", "false", "of bins", "false/month",
    "messages/day",
)  # fmt: skip
BAND_HEADER = ("band holds", "1 h", "3 h", "6 h", "12 h", "24 h", "48 h", "72 h")
DOSE_HEADER = ("advice", "count", "within 2", "median error", "10 %", "90 %", "level error")


def condition_rows(cases: Sequence[Scored]) -> list[tuple[str, ...]]:
    """Return the table of conditions."""
    return [_condition(row) for row in rows_of(cases)]


def _condition(row: Row) -> tuple[str, ...]:
    allowed = f"{row.alarms_allowed}/{row.alarms}" if row.alarms else ""
    return (
        row.name, str(row.events), _share(row.recall),
        f"{sum(row.told) / len(row.told):.2f}" if row.told else "", str(row.blind or ""), str(row.alerts),
        _share(row.precision), str(row.late or ""), str(row.left_out or ""), _hours(middle(row.leads_h)),
        _hours(middle(row.alarm_leads_h)), allowed,
    )  # fmt: skip


def family_rows(cases: Sequence[Scored]) -> list[tuple[str, ...]]:
    """Return the table of families."""
    rows: list[tuple[str, ...]] = []
    for family in dict.fromkeys(case.family for case in cases):
        mine = [case for case in cases if case.family == family]
        whole, false = whole_of(mine), false_alerts(mine)
        judged = [found for case in mine for found in case.found if found.judged]
        rows.append(
            (
                family,
                str(len(mine)),
                str(sum(1 for found in judged if not found.blind)),
                str(len(missed(mine)) or ""),
                str(sum(1 for found in judged if found.blind) or ""),
                str(sum(len(case.alerts) for case in mine)),
                str(len(false) or ""),
                str(whole.false_bin_alerts or ""),
                f"{whole.false_a_month:.2f}",
                f"{whole.messages_a_day:.2f}",
            )
        )
    return rows


def band_rows(cases: Sequence[Scored]) -> list[tuple[str, ...]]:
    """Return how often 80 % bands held what came, per quantity and hours ahead."""
    return [row for name, held in coverage_of(cases).items() for row in coverage_rows(name, held)]


def coverage_rows(name: str, by_ahead: Mapping[int, Held]) -> list[tuple[str, ...]]:
    """Return the rows of one quantity: a cell for each hours ahead, empty where nothing came."""
    if not by_ahead:
        return []
    each = [by_ahead.get(ahead) for ahead in AHEAD_H]
    rows = [
        (name, *("" if held is None else _sides(held) for held in each)),
        (
            "  between the ends",
            *("" if held is None else f"{held.strict / held.count:.0%}" for held in each),
        ),
    ]
    if any(held.at_nothing for held in by_ahead.values()):
        rows.append(
            ("  should hold", *("" if held is None else f"{held.due:.0%}" for held in each))
        )
    return rows


def _sides(held: Held) -> str:
    shares = (held.inside / held.count, held.below / held.count, held.above / held.count)
    return "{:.0%} -{:.0%} +{:.0%}".format(*shares)


def dose_rows(cases: Sequence[Scored]) -> list[tuple[str, ...]]:
    """Return how far beds end from the target after what was advised, % points."""
    rows: list[tuple[str, ...]] = []
    for name, doses in sorted(doses_of(cases).items()):
        errors = sorted(dose.error_pct for dose in doses)
        near = sum(1 for error in errors if abs(error) <= DOSE_NEAR_PCT)
        levels = [dose.told_pct - dose.was_pct for dose in doses if dose.told_pct is not None]
        rows.append(
            (
                name,
                str(len(errors)),
                f"{near / len(errors):.0%}",
                f"{middle(errors):+.1f}",
                f"{errors[len(errors) // 10]:+.1f}",
                f"{errors[-1 - len(errors) // 10]:+.1f}",
                f"{middle(levels):+.1f}" if levels else "",
            )
        )
    return rows


def sentences(cases: Sequence[Scored]) -> list[str]:
    """Return the figures that belong to no single condition."""
    whole = whole_of(cases)
    said = [
        f"{whole.cases} cases, {whole.bin_days:.0f} bin-days:"
        f" {whole.false_a_month:.2f} false alerts a bin-month, {whole.messages_a_day:.2f} messages"
        " a bin-day."
    ]
    quiet = [case for case in cases if case.family == "quiet-month"]
    if quiet:
        said.append(f"Quiet months: {whole_of(quiet).false_a_month:.2f} false alerts a bin-month.")
    alone = [
        case for case in cases if case.family.startswith("fault-") and "event" not in case.family
    ]
    if alone:
        said.append(f"Faults alone: {whole_of(alone).false_bin_alerts} false alerts of bins.")
    if whole.too_soon:
        said.append(f"{whole.too_soon} alerts returned while the bin was still beyond its limit.")
    if whole.dates:
        errors = [one.error for one in whole.dates]
        by_trend = [one.of_drying for one in whole.dates]
        said.append(
            f"Dates of drying out at 5 days ahead: {near(errors)} of {len(errors)} within 20 %,"
            f" {errors.count(None)} not foreseen{_middle_error(errors)}. By the trend alone, from the"
            f" bed's true level: {near(by_trend)} within 20 %{_middle_error(by_trend)}."
        )
    if whole.order_cases:
        said.append(
            f"Late and shuffled: {whole.order_same} of {whole.order_cases} end with the same"
            " verdicts as in order."
        )
    return said


def _middle_error(errors: Sequence[float | None]) -> str:
    """Return the median error of the dates that were said, as a clause."""
    known = sorted(abs(one) for one in errors if one is not None)
    return f", median error {100 * known[len(known) // 2]:.0f} %" if known else ""


def detail(case: Scored) -> list[str]:
    """Return every event and alert of a case as lines, with times in hours since its start."""
    lines = [f"{case.family} {case.number}, from {rfc3339(case.start_ms)}, {case.days:g} days"]
    for fault in case.faults:
        lines.append(
            f"  fault  {fault.kind.value} {fault.probe} {fault.channel or 'all channels'}"
            f" ×{fault.size:.2f}: h {_at(case, fault.from_ms)} to {_at(case, fault.until_ms)}"
        )
    for found in sorted(case.found, key=lambda one: one.event.start_ms):
        event = found.event
        verdict = "blind" if found.blind else "MISSED" if found.judged else "not judged"
        if found.alert is not None:
            verdict = f"found, lead {found.lead_h:.1f} h"
        lines.append(
            f"  event  {event.condition.value} {found.variant}: h {_at(case, event.start_ms)} to"
            f" {_at(case, event.end_ms)}, known by {_at(case, event.deadline_ms)}, at most"
            f" {event.peak:+.2f} beyond; {verdict}"
        )
    for alert in case.alerts:
        lines += _alert(case, alert)
    for dose in case.doses:
        lines.append(
            f"  dose   {dose.condition.value} {dose.act} {dose.amount:.0f}: bed {dose.was_pct:.1f} %"
            f" (told {dose.told_pct}), ends at {dose.end_pct:.1f} %, target {dose.target_pct:.0f} %"
        )
    if case.differs not in ("", "[]"):
        lines.append(f"  order  differs in {case.differs}")
    return lines


def _alert(case: Scored, alert: Raised) -> list[str]:
    foreseen = ""
    if alert.forecast_for_ms is not None:
        foreseen = f" for h {_at(case, alert.forecast_for_ms)}"
    soon = ", RETURNED TOO SOON" if alert.gone_too_soon else ""
    end = "open" if alert.returned_ms is None else f"to {_at(case, alert.returned_ms)}"
    return [
        f"  alert  {alert.condition.value} {alert.subject} {alert.priority}: h"
        f" {_at(case, alert.at_ms)} {end}{foreseen}; {alert.right.upper()}, {alert.why}{soon}",
        f"         {alert.text}",
        f"         {dict(alert.evidence)} {alert.cause} {alert.grade}",
        *(f"         {change}" for change in alert.changes),
    ]


def _at(case: Scored, at_ms: int) -> str:
    return f"{(at_ms - case.start_ms) / HOUR_MS:.1f}"


def _share(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _hours(value: float | None) -> str:
    return "" if value is None else f"{value:+.1f}"
