"""The outbox: what is due, what was tried, what was given up."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from storage.records_places import PLACE, address, fresh
from storage.test_records_alerts import TOLD
from underlid.errors import UnderlidError
from underlid.storage.records import Records

pytestmark = pytest.mark.usefixtures("either_database")


def posted(records: Records, *channels: str) -> list[int]:
    records.save_judgement([], [], [TOLD], channels)
    return [delivery.id for delivery in records.due_deliveries(TOLD.at_ms, 10)]


def test_nothing_is_due_before_its_time() -> None:
    with fresh() as records:
        posted(records, "email")
        assert records.due_deliveries(TOLD.at_ms - 1, 10) == []
        assert len(records.due_deliveries(TOLD.at_ms, 10)) == 1


def test_channels_are_served_apart() -> None:
    with fresh() as records:
        email, webhook = posted(records, "email", "webhook")
        assert [d.id for d in records.due_deliveries(2000, 10, "webhook")] == [webhook]
        assert records.waiting_channels() == {"email", "webhook"}
        records.delivered(email, 2100)
        assert records.waiting_channels() == {"webhook"}
        assert records.waiting_count() == 1


def test_a_failure_waits_and_a_give_up_is_kept_for_people_to_see() -> None:
    with fresh() as records:
        (email,) = posted(records, "email")
        records.failed(email, 2100, "no connection", 5000)
        assert records.due_deliveries(4999, 10) == []
        (again,) = records.due_deliveries(5000, 10)
        assert (again.tries, again.error) == (1, "no connection")
        records.failed(email, 5000, "x" * 9999, None)
        (dead,) = records.dead_letters()
        assert (dead.tries, dead.done_at_ms, len(dead.error)) == (2, 5000, 500)
        assert records.due_deliveries(9**15, 10) == []


def test_a_dead_letter_can_be_sent_again() -> None:
    with fresh() as records:
        (email,) = posted(records, "email")
        with pytest.raises(UnderlidError, match="dead letter"):
            records.retry_dead(email, 3000)
        records.failed(email, 2100, "no", None)
        records.retry_dead(email, 3000)
        (again,) = records.due_deliveries(3000, 10)
        assert (again.tries, records.dead_letters()) == (0, [])


def test_what_was_delivered_is_not_posted_again_until_it_is_forgotten() -> None:
    with fresh() as records:
        (email,) = posted(records, "email")
        records.delivered(email, 2100)
        assert posted(records, "email") == []
        assert records.forget_sent(2100) == 0
        assert records.forget_sent(2101) == 1


def test_the_longest_due_goes_first_and_pages_are_bounded() -> None:
    with fresh() as records:
        late = [replace(TOLD, key=f"k{n}", at_ms=9 - n) for n in range(5)]
        records.save_judgement([], [], late, ["email"])
        assert [d.message.key for d in records.due_deliveries(100, 3)] == ["k4", "k3", "k2"]


def test_what_several_workers_post_at_once_is_posted_by_one_of_them(tmp_path: Path) -> None:
    workers = [Records.open(address(tmp_path)) for _ in range(4)]
    workers[0].save_setup(PLACE)
    for key in ("look_now:f1", "look_now:f2"):
        message = replace(TOLD, key=key)
        with ThreadPoolExecutor(4) as pool:
            done = list(pool.map(lambda one, told=message: one.post_once(told, ["email"]), workers))
        assert sorted(done) == [False, False, False, True]
    assert workers[0].waiting_count() == 2
    for worker in workers:
        worker.close()
