"""All figures of a run as one object, for scripts and for looking into what went wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from underlid.score.case import Found, Scored
from underlid.score.doses import Dose
from underlid.score.matching import Raised
from underlid.score.tables import FAMILY_HEADER, family_rows
from underlid.score.totals import (
    Row,
    coverage_of,
    false_alerts,
    middle,
    missed,
    rows_of,
    whole_of,
)
from underlid.timeline import HOUR_MS


def as_object(cases: Sequence[Scored]) -> dict[str, object]:
    """Return the figures of *cases*; times in hours since a case began."""
    whole = whole_of(cases)
    return {
        "cases": whole.cases,
        "bin_days": whole.bin_days,
        "false_alerts_per_bin_month": round(whole.false_a_month, 3),
        "messages_per_bin_day": round(whole.messages_a_day, 3),
        "conditions": {row.name.strip(): _condition(row) for row in rows_of(cases) if row.whole},
        "families": [dict(zip(FAMILY_HEADER, row, strict=True)) for row in family_rows(cases)],
        "bands": {
            name: {str(ahead): asdict(held) for ahead, held in by_ahead.items()}
            for name, by_ahead in coverage_of(cases).items()
        },
        "doses": [_dose(case, dose) for case in cases for dose in case.doses],
        "dates": [one.error for one in whole.dates],
        "dates_by_trend_alone": [one.of_drying for one in whole.dates],
        "order": {
            "same": whole.order_same,
            "cases": whole.order_cases,
            "differs": [
                {"family": case.family, "number": case.number, "in": case.differs}
                for case in cases
                if case.same_last is False
            ],
        },
        "missed": [_missed(case, found) for case, found in missed(cases)],
        "false": [_alert(case, alert) for case, alert in false_alerts(cases)],
        "returned_too_soon": [
            _alert(case, alert) for case in cases for alert in case.alerts if alert.gone_too_soon
        ],
    }


def _condition(row: Row) -> dict[str, object]:
    return {
        "events": row.events,
        "found": row.found,
        "blind": row.blind,
        "recall": row.recall,
        "told": sum(row.told) / len(row.told) if row.told else None,
        "alerts": row.alerts,
        "late": row.late,
        "left_out": row.left_out,
        "precision": row.precision,
        "median_lead_h": middle(row.leads_h),
        "median_lead_to_alarm_h": middle(row.alarm_leads_h),
        "alarms": row.alarms,
        "alarms_allowed": row.alarms_allowed,
    }


def _missed(case: Scored, found: Found) -> dict[str, object]:
    event = found.event
    return {
        "family": case.family,
        "number": case.number,
        "condition": event.condition.value,
        "harder": found.variant,
        "start_h": _hours(case, event.start_ms),
        "end_h": _hours(case, event.end_ms),
        "known_by_h": _hours(case, event.deadline_ms),
        "beyond": round(event.peak, 2),
    }


def _alert(case: Scored, alert: Raised) -> dict[str, object]:
    return {
        "family": case.family,
        "number": case.number,
        "condition": alert.condition.value,
        "subject": alert.subject,
        "raised_h": _hours(case, alert.at_ms),
        "returned_h": _hours(case, alert.returned_ms),
        "forecast_for_h": _hours(case, alert.forecast_for_ms),
        "why": alert.why,
        "text": alert.text,
        "evidence": dict(alert.evidence),
        "cause": alert.cause,
    }


def _dose(case: Scored, dose: Dose) -> dict[str, object]:
    return {
        "family": case.family,
        "number": case.number,
        "condition": dose.condition.value,
        "act": dose.act,
        "amount": dose.amount,
        "told_pct": dose.told_pct,
        "was_pct": round(dose.was_pct, 2),
        "end_pct": round(dose.end_pct, 2),
        "target_pct": dose.target_pct,
        "error_pct": round(dose.error_pct, 2),
    }


def _hours(case: Scored, at_ms: int | None) -> float | None:
    return None if at_ms is None else round((at_ms - case.start_ms) / HOUR_MS, 1)
