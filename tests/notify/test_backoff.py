"""The schedule of tries: growing, bounded, spread, and the same every time."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from underlid.notify.backoff import JITTER, LONGEST_WAIT_MS, TRIES_MOST, next_try_ms
from underlid.timeline import HOUR_MS

ids = st.integers(min_value=1, max_value=2**40)


@given(ids, st.integers(min_value=1, max_value=TRIES_MOST - 1))
def test_every_wait_is_within_its_bounds_and_repeatable(delivery_id: int, tries: int) -> None:
    at_ms = next_try_ms(delivery_id, tries, 5000)
    assert at_ms is not None
    assert at_ms == next_try_ms(delivery_id, tries, 5000)
    middle_ms = min(10_000 * 4 ** (tries - 1), LONGEST_WAIT_MS)
    assert abs(at_ms - 5000 - middle_ms) <= middle_ms * JITTER + 1


@given(ids)
def test_a_channel_that_is_down_for_a_day_loses_nothing_and_forever_is_given_up(
    delivery_id: int,
) -> None:
    at_ms, tries = 0, 0
    while (next_ms := next_try_ms(delivery_id, tries := tries + 1, at_ms)) is not None:
        at_ms = next_ms
    assert tries == TRIES_MOST
    assert 24 * HOUR_MS < at_ms < 48 * HOUR_MS


def test_messages_that_failed_together_do_not_return_together() -> None:
    assert len({next_try_ms(delivery_id, 3, 0) for delivery_id in range(50)}) > 45
