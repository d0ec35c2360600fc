"""One bin: its sentence, the picture, the alerts, the curves of the last week, verdicts, journal."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any, Final

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from underlid.binmodel.bins import Setup
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS, parse_time_ms
from underlid.web.context import Context, context_of
from underlid.web.marks import marks_of, spans_of
from underlid.web.pages.service import DAYS
from underlid.web.problem import not_found
from underlid.web.series import Curves, curves_of, rounded
from underlid.web.templating import render, units_of
from underlid.web.view import bin_view
from underlid.web.visitor import AnyPerson
from underlid.web.wording import local

FIRST_VIEW_MS: Final = 7 * DAY_MS
FIRST_VIEW_POINTS: Final = 340
"""Half-hour steps over a week: what a phone can show, and about 15 kB compressed."""

AHEAD_MS: Final = 36 * HOUR_MS
"""How far the table of what is foreseen reaches, as far as the curves at first (our judgement)."""

JOURNAL_MOST: Final = 8
TABLE_CHANNELS: Final = (
    "bed_temp_c",
    "headspace_temp_c",
    "shed_temp_c",
    "dew_point_c",
    "headspace_rh_pct",
    "moisture_pct",
    "lid_film_g_m2",
)

router = APIRouter(include_in_schema=False)


@router.get("/bin/{bin_id}")
def bin_page(request: Request, bin_id: str, person: AnyPerson) -> Response:
    """Show everything about one bin."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    now_ms = context.clock.now_ms()
    view = bin_view(context, setup, bin_id, context.records.open_alerts(bin_id), units_of(request))
    curves = curves_of(context, setup, bin_id, now_ms - FIRST_VIEW_MS, now_ms, FIRST_VIEW_POINTS)
    forecast = forecast_json(context, bin_id)
    entries = context.records.entries(bin=bin_id, most=JOURNAL_MOST)
    return render(
        request,
        "bin.html",
        {
            "view": view,
            "out_days": DAYS,
            "now_ms": now_ms,
            "chart_json": chart_json(context, setup, bin_id, curves, forecast, now_ms),
            "table": week_table(curves, view.shed.timezone),
            "ahead": ahead_table(forecast, view.shed.timezone),
            "entries": entries,
            "photos": context.records.photos_of([entry.id for entry in entries]),
            "timezones": {bin_id: view.shed.timezone},
        },
    )


def chart_json(
    context: Context,
    setup: Setup,
    bin_id: str,
    curves: Curves,
    forecast: dict[str, Any] | None,
    now_ms: int,
) -> str:
    """Return the first picture's data, safe inside a script element."""
    start_ms = now_ms - FIRST_VIEW_MS
    data = {
        **curves_json(curves),
        "from": start_ms,
        "until": now_ms,
        "marks": marks_of(context, bin_id, start_ms, now_ms),
        "spans": spans_of(context, bin_id, start_ms, now_ms),
        "forecast": forecast,
        "target_pct": setup.bins[bin_id].target_moisture_pct,
    }
    return json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def curves_json(curves: Curves) -> dict[str, Any]:
    """Return curves as the browser's chart takes them: columns, null where there is nothing."""
    return {
        "start_ms": int(curves.start_ms[0]) if len(curves.start_ms) else 0,
        "step_ms": curves.step_ms,
        "points": len(curves.start_ms),
        "channels": {
            channel: {
                "low": rounded(band.low),
                "mean": rounded(band.mean),
                "high": rounded(band.high),
            }
            for channel, band in curves.bands.items()
            if np.isfinite(band.mean).any()
        },
    }


def forecast_json(context: Context, bin_id: str) -> dict[str, Any] | None:
    """Return what is foreseen as the browser's chart takes it: columns, as of curves."""
    state = context.judged.state(bin_id)
    forecast = state.get("forecast") if state else None
    if not isinstance(forecast, dict):
        return None
    step_ms = int(forecast["step_s"]) * SECOND_MS
    channels = forecast["channels"]
    return {
        "start_ms": parse_time_ms(forecast["first"]) - step_ms // 2,
        "step_ms": step_ms,
        "points": max(len(one["mean"]) for one in channels.values()),
        "channels": channels,
    }


def week_table(curves: Curves, timezone: str) -> dict[str, Any]:
    """Return the curves as a table of days: lowest, mean and highest of each channel."""
    channels = [
        channel
        for channel in TABLE_CHANNELS
        if channel in curves.bands and np.isfinite(curves.bands[channel].mean).any()
    ]
    if not len(curves.start_ms):
        return {"heads": [], "rows": []}
    first = local(int(curves.start_ms[0]), timezone)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    rows = []
    while midnight.timestamp() * SECOND_MS <= int(curves.start_ms[-1]):
        following = midnight + timedelta(days=1)
        ends = [round(at.timestamp() * SECOND_MS) for at in (midnight, following)]
        here = slice(*(int(at) for at in np.searchsorted(curves.start_ms, ends)))
        cells = [
            (
                channel,
                _range(
                    curves.bands[channel].low[here],
                    curves.bands[channel].mean[here],
                    curves.bands[channel].high[here],
                ),
            )
            for channel in channels
        ]
        rows.append((f"{midnight:%a} {midnight.day} {midnight:%b}", cells))
        midnight = following
    return {"heads": channels, "rows": rows}


def ahead_table(forecast: dict[str, Any] | None, timezone: str) -> dict[str, Any]:
    """Return the next day and a half of a forecast as a table: lowest, likeliest and highest."""
    if forecast is None:
        return {"heads": [], "rows": []}
    step_ms, channels = forecast["step_ms"], forecast["channels"]
    first_ms = forecast["start_ms"] + step_ms // 2
    rows = []
    for index in range(min(forecast["points"], AHEAD_MS // step_ms)):
        at = local(first_ms + index * step_ms + HOUR_MS // 2, timezone)
        cells = [
            (channel, tuple(_at(course[which], index) for which in ("low", "mean", "high")))
            for channel, course in channels.items()
        ]
        known = [(name, None if None in range_ else range_) for name, range_ in cells]
        rows.append((f"{at:%a} {at.day} {at:%b}, {at:%H}:00", known))
    return {"heads": list(channels), "rows": rows}


def _at(values: list[float | None], index: int) -> float | None:
    return values[index] if index < len(values) else None


def _range(low: Any, mean: Any, high: Any) -> tuple[float, float, float] | None:
    """Return a day's lowest, mean and highest value; None when nothing was said."""
    if not np.isfinite(mean).any():
        return None
    return float(np.nanmin(low)), float(np.nanmean(mean)), float(np.nanmax(high))
