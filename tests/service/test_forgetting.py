"""A service that runs for years does not keep all that it ever told."""

from __future__ import annotations

from pathlib import Path

from notify.messages import AT_MS, TOLD, post
from storage.records_places import file_address
from underlid.clock import ScaledClock
from underlid.config import load
from underlid.jobs import FORGET_EVERY_S, schedule
from underlid.notify.outbox import SENT_KEPT_MS, Courier
from underlid.parts import Parts
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.web.live import Hub
from waiting import wait_until


def test_what_was_told_long_ago_is_forgotten_while_it_runs(tmp_path: Path) -> None:
    records, readings = Records.open(file_address(tmp_path)), SqliteReadings(tmp_path / "r.sqlite")
    post(records, ["email"])
    (row,) = records.due_deliveries(AT_MS, 9)
    records.delivered(row.id, AT_MS)
    assert records.was_told(TOLD.alert_id, "email")
    clock = ScaledClock(AT_MS + SENT_KEPT_MS, FORGET_EVERY_S)
    parts = Parts(load(data=tmp_path), clock, records, readings, Hub())
    parts.courier = Courier(records, [], clock)
    scheduler = schedule(parts)
    wait_until(lambda: not records.was_told(TOLD.alert_id, "email"))
    scheduler.shutdown()
    readings.close()
    records.close()
