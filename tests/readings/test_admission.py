"""Whose clock is believed, and that no row of a message is lost to another."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.pipeline import ingest
from underlid.readings.admission import EARLIEST_MS
from underlid.readings.decode import decode
from underlid.readings.values import RawMessage, Reading, TimeSource
from underlid.timeline import HOUR_MS, MINUTE_MS

RECEIVED_MS = 1_800_000_000_000
RECEIVED_S = RECEIVED_MS // 1000
TOPIC = "underlid/v1/potting/tansy-1/json"


def readings(*times: object) -> list[Reading]:
    rows = [{"bed_temp_c": i} | ({} if ts is None else {"ts": ts}) for i, ts in enumerate(times)]
    decoded = decode(RawMessage(TOPIC, msgspec.json.encode(rows), RECEIVED_MS))
    assert not decoded.rejected
    return decoded.readings


def placed(*times: object) -> list[tuple[int, TimeSource]]:
    return [(r.taken_at_ms - RECEIVED_MS, r.time_source) for r in readings(*times)]


@pytest.mark.parametrize(
    ("ts", "offset_ms", "source"),
    [
        (None, 0, TimeSource.RECEIPT),
        (RECEIVED_S - 60, -MINUTE_MS, TimeSource.DEVICE),
        (RECEIVED_S + 600, 10 * MINUTE_MS, TimeSource.DEVICE),
        (RECEIVED_S + 600.001, 0, TimeSource.RECEIPT_CLOCK_AHEAD),
        (1e300, 0, TimeSource.RECEIPT_CLOCK_AHEAD),
        (1_577_836_800, EARLIEST_MS - RECEIVED_MS, TimeSource.DEVICE),
        (1_577_836_799.999, 0, TimeSource.RECEIPT_CLOCK_UNSET),
        (0, 0, TimeSource.RECEIPT_CLOCK_UNSET),
        (-1e300, 0, TimeSource.RECEIPT_CLOCK_UNSET),
    ],
)
def test_one_row(ts: object, offset_ms: int, source: TimeSource) -> None:
    assert placed(ts) == [(offset_ms, source)]


def test_a_back_fill_from_an_unset_clock_keeps_its_spacing() -> None:
    unset = TimeSource.RECEIPT_CLOCK_UNSET
    assert placed(0, 60, 120) == [(-120_000, unset), (-60_000, unset), (0, unset)]
    assert placed(-60, 0) == [(-60_000, unset), (0, unset)]


def test_a_back_fill_from_a_fast_clock_is_moved_as_a_whole() -> None:
    ahead = TimeSource.RECEIPT_CLOCK_AHEAD
    times = (RECEIVED_S, RECEIVED_S + 1800, RECEIVED_S + 3600)
    assert placed(*times) == [(-HOUR_MS, ahead), (-HOUR_MS // 2, ahead), (0, ahead)]


def test_rows_without_any_time_keep_their_order_and_all_survive() -> None:
    receipt = TimeSource.RECEIPT
    assert placed(None, None, None) == [(-2, receipt), (-1, receipt), (0, receipt)]


def test_a_believed_clock_keeps_its_place_among_rows_without_time() -> None:
    assert placed(RECEIVED_S, None) == [(0, TimeSource.DEVICE), (-1, TimeSource.RECEIPT)]


def test_two_rows_of_one_instant_that_contradict_each_other_both_survive() -> None:
    at = RECEIVED_S - 60
    device = TimeSource.DEVICE
    assert placed(at, at) == [(-60_000, device), (-59_999, device)]


def test_two_rows_of_one_instant_with_different_channels_stay_together() -> None:
    payload = msgspec.json.encode(
        [{"ts": RECEIVED_S, "bed_temp_c": 1}, {"ts": RECEIVED_S, "lid_temp_c": 2}]
    )
    both = decode(RawMessage(TOPIC, payload, RECEIVED_MS)).readings
    assert [reading.taken_at_ms for reading in both] == [RECEIVED_MS, RECEIVED_MS]


def test_a_burst_without_times_loses_nothing_across_messages() -> None:
    burst = [RawMessage(TOPIC, b'{"bed_temp_c": %d}' % i, RECEIVED_MS) for i in range(20)]
    admitted = ingest(burst)
    assert [r.taken_at_ms - RECEIVED_MS for r in admitted.readings] == list(range(20))


def test_a_burst_of_thousands_takes_no_longer_than_it_should() -> None:
    burst = [RawMessage(TOPIC, b'{"bed_temp_c": %d}' % i, RECEIVED_MS) for i in range(5000)]
    found = {(r.taken_at_ms, r.values["bed_temp_c"]) for r in ingest(burst).readings}
    assert found == {(RECEIVED_MS + i, float(i)) for i in range(5000)}


def test_values_on_topics_of_their_own_share_their_instant() -> None:
    start = "underlid/v1/potting/tansy-1/value/"
    admitted = ingest(
        [
            RawMessage(start + "bed_temp_c", b"22.4", RECEIVED_MS),
            RawMessage(start + "lid_temp_c", b"20.1", RECEIVED_MS),
        ]
    )
    assert [reading.taken_at_ms for reading in admitted.readings] == [RECEIVED_MS] * 2


def test_a_message_sent_again_with_a_time_has_the_same_key() -> None:
    message = RawMessage(TOPIC, b'{"ts": 1790000000, "bed_temp_c": 22.4}', RECEIVED_MS)
    again = RawMessage(TOPIC, message.payload, RECEIVED_MS + 1)
    first, second = ingest([message, again]).readings
    assert first.taken_at_ms == second.taken_at_ms


TIMES = st.one_of(
    st.none(),
    st.integers(-10, 10),
    st.integers(RECEIVED_S - 3, RECEIVED_S + 3),
    st.integers(RECEIVED_S + 598, RECEIVED_S + 700),
    st.floats(allow_nan=False, allow_infinity=False),
)


@given(st.lists(TIMES, min_size=1, max_size=12))
def test_no_row_is_lost_and_every_time_can_be_stored(times: list[object]) -> None:
    """As many keys come out as rows with different values went in, all of them storable."""
    found = readings(*times)
    assert len({reading.taken_at_ms for reading in found}) == len(times)
    assert [reading.values["bed_temp_c"] for reading in found] == list(range(len(times)))
    for reading in found:
        assert EARLIEST_MS - 1000 <= reading.taken_at_ms <= RECEIVED_MS + 10 * MINUTE_MS + 12
