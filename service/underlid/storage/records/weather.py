"""The weather outside each shed: what was supplied, and when."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from underlid.binmodel.outlook.weather import ROWS_MOST, Weather, WeatherRow
from underlid.storage.records.database import Subject
from underlid.storage.records.setup import bump_revision, require_shed
from underlid.storage.records.tables import weather
from underlid.timeline import DAY_MS

KEPT_MS: Final = 400 * DAY_MS
"""Older weather goes when newer comes: a year can be judged again."""


class WeatherRecords(Subject):
    """Keeps weather."""

    def save_weather(self, shed: str, rows: Sequence[WeatherRow]) -> int:
        """Keep *rows* of a shed beside those that are there; return how many were new."""
        found = {(row.at_ms, row.received_at_ms): row for row in rows}
        if not found:
            return 0
        newest_ms = max(at_ms for at_ms, _ in found)
        mine = weather.c.shed == shed
        with self._database.write() as connection:
            require_shed(connection, shed)
            connection.execute(
                sa.delete(weather).where(mine, weather.c.at_ms < newest_ms - KEPT_MS)
            )
            there = {
                tuple(row)
                for row in connection.execute(
                    sa.select(weather.c.at_ms, weather.c.received_at_ms).where(
                        mine, weather.c.at_ms >= min(at_ms for at_ms, _ in found)
                    )
                )
            }
            new = [row for key, row in found.items() if key not in there]
            if new:
                connection.execute(
                    sa.insert(weather),
                    [
                        {
                            "shed": shed,
                            "at_ms": row.at_ms,
                            "received_at_ms": row.received_at_ms,
                            "temp_c": row.temp_c,
                        }
                        for row in new
                    ],
                )
                bump_revision(connection)
        return len(new)

    def weather(self, shed: str, since_ms: int = 0) -> Weather | None:
        """Return a shed's weather from *since_ms* on; None where none was supplied."""
        wanted = (
            sa.select(weather.c.at_ms, weather.c.received_at_ms, weather.c.temp_c)
            .where(weather.c.shed == shed, weather.c.at_ms >= since_ms)
            .order_by(weather.c.at_ms.desc(), weather.c.received_at_ms.desc())
            .limit(ROWS_MOST)
        )
        with self._database.read() as connection:
            rows = [WeatherRow(*row) for row in connection.execute(wanted)]
        return Weather.of(rows) if rows else None
