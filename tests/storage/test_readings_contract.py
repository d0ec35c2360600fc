"""What every store of readings promises, on each of them: read back, resends, channels, rejections."""

from __future__ import annotations

import pytest

from storage.kept import Kept, Store
from storage.readings_places import FOREVER_MS, START_MS, all_rows, check_buckets, timed, untimed
from underlid.binmodel.probes.hot import BUCKET_MS, HotProbe
from underlid.binmodel.probes.weighed import CHANNELS, read_at, span_ms
from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason, TimeSource
from underlid.storage.hot import CHANNELS_MOST
from underlid.storage.rejects import REJECTS_KEPT
from underlid.storage.resends import NUMBERS_KEPT_MS
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

LATER_MS = START_MS + 2 * DAY_MS


@pytest.fixture
def store(kept: Kept) -> Store:
    return kept.open()


def test_what_is_written_is_read_at_once_and_after_it_has_moved(kept: Kept, store: Store) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.write([timed("tansy-1", START_MS, {"headspace_rh_pct": 91.0})])
    store.write([timed("sorrel-1", START_MS, {"bed_temp_c": 19.0})])
    expected = {START_MS: {"bed_temp_c": 22.4, "headspace_rh_pct": 91.0}}
    for _ in range(2):
        assert all_rows(store, "tansy-1") == expected
        assert all_rows(store, "nobody") == {}
        assert all_rows(store, "No'body") == {}
        kept.settle(store, LATER_MS)


def test_a_range_takes_its_first_moment_and_not_its_last(kept: Kept, store: Store) -> None:
    store.write([timed("tansy-1", START_MS + n, {"bed_temp_c": float(n)}) for n in range(10)])
    for _ in range(2):
        found = store.raw("tansy-1", START_MS + 3, START_MS + 7)
        assert found.taken_at_ms.tolist() == [START_MS + n for n in range(3, 7)]
        assert len(store.raw("tansy-1", START_MS + 7, START_MS + 3).taken_at_ms) == 0
        kept.settle(store, LATER_MS)


def test_every_bit_of_a_value_comes_back(kept: Kept, store: Store) -> None:
    numbers = [0.1, 1 / 3, 1e-300, -273.15, 5e-324, 1.7976931348623157e308, 2.0**53 + 2, 65535.0]
    store.write([timed("tansy-1", START_MS + n, {"extra": one}) for n, one in enumerate(numbers)])
    for _ in range(2):
        assert store.raw("tansy-1", 0, FOREVER_MS).values["extra"].tolist() == numbers
        kept.settle(store, LATER_MS)


def test_channels_may_be_called_as_a_store_calls_its_own_things(kept: Kept, store: Store) -> None:
    names = ("time", "probe", "received_at_ms", "time_source", "sent_at_ms", "select", "n")
    row = {name: float(place) for place, name in enumerate(names)}
    store.write([timed("tansy-1", START_MS, row)])
    for _ in range(2):
        assert all_rows(store, "tansy-1") == {START_MS: row}
        hours = store.buckets("tansy-1", START_MS, START_MS + HOUR_MS, HOUR_MS)
        assert {name: mean[0] for name, mean in hours.mean.items()} == row
        seen = store.probe_seen("tansy-1")
        assert seen is not None
        assert seen.last_values == row
        kept.settle(store, LATER_MS)


def test_delay_and_time_source_are_kept(kept: Kept, store: Store) -> None:
    store.write(
        [
            timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=HOUR_MS),
            Reading(
                "tansy-1",
                "potting",
                START_MS + 5,
                START_MS + 5,
                {"bed_temp_c": 22.5},
                TimeSource.RECEIPT_CLOCK_UNSET,
            ),
        ]
    )
    for _ in range(2):
        series = store.raw("tansy-1", 0, FOREVER_MS)
        assert series.received_at_ms.tolist() == [START_MS + HOUR_MS, START_MS + 5]
        assert series.time_source.tolist() == [TimeSource.DEVICE, TimeSource.RECEIPT_CLOCK_UNSET]
        kept.settle(store, LATER_MS)


@pytest.mark.parametrize("moved", [False, True])
def test_a_resend_keeps_the_first_receipt_and_a_new_channel_takes_the_later(
    kept: Kept, store: Store, moved: bool
) -> None:
    def write(*readings: Reading) -> None:
        store.write(readings)
        if moved:
            kept.settle(store, LATER_MS)

    write(
        timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=10),
        timed("sorrel-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=10),
    )
    write(
        timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=5000),
        timed("sorrel-1", START_MS, {"soil_raw": 1843.0}, delay_ms=5000),
    )
    assert store.raw("tansy-1", 0, FOREVER_MS).received_at_ms.tolist() == [START_MS + 10]
    assert store.raw("sorrel-1", 0, FOREVER_MS).received_at_ms.tolist() == [START_MS + 5000]


def test_a_numbered_message_without_a_time_is_stored_once(kept: Kept) -> None:
    store = kept.open()
    first = untimed("tansy-1", START_MS, {"bed_temp_c": 20.0}, seq=7)
    assert store.write([first]) == [first]
    kept.close_all()
    store = kept.open()
    again = untimed("tansy-1", START_MS + 9000, {"bed_temp_c": 20.0}, seq=7)
    after = untimed("tansy-1", START_MS + 9001, {"bed_temp_c": 20.1}, seq=8)
    clock_set = Reading("tansy-1", "potting", START_MS - 80, START_MS, {"bed_temp_c": 20.0}, seq=7)
    assert store.write([again, after, clock_set]) == [after]
    counted_anew = untimed("tansy-1", START_MS + 9002, {"bed_temp_c": 25.0}, seq=7)
    assert store.write([counted_anew]) == [counted_anew]
    assert sorted(all_rows(store, "tansy-1")) == [START_MS, START_MS + 9001, START_MS + 9002]


def test_readings_of_one_numbered_message_are_all_stored(store: Store) -> None:
    pack_of_two = [
        Reading("tansy-1", "potting", at, START_MS, {"bed_temp_c": 20.0}, TimeSource.RECEIPT, 3)
        for at in (START_MS - 60_000, START_MS)
    ]
    store.write(pack_of_two)
    assert len(all_rows(store, "tansy-1")) == 2


def test_untimed_readings_of_one_millisecond_do_not_overwrite_each_other(
    kept: Kept, store: Store
) -> None:
    values = [{"bed_temp_c": 20.0 + n} for n in range(40)]
    for first in range(0, 40, 10):  # four commits, all received in the same millisecond
        store.write([untimed("tansy-1", START_MS, one) for one in values[first : first + 10]])
    stored = store.write([untimed("tansy-1", START_MS + 3, {"bed_temp_c": 80.0})])
    assert [one.taken_at_ms for one in stored] == [START_MS + 40]
    store.write([untimed("tansy-1", START_MS + 3, {"soil_raw": 1843.0})])
    for _ in range(2):
        rows = all_rows(store, "tansy-1")
        assert [row["bed_temp_c"] for row in rows.values()] == [*range(20, 60), 80]
        assert rows[START_MS + 3] == {"bed_temp_c": 23.0, "soil_raw": 1843.0}
        kept.settle(store, LATER_MS)


def test_what_is_known_of_a_probe_survives_moving_and_reopening(kept: Kept) -> None:
    store = kept.open()
    store.write([timed("tansy-1", START_MS + HOUR_MS, {"bed_temp_c": 22.4, "battery_v": 3.9})])
    store.write([timed("tansy-1", START_MS + 2 * DAY_MS, {"bed_temp_c": 23.0}, delay_ms=7)])
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 1.0, "battery_v": 4.0})])
    store.write([Reading("tansy-1", "lean-to", START_MS, START_MS, {"soil_raw": 5.0})])
    expected = store.probes_seen()
    assert [(one.probe, one.shed) for one in expected] == [("tansy-1", "lean-to")]
    assert expected[0].first_taken_at_ms == START_MS
    assert expected[0].last_taken_at_ms == START_MS + 2 * DAY_MS
    assert expected[0].last_received_at_ms == START_MS + 2 * DAY_MS + 7
    assert expected[0].last_values == {"bed_temp_c": 23.0, "battery_v": 3.9, "soil_raw": 5.0}
    for now_ms in (START_MS, START_MS + DAY_MS, START_MS + 9 * DAY_MS):
        kept.settle(store, now_ms)
        kept.close_all()
        store = kept.open()
        assert store.probes_seen() == expected
    assert store.probe_seen("tansy-1") == expected[0]
    assert store.probe_seen("nobody") is None


def test_channels_beyond_the_bound_are_refused_and_the_rest_stored(
    kept: Kept, store: Store
) -> None:
    for first in range(0, CHANNELS_MOST, 50):
        values = {f"extra_{n}": 1.0 for n in range(first, first + 50)}
        store.write([timed("tansy-1", START_MS, values)])
    store.write(
        [
            timed("tansy-1", START_MS + 1, {"extra_1": 5.0, "one_more": 6.0}),
            timed("tansy-1", START_MS + 2, {"one_more": 6.0}),
        ]
    )
    rows = all_rows(store, "tansy-1")
    assert len(rows[START_MS]) == CHANNELS_MOST
    assert rows[START_MS + 1] == {"extra_1": 5.0}
    assert START_MS + 2 not in rows
    assert store.reject_counts() == {"bad_channel": 2}
    assert "one_more" in store.recent_rejects()[0].sentence
    kept.settle(store, LATER_MS)
    assert all_rows(store, "tansy-1") == rows


def test_rejected_messages_are_counted_and_the_newest_kept(store: Store) -> None:
    message = RawMessage("underlid/v1/potting/tansy-1/\ud800" + "x" * 500, b"{" * 5000, START_MS)
    store.write([], [Rejected(RejectReason.NOT_JSON, f"number {n}", message) for n in range(700)])
    newest = store.recent_rejects(3)
    assert [one.sentence for one in newest] == ["number 699", "number 698", "number 697"]
    assert len(newest[0].message.payload) == 2048
    assert len(newest[0].message.topic) == 256
    assert len(store.recent_rejects(10_000)) == REJECTS_KEPT
    store.write([], [Rejected(RejectReason.EMPTY, "one more", message)])
    assert len(store.recent_rejects(10_000)) == REJECTS_KEPT
    assert store.reject_counts() == {"empty": 1, "not_json": 700}


def test_late_rows_are_in_hours_and_days_at_once(kept: Kept, store: Store) -> None:
    end_ms = START_MS + DAY_MS
    store.write(
        [
            timed("tansy-1", START_MS + minute * MINUTE_MS, {"bed_temp_c": 20.0 + minute / 100})
            for minute in range(0, 24 * 60, 10)
        ]
    )
    kept.settle(store, LATER_MS)
    store.write([timed("tansy-1", START_MS + 5, {"bed_temp_c": 30.0, "soil_raw": 1843.0})])
    store.write([timed("tansy-1", START_MS + 10 * MINUTE_MS, {"bed_temp_c": -5.0})])
    for _ in range(2):
        rows = all_rows(store, "tansy-1")
        assert len(rows) == 145
        for step_ms in (5 * MINUTE_MS, 7 * MINUTE_MS, HOUR_MS, 3 * HOUR_MS, DAY_MS):
            found = store.buckets("tansy-1", START_MS, end_ms, step_ms)
            inside = {at: row for at, row in rows.items() if at >= int(found.start_ms[0])}
            check_buckets(found, inside, START_MS, end_ms)
            all_of_them = dict(
                store.buckets_of_all(["tansy-1", "nobody"], START_MS, end_ms, step_ms)
            )
            assert list(all_of_them) == ["tansy-1"]
            check_buckets(all_of_them["tansy-1"], inside, START_MS, end_ms)
        only = store.buckets("tansy-1", START_MS, end_ms, HOUR_MS, {"soil_raw"})
        assert list(only.count) == ["soil_raw"]
        kept.settle(store, LATER_MS)


def test_what_waits_is_no_trouble(kept: Kept, store: Store) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    kept.settle(store, LATER_MS)
    backlog = store.backlog()
    assert (backlog.waiting, backlog.refused, backlog.trouble) == (0, 0, None)
    assert store.refused_rows() == []
    assert store.retry_refused() == 0


def test_numbers_are_forgotten_and_the_readings_stay(kept: Kept, store: Store) -> None:
    store.write([untimed("tansy-1", START_MS, {"bed_temp_c": 20.0}, seq=1)])
    kept.settle(store, START_MS + NUMBERS_KEPT_MS)
    again = untimed("tansy-1", START_MS + 1, {"bed_temp_c": 20.0}, seq=1)
    assert store.write([again]) == []
    kept.settle(store, START_MS + NUMBERS_KEPT_MS + 1)
    assert store.write([again]) == [again]
    assert len(all_rows(store, "tansy-1")) == 2


def test_what_a_soil_probe_said_at_an_old_weighing_is_as_the_judge_read_it(
    kept: Kept, store: Store
) -> None:
    at_ms = START_MS + DAY_MS // 2 + MINUTE_MS
    young = HotProbe()
    for minute in range(0, 24 * 60, 7):
        taken_ms = START_MS + minute * MINUTE_MS
        values = {"soil_raw": 1800.0 + minute % 37, "bed_temp_c": 20.0}
        store.write([timed("tansy-1", taken_ms, values)])
        young.add(taken_ms, values)
    young.settle((START_MS + DAY_MS) // BUCKET_MS)
    for _ in range(2):
        old = HotProbe()
        old.fill(store.buckets("tansy-1", *span_ms(at_ms), BUCKET_MS, CHANNELS))
        assert list(old.channels) == ["soil_raw"]
        assert read_at("tansy-1", old, at_ms) == read_at("tansy-1", young, at_ms)
        nobody = HotProbe()
        nobody.fill(store.buckets("nobody", *span_ms(at_ms), BUCKET_MS, CHANNELS))
        assert read_at("nobody", nobody, at_ms) is None
        kept.settle(store, LATER_MS)
