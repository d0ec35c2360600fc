"""Each address is told in its own units: alerts, what is said again, notes to look, digests."""

from __future__ import annotations

from dataclasses import replace

import pytest

from judge.series import START_MS, readings, run, setup
from notify.test_looks import FED, MORNING_MS, rounds
from storage.records_places import fresh
from underlid.alerts.routes import RouteRules
from underlid.clock import VirtualClock
from underlid.journal.units import SI
from underlid.judge import Judge
from underlid.notify.rounds import Rounds
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, HOUR_MS


def told(records: Records, channel: str) -> list[str]:
    return [one.message.text for one in records.due_deliveries(9**15, 99, channel)]


def addresses(records: Records, **more: object) -> list[str]:
    records.add_person("Ash", "keeper", "herd under the lid")
    return [
        records.add_route(
            "Ash", "json://h/x", "json", "", RouteRules(units=units, **more), 0  # type: ignore[arg-type]
        ).channel
        for units in ("", "si", "us")
    ]  # fmt: skip


def test_alerts_repeats_and_digests_are_told_in_the_units_of_the_address() -> None:
    judge = Judge(setup(), START_MS)
    hot = readings(lambda _: {"bed_temp_c": 34.0}, lambda _: {"shed_temp_c": 20.0}, 12)
    judged = [one for one in run(judge, hot, 10) if one.messages]
    with fresh() as records:
        records.save_setup(setup())
        channels = addresses(records, digest_hour=0)
        for one in judged:
            records.save_judgement(one.alerts, one.transitions, one.messages, ["email"])
        for channel in ("email", *channels[:2]):
            assert any("34.0 °C, above" in text for text in told(records, channel)), channel
        assert any("93 °F, above" in text for text in told(records, channels[2]))
        before = len(told(records, channels[2]))
        later = VirtualClock(START_MS + DAY_MS)
        state = {
            "feeding": {
                "act": "feed-at-most", "values": {"lasts_days": 4.0}, "next_feed_most_g": 510.0,
                "text": "Feed at most about 510 g, enough for 4 days.",
                "next_feed_due": "2025-01-01T00:00:00Z",
            }
        }  # fmt: skip
        assert Rounds(records, lambda _: state, later, ["email"], 6.0, SI).go() >= 4
        in_us = told(records, channels[2])[before:]
        assert any(text.startswith("Said again") and "93 °F" in text for text in in_us)
        digest = next(text for text in in_us if text.startswith("Open:"))
        assert "93 °F" in digest
        assert "at most about 1.1 lb" in digest
        assert "°C" not in "".join(in_us)
        assert any("at most about 510 g" in text for text in told(records, channels[1]))


@pytest.mark.parametrize(("units", "mass"), [("si", "3.2 kg"), ("us", "7.05 lb")])
def test_a_note_to_look_is_too(units: str, mass: str) -> None:
    with fresh() as records:
        channels = dict(zip(("", "si", "us"), addresses(records), strict=True))
        records.add_entry(replace(FED))
        assert rounds(records, MORNING_MS + HOUR_MS, "email").go() == 1
        assert f"{mass} melon" in told(records, channels[units])[0]
