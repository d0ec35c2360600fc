"""Alerts from the command line: what is wrong, the working of the advice, and what was done about it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from judge.series import melon, readings, setup
from underlid.cli import underlid
from underlid.clock import VirtualClock
from underlid.readings.values import Admitted
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import HOUR_MS
from underlid.watch import Watch

HOURS = 40


@pytest.fixture
def run(tmp_path: Path) -> Callable[..., str]:
    """Return a way to run a command on a place whose lid has been wet since a melon."""
    records = Records.open(f"sqlite:///{tmp_path / 'records.sqlite'}")
    records.save_setup(setup())
    records.add_entry(melon(4))
    store = SqliteReadings(tmp_path / "readings.sqlite")
    wet = {"bed_temp_c": 25.0, "headspace_temp_c": 24.0, "headspace_rh_pct": 98.0}
    made = readings(lambda _hour: wet, lambda _hour: {"shed_temp_c": 19.0}, HOURS, 10)
    clock = VirtualClock(made[-1].taken_at_ms - 4 * HOUR_MS)
    before = [one for one in made if one.taken_at_ms <= clock.now_ms()]
    store.write(before)
    watch = Watch(records, store, clock, tick_s=60.0)
    watch.start()
    for one in made[len(before) :]:
        clock.set_ms(one.taken_at_ms)
        store.write([one])
        watch.take(Admitted([one], [], [], []))
        watch.tick()
    store.close()
    records.close()

    def invoke(*words: str) -> str:
        result = CliRunner().invoke(underlid, [*words, "--data", str(tmp_path)])
        assert result.exit_code == 0, result.output
        return result.stdout

    return invoke


def wet_lid(run: Callable[..., str]) -> dict[str, Any]:
    """Return the alert of the wet lid."""
    listed = json.loads(run("alerts", "list", "--json"))
    return next(one for one in listed if one["condition"] == "condensation")


def test_an_alert_is_listed_with_its_advice_and_how_that_was_worked_out(
    run: Callable[..., str],
) -> None:
    alert = wet_lid(run)
    assert (alert["bin"], alert["shed"], alert["priority"]) == ("tansy", "potting", "high")
    dose = next(one for one in alert["advice"] if one["act"] == "add-bedding")
    assert dose["amount_g"] > 0
    assert f"{dose['amount_g']:.0f} g" in dose["text"]
    for part in ("B = F·(M − G)/(G − Mb)", "g of feed, lid water", "Source: "):
        assert part in dose["working"]
    table = run("alerts", "list", "--bin", "tansy")
    assert alert["text"] in table
    assert alert["id"] in table


def test_an_alert_is_acknowledged_and_shelved(run: Callable[..., str]) -> None:
    alert = wet_lid(run)
    assert alert["acknowledged"] is None
    run("alerts", "acknowledge", alert["id"], "--by", "Robin")
    assert wet_lid(run)["acknowledged_by"] == "Robin"
    assert "seen by Robin" in run("alerts", "list")
    run("alerts", "shelve", alert["id"], "--hours", "48")
    assert wet_lid(run)["shelved_until"] is not None
    assert "shelved until" in run("alerts", "list", "--all")
    run("alerts", "shelve", alert["id"], "--hours", "0")
    assert wet_lid(run)["shelved_until"] is None
