"""5-minute means in memory: exact whatever the order, the same from a probe and from a store."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.binmodel.probes.hot import (
    BUCKET_MS,
    BUCKETS_PER_DAY,
    CAPACITY,
    OPEN_BUCKETS_MOST,
    STEP_OF,
    WINDOW_BUCKETS,
    HotProbe,
)
from underlid.binmodel.probes.lone import SPIKE_OF, without_lone
from underlid.timeline import MINUTE_MS

START = 5_900_000
"""A bucket number, late in 2026."""


@dataclass
class Summed:
    """What a store would hand over for the same readings."""

    start_ms: npt.NDArray[np.int64]
    low: dict[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    mean: dict[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    high: dict[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    count: dict[str, npt.NDArray[np.int64]] = field(default_factory=dict)


def summed(readings: list[tuple[int, dict[str, float]]]) -> Summed:
    numbers = sorted({at_ms // BUCKET_MS for at_ms, _ in readings})
    out = Summed(np.array(numbers, dtype=np.int64) * BUCKET_MS)
    for channel in sorted({name for _, values in readings for name in values}):
        parts = [
            [
                values[channel]
                for at, values in readings
                if at // BUCKET_MS == n and channel in values
            ]
            for n in numbers
        ]
        nan = math.nan
        out.low[channel] = np.array([min(part, default=nan) for part in parts])
        out.mean[channel] = np.array([sum(part) / len(part) if part else nan for part in parts])
        out.high[channel] = np.array([max(part, default=nan) for part in parts])
        out.count[channel] = np.array([len(part) for part in parts])
    return out


def test_a_mean_shows_only_when_its_bucket_has_closed() -> None:
    probe = HotProbe()
    probe.add(START * BUCKET_MS, {"bed_temp_c": 20.0})
    probe.add(START * BUCKET_MS + MINUTE_MS, {"bed_temp_c": 21.0})
    assert probe.settle(START) is None
    assert np.isnan(probe.means("bed_temp_c", START - 2, START + 1)).all()
    assert probe.settle(START + 1) == START
    assert probe.means("bed_temp_c", START - 1, START + 1).tolist()[1:] == [20.5]
    assert probe.newest == START


def test_late_data_re_opens_its_bucket_and_says_which() -> None:
    probe = HotProbe()
    for minute in range(15):
        probe.add(START * BUCKET_MS + minute * MINUTE_MS, {"bed_temp_c": 20.0})
    probe.settle(START + 3)
    for second in range(5):
        probe.add((START + 1) * BUCKET_MS + 1000 * second + 500, {"bed_temp_c": 22.0})
    assert probe.settle(START + 3) == START + 1
    assert probe.means("bed_temp_c", START, START + 3).tolist() == [20.0, 21.0, 20.0]
    assert probe.newest == START + 2


def test_the_same_instant_twice_counts_once() -> None:
    probe = HotProbe()
    for value in (20.0, 20.0, 20.0, 26.0):
        probe.add(START * BUCKET_MS + (1000 if value > 25 else 0), {"bed_temp_c": value})
    probe.settle(START + 1)
    assert probe.means("bed_temp_c", START, START + 1).tolist() == [23.0]


@pytest.mark.parametrize(
    ("channel", "value"),
    [
        ("bed_temp_c", 85.0),
        ("bed_temp_c", -127.0),
        ("headspace_rh_pct", 130.0),
        ("soil_raw", 0.0),
        ("soil_raw", 4095.0),
    ],
)
def test_one_value_that_is_not_believable_spoils_its_bucket_only(
    channel: str, value: float
) -> None:
    probe = HotProbe()
    for minute in range(10):
        probe.add(START * BUCKET_MS + minute * MINUTE_MS, {channel: 50.0})
    probe.add(START * BUCKET_MS + 7 * MINUTE_MS, {channel: value})
    probe.settle(START + 2)
    means = probe.means(channel, START, START + 2)
    assert means[0] == 50.0
    assert np.isnan(means[1])
    assert probe.counts(channel, START, START + 2).tolist() == [5, 5]
    probe.add((START + 1) * BUCKET_MS + 1, {channel: 50.0})
    probe.settle(START + 2)
    assert np.isnan(probe.means(channel, START + 1, START + 2)).all()


def test_channels_that_are_not_judged_are_left() -> None:
    probe = HotProbe()
    probe.add(START * BUCKET_MS, {"battery_v": 3.9, "co2_ppm": 900.0})
    assert probe.settle(START + 1) is None
    assert probe.channels == {}


def test_the_window_moves_on_and_what_is_older_is_forgotten() -> None:
    probe = HotProbe()
    days = 40
    for bucket in range(START, START + days * BUCKETS_PER_DAY, 12):
        probe.add(bucket * BUCKET_MS, {"bed_temp_c": (bucket - START) / BUCKETS_PER_DAY})
        probe.settle(bucket + 1)
    end = START + days * BUCKETS_PER_DAY
    means = probe.means("bed_temp_c", end - WINDOW_BUCKETS, end)
    known = means[~np.isnan(means)]
    assert len(known) == WINDOW_BUCKETS // 12
    assert known[0] == pytest.approx(days - 14, abs=0.01)
    assert probe.size_bytes() == CAPACITY * 3
    probe.add(START * BUCKET_MS, {"bed_temp_c": 1.0})
    assert probe.settle(end) is None


def test_a_long_silence_leaves_a_gap_and_no_ghosts() -> None:
    probe = HotProbe()
    probe.add(START * BUCKET_MS, {"bed_temp_c": 20.0})
    probe.settle(START + 1)
    later = START + 100 * BUCKETS_PER_DAY
    assert np.isnan(probe.means("bed_temp_c", later - 10, later)).all()
    probe.add(later * BUCKET_MS, {"bed_temp_c": 25.0})
    probe.settle(later + 1)
    means = probe.means("bed_temp_c", later + 1 - WINDOW_BUCKETS, later + 1)
    assert np.isnan(means[:-1]).all()
    assert means[-1] == 25.0


def test_two_weeks_of_back_fill_fit_in_before_what_came_first() -> None:
    probe = HotProbe()
    probe.add(START * BUCKET_MS, {"bed_temp_c": 20.0})
    probe.settle(START + 1)
    first = START - WINDOW_BUCKETS + 1
    for bucket in range(first, START):
        probe.add(bucket * BUCKET_MS, {"bed_temp_c": 18.0})
    assert probe.settle(START + 1) == first
    assert not np.isnan(probe.means("bed_temp_c", first, START + 1)).any()


def test_what_waits_to_be_settled_is_bounded() -> None:
    probe = HotProbe()
    for bucket in range(START, START + OPEN_BUCKETS_MOST + 500):
        probe.add(bucket * BUCKET_MS, {"bed_temp_c": 20.0})
    assert len(probe._open) == OPEN_BUCKETS_MOST


def test_channels_share_their_counts_and_keep_their_own_where_they_differ() -> None:
    rng = np.random.default_rng(5)
    probe, came = HotProbe(), dict[str, dict[int, int]]()
    for bucket in range(START, START + 2 * WINDOW_BUCKETS):
        for channel, share in (("bed_temp_c", 1.0), ("lid_temp_c", 0.99), ("soil_raw", 0.3)):
            for minute in range(int(rng.integers(1, 3))):
                if rng.random() < share:
                    probe.add(bucket * BUCKET_MS + minute * 60_000, {channel: 30.0})
                    of = came.setdefault(channel, {})
                    of[bucket] = of.get(bucket, 0) + 1
        if bucket % 3 == 0:
            probe.settle(bucket + 1)
    end = START + 2 * WINDOW_BUCKETS
    probe.settle(end)
    first = end - WINDOW_BUCKETS
    for channel, of in came.items():
        counts = probe.counts(channel, first, end).tolist()
        assert counts == [of.get(bucket, 0) for bucket in range(first, end)]


def test_five_channels_of_a_bin_fit_in_less_than_50_kb() -> None:
    probe = HotProbe()
    five = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c", "soil_raw")
    probe.add(START * BUCKET_MS, dict.fromkeys(five, 20.0))
    probe.settle(START + 1)
    assert probe.size_bytes() <= 47_000


hundredths = st.integers(-900, 5900).map(lambda number: number / 100)
rows = st.lists(
    st.tuples(st.integers(0, 40 * MINUTE_MS // 1000), hundredths, st.booleans()),
    min_size=1,
    max_size=60,
    unique_by=lambda row: row[0],
)


@settings(max_examples=150)
@given(rows, st.randoms(use_true_random=False))
def test_order_does_not_matter_and_the_store_gives_the_same(
    made: list[tuple[int, float, bool]], rng: object
) -> None:
    """Invariant: means depend on the readings alone, not on their order nor on a restart."""
    readings = [
        (
            START * BUCKET_MS + second * 1000,
            {"bed_temp_c": value, **({"soil_raw": round(1500 + value * 10)} if soil else {})},
        )
        for second, value, soil in made
    ]
    live, shuffled, restarted = HotProbe(), HotProbe(), HotProbe()
    for at_ms, values in readings:
        live.add(at_ms, values)
    rng.shuffle(readings)  # type: ignore[attr-defined]
    for at_ms, values in readings:
        shuffled.add(at_ms, values)
    live.settle(START + 9)
    shuffled.settle(START + 9)
    restarted.fill(summed(readings))
    assert live.newest == shuffled.newest == restarted.newest
    for channel in ("bed_temp_c", "soil_raw"):
        expected = live.means(channel, START, START + 9)
        for other in (shuffled, restarted):
            np.testing.assert_array_equal(other.means(channel, START, START + 9), expected)
        true = summed(readings)
        if channel in true.mean:
            at = true.start_ms // BUCKET_MS - START
            means = [
                without_lone(*row, SPIKE_OF[channel])[0]
                for row in zip(
                    true.low[channel],
                    true.mean[channel],
                    true.high[channel],
                    true.count[channel],
                    strict=True,
                )
            ]
            np.testing.assert_allclose(expected[at], means, atol=STEP_OF[channel] * 0.51)
