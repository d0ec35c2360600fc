"""What comes every few seconds while a database is away says so once, and not with a page of traces."""

from __future__ import annotations

from pathlib import Path

import pytest
from structlog.testing import capture_logs

from storage.influx_front import Fault, Front
from storage.influxd import DATABASE, PASSWORD, USER, Influxd
from underlid.clock import VirtualClock
from underlid.jobs import patient
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.timeline import DAY_MS


def test_an_absence_is_told_once(tmp_path: Path) -> None:
    influxd = Influxd(tmp_path / "influxd")
    front = Front(influxd.url)
    place = InfluxPlace(front.url, f"{USER}:{PASSWORD}", "", f"{DATABASE}/autogen")
    store = InfluxReadings(tmp_path / "buffer.sqlite", place, VirtualClock(20_000 * DAY_MS))
    look = patient("following", lambda: store.arrived_since(20_000 * DAY_MS, 10))
    front.faults.extend([Fault(status=503, path="/query")] * 3)
    with capture_logs() as logs:
        for _ in range(5):
            look()
    store.close()
    front.stop()
    influxd.stop()
    assert [one["event"] for one in logs] == ["following waits", "following goes on"]
    assert "503" in logs[0]["said"]


def test_a_mistake_is_no_absence() -> None:
    def wrong() -> None:
        raise ValueError("a mistake of ours")

    with pytest.raises(ValueError, match="ours"):
        patient("following", wrong)()
