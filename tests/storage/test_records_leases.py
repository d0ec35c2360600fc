"""Leases: one holder each, fair shares, and nothing written by whoever lost one."""

from __future__ import annotations

import threading

import pytest

from storage.records_places import fresh
from storage.test_records_alerts import ALERT, RAISED, TOLD
from underlid.storage.records import Lease, LeaseLostError
from underlid.timeline import DAY_MS

pytestmark = pytest.mark.usefixtures("either_database")

SHEDS = [f"shed-{number}" for number in range(7)]
LONG_MS = 60_000
OVER_MS = -1
"""A lease that has run out already: nothing has to be waited for."""


def names(leases: list[Lease]) -> set[str]:
    return {lease.name for lease in leases}


def test_one_worker_gets_all_and_keeps_its_tokens() -> None:
    with fresh() as records:
        first = records.share("a", "shed", SHEDS, [], LONG_MS)
        assert names(first) == set(SHEDS)
        assert records.share("a", "shed", SHEDS, first, LONG_MS) == first
        assert records.holders("shed") == dict.fromkeys(SHEDS, "a")


def test_a_newcomer_gets_its_share_when_the_others_have_given_up_theirs() -> None:
    with fresh() as records:
        held = {"a": records.share("a", "shed", SHEDS, [], LONG_MS), "b": [], "c": []}
        for worker in "bcabcabc":
            held[worker] = records.share(worker, "shed", SHEDS, held[worker], LONG_MS)
        assert [len(held[worker]) for worker in "abc"] == [3, 2, 2]
        assert names(held["a"]) | names(held["b"]) | names(held["c"]) == set(SHEDS)


def test_what_is_not_renewed_goes_to_others_and_its_holder_writes_nothing() -> None:
    with fresh() as records:
        (old,) = records.share("a", "shed", ["potting"], [], LONG_MS)
        assert records.share("b", "shed", ["potting"], [], LONG_MS) == []
        records.renew("a", [old], OVER_MS)
        (new,) = records.share("b", "shed", ["potting"], [], LONG_MS)
        with pytest.raises(LeaseLostError):
            records.save_judgement([ALERT], [RAISED], [TOLD], ["email"], 2000, lease=old)
        assert records.open_alerts() == []
        assert records.due_deliveries(9000, 10) == []
        assert records.share("a", "shed", ["potting"], [old], LONG_MS) == []
        records.save_judgement([ALERT], [RAISED], [TOLD], ["email"], 2000, lease=new)
        assert records.open_alerts() == [ALERT]


def test_renewing_keeps_a_lease_and_leaving_frees_it_at_once() -> None:
    with fresh() as records:
        held = records.share("a", "shed", SHEDS, [], OVER_MS)
        records.renew("a", held, LONG_MS)
        records.share("b", "shed", SHEDS, [], LONG_MS)
        assert set(records.holders("shed").values()) == {"a"}
        records.leave("a", held)
        assert len(records.share("b", "shed", SHEDS, [], LONG_MS)) == len(SHEDS)


def test_a_restarted_worker_takes_over_from_its_namesake_at_once() -> None:
    with fresh() as records:
        (old,) = records.share("a", "shed", ["potting"], [], LONG_MS)
        (new,) = records.share("a", "shed", ["potting"], [], LONG_MS)
        assert new.token != old.token
        with pytest.raises(LeaseLostError):
            records.save_judgement([ALERT], [], [], [], lease=old)
        records.renew("a", [old], LONG_MS)
        records.save_judgement([ALERT], [], [], [], lease=new)


def test_a_worker_is_forgotten_after_a_week_without_a_sign_of_life() -> None:
    with fresh() as records:
        records.share("a", "shed", [], [], -8 * DAY_MS)
        records.share("b", "shed", [], [], -6 * DAY_MS)
        assert records.gone("shed") == ["b"]


def test_a_shed_that_was_removed_is_given_back() -> None:
    with fresh() as records:
        held = records.share("a", "shed", ["one", "two"], [], LONG_MS)
        kept = records.share("a", "shed", ["two"], held, LONG_MS)
        assert names(kept) == {"two"}
        assert set(records.holders("shed")) == {"two"}


def test_only_the_holder_of_a_channel_notes_what_became_of_a_message() -> None:
    with fresh() as records:
        records.save_judgement([], [], [TOLD], ["email"])
        (delivery,) = records.due_deliveries(TOLD.at_ms, 10)
        (old,) = records.share("a", "channel", ["email"], [], LONG_MS)
        records.leave("a", [old])
        (new,) = records.share("b", "channel", ["email"], [], LONG_MS)
        with pytest.raises(LeaseLostError):
            records.delivered(delivery.id, 3000, old)
        with pytest.raises(LeaseLostError):
            records.failed(delivery.id, 3000, "no", None, old)
        records.delivered(delivery.id, 3000, new)
        assert records.waiting_count() == 0


def test_no_two_workers_ever_hold_the_same() -> None:
    """Each takes, writes its name where only a holder may, and gives back, all at the same time."""
    with fresh() as records:
        wrong: list[str] = []
        owner: dict[str, str] = {}

        def work(worker: str) -> None:
            for _ in range(12):
                held = records.share(worker, "shed", SHEDS, [], LONG_MS)
                for lease in held:
                    if owner.setdefault(lease.name, worker) != worker:
                        wrong.append(lease.name)
                for lease in held:
                    owner.pop(lease.name, None)
                records.leave(worker, held)

        threads = [threading.Thread(target=work, args=(f"w{n}",)) for n in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert wrong == []
