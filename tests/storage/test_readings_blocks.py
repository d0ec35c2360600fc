"""Blocks give back every bit; sums equal those made row by row."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from storage.readings_places import START_MS, check_buckets, rows_of
from underlid.storage.day_block import pack, unpack
from underlid.storage.protocols import RawSeries
from underlid.storage.rollups import (
    bucket_starts,
    buckets_of,
    from_blobs,
    hours_of,
    sums_of,
    to_blob,
)
from underlid.storage.series import cut, joined, merged
from underlid.storage.trouble import StoreError
from underlid.timeline import DAY_MS, HOUR_MS

NAN = float("nan")

sensible = st.integers(-5000, 70_000).map(lambda hundredths: hundredths / 100)
any_value = st.floats(allow_infinity=False, allow_nan=False)
columns = st.one_of(
    st.lists(st.one_of(sensible, st.just(NAN)), min_size=60, max_size=60),
    st.lists(st.one_of(any_value, st.just(NAN), st.just(-0.0)), min_size=60, max_size=60),
)


@st.composite
def series(draw: st.DrawFn) -> RawSeries:
    times = draw(st.sets(st.integers(0, DAY_MS - 1), min_size=1, max_size=60))
    taken = np.array(sorted(times), np.int64) + START_MS
    delays = draw(st.lists(st.integers(-600_000, 10**10), min_size=60, max_size=60))
    sources = draw(st.lists(st.integers(0, 3), min_size=60, max_size=60))
    size = len(taken)
    values = {
        name: np.array(draw(columns)[:size]) for name in draw(st.sets(st.sampled_from("abc")))
    }
    return RawSeries(
        taken, taken + np.array(delays[:size]), values, np.array(sources[:size], np.int64)
    )


@settings(max_examples=60)
@given(series())
def test_a_block_gives_back_every_bit(day: RawSeries) -> None:
    back = unpack(pack(day))
    assert np.array_equal(back.taken_at_ms, day.taken_at_ms)
    assert np.array_equal(back.received_at_ms, day.received_at_ms)
    assert np.array_equal(back.time_source, day.time_source)
    for name, expected in day.values.items():
        kept = ~np.isnan(expected)
        assert (name in back.values) == kept.any()
        if kept.any():
            assert np.array_equal(~np.isnan(back.values[name]), kept)
            assert back.values[name][kept].tobytes() == expected[kept].tobytes()


def test_a_block_can_give_one_channel_only() -> None:
    taken = np.array([START_MS])
    day = RawSeries(
        taken, taken, {"a": np.array([1.5]), "b": np.array([2.5])}, np.zeros(1, np.int64)
    )
    assert list(unpack(pack(day), {"b"}).values) == ["b"]


@pytest.mark.parametrize("block", [b"", b"\xff whatever", b"\x01", b"\x01\x78\x9c junk"])
def test_what_is_not_a_block_is_refused(block: bytes) -> None:
    with pytest.raises(StoreError, match="packed day"):
        unpack(block)


def test_what_is_not_sums_is_refused() -> None:
    with pytest.raises(StoreError, match="hourly sums"):
        from_blobs([b"junk"])


@settings(max_examples=60)
@given(series(), st.sampled_from([1000, 300_000, HOUR_MS, 5 * HOUR_MS]), st.integers(0, DAY_MS))
def test_sums_equal_those_made_row_by_row(day: RawSeries, step_ms: int, offset_ms: int) -> None:
    start_ms = START_MS + offset_ms
    end_ms = start_ms + 20 * step_ms
    starts = bucket_starts(start_ms, end_ms, step_ms)
    found = buckets_of(starts, step_ms, sums_of(day, int(starts[0]), len(starts), step_ms))
    first_ms, last_ms = int(starts[0]), int(starts[-1]) + step_ms
    rows = {at: row for at, row in rows_of(day).items() if first_ms <= at < last_ms}
    if all(abs(value) < 1e300 for row in rows.values() for value in row.values()):
        check_buckets(found, rows, start_ms, end_ms)


@settings(max_examples=30)
@given(series())
def test_hours_are_kept_to_the_bit(day: RawSeries) -> None:
    for sums in hours_of(day, START_MS // DAY_MS).values():
        back = from_blobs([to_blob(sums)])
        for part in ("low", "total", "high", "count"):
            assert getattr(back, part).tobytes() == getattr(sums, part).tobytes()


@settings(max_examples=60)
@given(series(), series())
def test_merging_is_a_dictionary_update(under: RawSeries, over: RawSeries) -> None:
    expected = rows_of(under)
    for at, row in rows_of(over).items():
        expected[at] = {**expected.get(at, {}), **row}
    assert rows_of(merged(under, over)) == {at: expected[at] for at in sorted(expected)}


@settings(max_examples=30)
@given(series(), st.integers(0, DAY_MS))
def test_cut_parts_joined_are_the_whole(day: RawSeries, at_ms: int) -> None:
    middle_ms = START_MS + at_ms
    parts = [cut(day, 0, middle_ms), cut(day, middle_ms, 2 * START_MS)]
    assert rows_of(joined(parts)) == rows_of(day)


def test_a_mean_never_lies_outside_its_low_and_high() -> None:
    taken = START_MS + np.arange(3)
    day = RawSeries(taken, taken, {"a": np.full(3, 0.1)}, np.zeros(3, np.int64))
    found = buckets_of(bucket_starts(START_MS, START_MS + 3, 3), 3, sums_of(day, START_MS, 1, 3))
    assert found.mean["a"].tolist() == [0.1]
    assert not math.isclose(0.1 + 0.1 + 0.1, 0.3, rel_tol=0, abs_tol=0)
