"""Weather outside a shed as a CSV file: `time,temp_c[,rh_pct][,received]`, a row an hour or so.

Times are RFC 3339 or epoch seconds. `received` is when the row became known, for replays; without it a
row counts as known at its own time or at *received_ms*, whichever is earlier. Other columns are ignored.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from math import isfinite
from pathlib import Path

from underlid.binmodel.outlook.weather import COLDEST_C, HOTTEST_C, WeatherRow
from underlid.errors import UnderlidError
from underlid.timeline import parse_time_ms


def read_weather(path: Path, received_ms: int | None = None) -> list[WeatherRow]:
    """Return the rows of the file at *path*.

    *received_ms* is when the file came in; None for a replay, which knows a row from its own time on.
    """
    try:
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
            return weather_rows(file, path.name, received_ms)
    except OSError as error:
        raise UnderlidError(
            "weather file",
            value=str(path),
            expected=f"a file that can be read ({error.strerror})",
            next_step="Correct its name.",
        ) from None


def weather_rows(
    file: Iterable[str], name: str, received_ms: int | None = None
) -> list[WeatherRow]:
    """Return the rows of an open file; the first bad one raises `UnderlidError`."""
    reader = csv.DictReader(file)
    heads = set(reader.fieldnames or ())
    if not {"time", "temp_c"} <= heads:
        raise UnderlidError(
            f"first line of {name}",
            value=",".join(reader.fieldnames or ()),
            expected="time,temp_c, and perhaps received",
            next_step="Give the columns these names.",
        )
    return [_row(row, f"{name} line {reader.line_num}", received_ms) for row in reader]


def _row(row: dict[str, str | None], where: str, received_ms: int | None) -> WeatherRow:
    try:
        at_ms = parse_time_ms((row["time"] or "").strip())
        received = (row.get("received") or "").strip()
        known_ms = parse_time_ms(received) if received else received_ms
        temp_c = float(row["temp_c"] or "")
    except (ValueError, OverflowError):
        temp_c = float("nan")
    if not isfinite(temp_c) or not COLDEST_C <= temp_c <= HOTTEST_C:
        raise UnderlidError(
            where,
            value=f"{row.get('time')}, {row.get('temp_c')}",
            expected=f"a time and °C from {COLDEST_C:g} to {HOTTEST_C:g}",
            next_step="Correct or remove the line.",
        )
    return WeatherRow(at_ms, at_ms if known_ms is None else known_ms, temp_c)
