"""A judge filled from the store goes on as if it had never stopped, wherever it was cut."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from pathlib import Path

import pytest

from judge.series import START_MS, entry, melon, run, setup
from underlid.alerts.alert import Alert, AlertState, Spell, Transition
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.journal.entries import Entry, LidLook, LiquidAdded, Sighting
from underlid.judge import Judge
from underlid.lookback.spells import may_go_on
from underlid.pipeline import Judgement
from underlid.readings.values import Reading
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from underlid.workers.restart import fill, usual_interval_ms

HOURS = 120


def history(seed: int) -> list[Reading]:
    """Return five days of two probes: heat after a feed, noise, spikes, gaps, late batches."""
    rng = random.Random(seed)
    made = []
    gap_h = rng.uniform(20, 90)
    late_h = rng.uniform(10, 100)
    for minute in range(0, HOURS * 60, 5):
        hour = minute / 60
        at_ms = START_MS + minute * MINUTE_MS + rng.randrange(0, 4 * MINUTE_MS)
        wave = math.sin(2 * math.pi * hour / 24)
        own = 11 * math.exp(-(((hour - 40) / 12) ** 2))
        values = {
            "bed_temp_c": round(19.5 + wave + own + rng.gauss(0, 0.1), 2),
            "headspace_temp_c": round(19.3 + 1.2 * wave + own / 2 + rng.gauss(0, 0.1), 2),
            "headspace_rh_pct": round(min(100.0, 90 + own + rng.gauss(0, 1)), 1),
            "soil_raw": float(round(1760 + 4 * hour + 10 * wave)),
        }
        if rng.random() < 0.003:
            values["bed_temp_c"] = rng.choice([85.0, -127.0])
        received_ms = at_ms
        if late_h <= hour < late_h + 8:
            received_ms = START_MS + round((late_h + 8) * HOUR_MS)
        if not gap_h <= hour < gap_h + 6:
            made.append(Reading("tansy-1", "potting", at_ms, received_ms, values))
        air = {"shed_temp_c": round(19 + 3 * wave + rng.gauss(0, 0.1), 2)}
        made.append(Reading("air1", "potting", at_ms, at_ms, air))
    return made


JOURNAL = [
    melon(20),
    entry(58, Sighting(lid=LidLook.DRY), 2),
    entry(70, LiquidAdded(1500.0), 3),
]
LATE_ENTRY = Entry(
    "late", "tansy", START_MS + 44 * HOUR_MS, START_MS + 61 * HOUR_MS, Sighting(lid=LidLook.DROPS)
)


def from_store(store: SqliteReadings, now_ms: int) -> Judge:
    """Return a judge filled as the service fills it at start."""
    judge = Judge(setup(), now_ms)
    for probe in ("tansy-1", "air1"):
        buckets = store.buckets(probe, START_MS - DAY_MS, now_ms + HOUR_MS, BUCKET_MS)
        seen = store.probe_seen(probe)
        assert seen is not None
        judge.fill(
            probe, buckets, seen.last_taken_at_ms, seen.last_values, usual_interval_ms(buckets)
        )
    return judge


def short(changes: Iterable[Transition]) -> list[tuple[object, ...]]:
    return [
        (
            one.kind.value,
            (one.at_ms - START_MS) / HOUR_MS,
            one.condition.value,
            one.alert.id if one.alert else "",
            one.alert.priority.value if one.alert else "",
            one.alert.cause if one.alert else "",
            (one.spell.began_ms, one.spell.ended_ms, one.spell.feed_at_ms) if one.spell else None,
        )
        for one in changes
    ]


def spells_open(judgements: list[Judgement], now_ms: int) -> list[Spell]:
    """Return what the records hold: spells that run, or that may go on."""
    newest = {spell.condition: spell for one in judgements for spell in one.spells}
    return [spell for spell in newest.values() if may_go_on(spell, now_ms)]


@pytest.mark.parametrize("seed", range(4))
def test_cut_anywhere_and_filled_from_the_store_the_alerts_are_the_same(
    seed: int, tmp_path: Path
) -> None:
    """Invariant: transitions and messages of cut + rest = those of the uninterrupted run."""
    made = history(seed)
    entries = [*JOURNAL, LATE_ENTRY]
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", entries)
    whole = list(run(judge, made, HOURS))
    assert len({one.condition for each in whole for one in each.transitions}) >= 2
    rng = random.Random(seed + 100)
    for number in range(3):
        cut_min = rng.randrange(12 * 60, (HOURS - 12) * 60)
        cut_ms = START_MS + cut_min * MINUTE_MS
        store = SqliteReadings(tmp_path / f"{number}.sqlite")
        store.write([one for one in made if one.received_at_ms <= cut_ms])
        before = [each for each in whole if each.at_ms <= cut_ms]
        alerts = open_at_the_end(before)
        after = from_store(store, cut_ms)
        store.close()
        after.set_entries("tansy", entries)
        after.restore(alerts, spells_open(before, cut_ms))
        rest = [one for one in made if one.received_at_ms > cut_ms]
        later = list(run(after, rest, HOURS, (cut_min + 1) / 60))
        cut = [*before, *later]
        assert short(change for each in cut for change in each.transitions) == short(
            change for each in whole for change in each.transitions
        ), cut_min
        assert messages(cut) == messages(whole), cut_min


def open_at_the_end(judgements: list[Judgement]) -> list[Alert]:
    """Return what the records hold: open alerts, and those that returned within a day."""
    newest: dict[str, Alert] = {}
    for each in judgements:
        for alert in each.alerts:
            newest[alert.id] = alert
    end_ms = judgements[-1].at_ms
    return [
        alert
        for alert in newest.values()
        if alert.state is not AlertState.RETURNED or (alert.returned_at_ms or 0) > end_ms - DAY_MS
    ]


def messages(judgements: list[Judgement]) -> list[tuple[str, str]]:
    return [(one.key, one.title) for each in judgements for one in each.messages]


def test_an_entry_that_becomes_known_later_counts_from_then_on() -> None:
    made = history(1)
    judge, knows_all = Judge(setup(), START_MS), Judge(setup(), START_MS)
    judge.set_entries("tansy", [melon(20), LATE_ENTRY])
    for _ in run(judge, made, 62):
        pass
    for _ in run(knows_all, made, 60):
        pass
    knows_all.set_entries("tansy", [melon(20), LATE_ENTRY])
    knows_all.add_readings(one for one in made if one.received_at_ms > START_MS + 60 * HOUR_MS)
    knows_all.judge(START_MS + 62 * HOUR_MS)
    one, other = judge.state("tansy"), knows_all.state("tansy")
    assert one is not None
    assert other is not None
    assert one["feed"] == other["feed"]
    assert one["film_band"] == other["film_band"]


def test_a_probe_taken_out_of_the_set_up_takes_its_alert_with_it() -> None:
    made = [one for one in history(2) if one.taken_at_ms < START_MS + 15 * HOUR_MS]
    judge = Judge(setup(), START_MS)
    for _ in run(judge, made, 20):
        pass
    whole = setup()
    del whole.probes["tansy-1"]
    judge.set_setup(whole, START_MS + 20 * HOUR_MS)
    judgement = judge.judge(START_MS + 20 * HOUR_MS + MINUTE_MS)[0]
    gone = [one for one in judgement.transitions if one.alert and one.alert.subject == "tansy-1"]
    assert [one.kind.value for one in gone] == ["alert_returned"]
    assert not [
        one for one in judgement.alerts if one.subject == "tansy-1" and not one.returned_at_ms
    ]


def test_what_is_foreseen_after_a_restart_is_to_the_last_digit_what_was_before(
    tmp_path: Path,
) -> None:
    """Invariant: parts of an outlook are of a moment of the last hour, and know two weeks before it."""
    days, cut_ms = 16, START_MS + 16 * DAY_MS + 43 * MINUTE_MS
    rng = random.Random(7)
    made = []
    for minute in range(0, days * 1440 + 40, 15):
        hour = minute / 60
        swing = math.sin(2 * math.pi * hour / 24) + rng.gauss(0, 0.3)
        at_ms = START_MS + minute * MINUTE_MS
        air = {"shed_temp_c": round(18 + 3 * swing, 2)}
        bed = {"bed_temp_c": round(20 + swing, 2), "headspace_temp_c": round(19 + 2 * swing, 2)}
        made.append(Reading("tansy-1", "potting", at_ms, at_ms, {**bed, "headspace_rh_pct": 90.0}))
        made.append(Reading("air1", "potting", at_ms, at_ms, air))
    store = SqliteReadings(tmp_path / "readings.sqlite")
    store.write(made)
    live, begun = Judge(setup(), START_MS), Judge(setup(), cut_ms)
    for now_ms in (*(START_MS + day * DAY_MS for day in range(1, days + 1)), cut_ms):
        live.add_readings(one for one in made if now_ms - DAY_MS < one.taken_at_ms <= now_ms)
        live.judge(now_ms)
    fill(begun, store, ["tansy-1", "air1"], cut_ms)
    store.close()
    begun.judge(cut_ms)
    one, other = live.forecast("tansy"), begun.forecast("tansy")
    assert one is not None
    assert other is not None
    assert one.at_ms == other.at_ms
    for name in ("shed_temp_c", "bed_temp_c", "lid_film_g_m2"):
        assert getattr(one, name).middle.tolist() == getattr(other, name).middle.tolist(), name
