"""A replay is deterministic, reads nothing ahead, and is the live tick in another time."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace as changed
from pathlib import Path

import pytest

from files.samples import T0_MS, entry, reading, setup
from underlid.advice.retold import retold
from underlid.alerts.alert import AlertState, Transition, TransitionKind
from underlid.clock import VirtualClock
from underlid.errors import UnderlidError
from underlid.files.verdicts import encoded, lines_of
from underlid.journal.entries import Entry
from underlid.journal.units import SI, US
from underlid.pipeline import Judgement
from underlid.readings.values import Admitted, Reading
from underlid.replay import replay, stored_entries
from underlid.rules.finding import Condition
from underlid.simulate import scenario
from underlid.simulate.place import Stretch
from underlid.simulate.sensors import Fault, FaultKind
from underlid.storage.history import stored_readings
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from underlid.watch import Watch

OPENING_MS = T0_MS
HOURS = 72


@pytest.fixture(scope="module")
def history() -> Stretch:
    """Return four days of Tansy and Borage, with a feed that heats and a stretch that comes late."""
    place = scenario.place(OPENING_MS, 1, every_ms=5 * MINUTE_MS, bins=("tansy", "borage"))
    tansy = next(probe for probe in place._probes if probe.probe == "tansy-1")
    tansy.faults.append(
        Fault("tansy-1", FaultKind.LATE, OPENING_MS + 20 * HOUR_MS, OPENING_MS + 23 * HOUR_MS)
    )
    whole = place.run(OPENING_MS + HOURS * HOUR_MS)
    whole.readings.sort(key=lambda one: (one.received_at_ms, one.taken_at_ms, one.probe))
    return whole


def verdicts(judgements: Iterable[Judgement]) -> list[bytes]:
    return [encoded(lines_of(one)) for one in judgements if one.transitions or one.messages]


def changes(judgements: Iterable[Judgement]) -> list[Transition]:
    return [change for one in judgements for change in one.transitions]


def where(history: Stretch) -> dict[str, object]:
    return {"readings": history.readings, "entries": history.entries}


def test_the_same_history_gives_the_same_verdicts(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))
    once, again = (verdicts(replay(place, **where(history))) for _ in range(2))
    assert once == again
    assert len(once) > 5


def test_the_order_of_equal_arrivals_does_not_matter(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))
    shuffled = list(history.readings)
    random.Random(3).shuffle(shuffled)
    shuffled.sort(key=lambda one: one.received_at_ms)
    assert verdicts(replay(place, shuffled, history.entries)) == verdicts(
        replay(place, **where(history))
    )


def test_a_longer_tick_changes_times_by_a_tick_and_nothing_else(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))
    minute = changes(replay(place, **where(history)))
    five = changes(replay(place, **where(history), tick_ms=5 * MINUTE_MS))
    alerts = [[one for one in each if one.alert] for each in (minute, five)]
    assert [(one.bin, one.kind, one.condition) for one in alerts[0]] == [
        (one.bin, one.kind, one.condition) for one in alerts[1]
    ]
    assert all(
        abs(one.at_ms - other.at_ms) <= 15 * MINUTE_MS for one, other in zip(*alerts, strict=True)
    )


def test_nothing_is_read_ahead(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))
    cut_ms = OPENING_MS + 30 * HOUR_MS
    whole = [one for one in replay(place, **where(history)) if one.at_ms <= cut_ms]
    known = [one for one in history.readings if one.received_at_ms <= cut_ms]
    entries = [one for one in history.entries if one.known_at_ms <= cut_ms]
    assert verdicts(replay(place, known, entries, until_ms=cut_ms)) == verdicts(whole)


def test_an_entry_is_known_when_it_became_known() -> None:
    late = changed(entry(0, kind="note", text="late"), known_at_ms=T0_MS + 90 * MINUTE_MS)
    judged = list(replay(setup(), [reading(0)], [late]))
    assert judged[-1].at_ms == T0_MS + 90 * MINUTE_MS


def test_the_live_tick_gives_the_same_verdicts(history: Stretch, tmp_path: Path) -> None:
    """The same data through stores and `Watch`, minute by minute, as the service does it."""
    place = scenario.setup(("tansy", "borage"))
    records = Records.open(f"sqlite:///{tmp_path / 'records.sqlite'}")
    records.save_setup(place)
    store = SqliteReadings(tmp_path / "readings.sqlite")
    first_ms = history.readings[0].received_at_ms
    clock = VirtualClock(first_ms)
    watch = Watch(records, store, clock, tick_s=60.0)
    watch.start()
    live = live_verdicts(watch, clock, store, records, history)
    assert verdicts(live) == verdicts(replay(place, **where(history), until_ms=clock.now_ms()))
    sheds = {one.probe: one.shed for one in place.probes.values()}
    stored = stored_readings(store, sheds, first_ms, clock.now_ms() + 1)
    entries = stored_entries(records, place.bins, 0)
    assert verdicts(replay(place, stored, entries, until_ms=clock.now_ms())) == verdicts(live)
    store.close()
    records.close()


def live_verdicts(
    watch: Watch, clock: VirtualClock, store: SqliteReadings, records: Records, history: Stretch
) -> list[Judgement]:
    """Deliver *history* as the service would, and tick every minute."""
    coming: list[Reading] = list(reversed(history.readings))
    writing: list[Entry] = list(reversed(history.entries))
    end_ms = OPENING_MS + 40 * HOUR_MS
    live: list[Judgement] = []
    while clock.now_ms() <= end_ms:
        batch = []
        while coming and coming[-1].received_at_ms <= clock.now_ms():
            batch.append(coming.pop())
        if batch:
            store.write(batch)
            watch.take(Admitted(batch, [], [], []))
        while writing and writing[-1].known_at_ms <= clock.now_ms():
            records.add_entry(writing.pop())
        live += watch.tick()
        if clock.now_ms() == end_ms:
            break
        clock.set_ms(clock.now_ms() + MINUTE_MS)
    return live


def test_other_limits_give_other_verdicts(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))

    def hot(limits: dict[str, float]) -> list[Transition]:
        return [
            one
            for one in changes(replay(place, **where(history), limits=limits))
            if one.condition is Condition.OVERHEATING and one.kind is TransitionKind.ALERT_RAISED
        ]

    usual, strict = hot({}), hot({"hot_warn_c": 23.0})
    assert strict
    assert strict[0].at_ms < min(one.at_ms for one in usual)


def test_an_unknown_limit_is_refused() -> None:
    with pytest.raises(UnderlidError, match="'too_hot'"):
        list(replay(setup(), [reading(0)], [], limits={"too_hot": 3.0}))


def test_an_empty_history_has_no_verdicts() -> None:
    assert list(replay(setup(), [], [])) == []


def test_a_stored_history_comes_in_the_order_of_arrival(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "readings.sqlite")
    late = reading(10, late_minutes=3 * 1440)
    written = [reading(minute) for minute in range(0, 4 * 1440, 30)] + [late]
    store.write(written)
    store.pack(T0_MS + 30 * DAY_MS)
    found = list(stored_readings(store, {"tansy-1": "potting"}, T0_MS, T0_MS + 9 * DAY_MS))
    store.close()
    assert found == sorted(written, key=lambda one: (one.received_at_ms, one.taken_at_ms))


def test_what_was_said_in_one_unit_is_said_again_in_another(history: Stretch) -> None:
    place = scenario.setup(("tansy", "borage"))
    metric, american = (list(replay(place, **where(history), units=units)) for units in (SI, US))
    seen = set()
    for one, other in zip(metric, american, strict=True):
        for alert, wanted in zip(one.alerts, other.alerts, strict=True):
            if alert.raised_at_ms is None and alert.state is AlertState.RETURNED:
                continue  # dropped before anybody heard of it
            assert retold(alert, US) == wanted
            assert retold(wanted, SI) == alert
            seen.add((alert.condition, alert.state, alert.text == wanted.text))
        for said, wanted_said in zip(one.messages, other.messages, strict=True):
            assert said.texts.get("us", said.text) == wanted_said.text
            assert said.texts == wanted_said.texts
    assert (Condition.OVERHEATING, AlertState.ACTIVE, False) in seen
    assert any(state is AlertState.RETURNED for _, state, _ in seen)
