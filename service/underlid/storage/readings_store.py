"""The store of readings that the settings ask for: the one place that knows both."""

from __future__ import annotations

from underlid.clock import Clock
from underlid.config import Settings
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.selecting import channels
from underlid.storage.influx.server import InfluxPlace, InfluxServer
from underlid.storage.protocols import ReadingStore
from underlid.storage.sqlite_readings import SqliteReadings


def open_readings(settings: Settings, clock: Clock | None = None) -> ReadingStore:
    """Open the store to look things up; what waits for InfluxDB goes on waiting."""
    if settings.readings_store == "sqlite":
        return open_sqlite(settings)
    return open_influx(settings, clock)


def open_readings_to_run(settings: Settings, clock: Clock) -> ReadingStore:
    """Open the store for the service: what waits for InfluxDB is sent from now on."""
    store = open_readings(settings, clock)
    if isinstance(store, InfluxReadings):
        store.start()
    return store


def open_sqlite(settings: Settings) -> SqliteReadings:
    """Open the readings in the data folder, whatever the settings choose."""
    return SqliteReadings(settings.readings_path, settings.raw_days, settings.hourly_days)


def open_influx(settings: Settings, clock: Clock | None = None) -> InfluxReadings:
    """Open the readings in InfluxDB, whatever the settings choose."""
    return InfluxReadings(settings.buffer_path, influx_place(settings), clock)


def influx_place(settings: Settings) -> InfluxPlace:
    """Return where InfluxDB is and what it lets us do."""
    return InfluxPlace(
        settings.influxdb_url,
        settings.influxdb_token.get_secret_value(),
        settings.influxdb_org,
        settings.influxdb_bucket,
    )


def meet_influx(settings: Settings) -> None:
    """Ask InfluxDB for what it has of readings; raises `StoreError` when it does not answer."""
    server = InfluxServer(influx_place(settings))
    try:
        channels(server)
    finally:
        server.close()
