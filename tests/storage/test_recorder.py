"""The writer thread: what is answered is on disk, in order, whatever fails around it."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from underlid.readings.values import Admitted, RawEntry, RawMessage, RejectReason
from underlid.storage.recorder import WAITING_BYTES_MOST, WAITING_MOST, Outcome, Recorder
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.storage.trouble import StoreError, StoreFullError
from waiting import WAIT_S

AT_MS = 1_760_000_000_000


def message(number: int, probe: str = "tansy-1") -> RawMessage:
    payload = b'{"ts": %d, "bed_temp_c": 21.5}' % (AT_MS // 1000 + number)
    return RawMessage(f"underlid/v1/potting/{probe}/json", payload, AT_MS + number * 1000)


class Answers:
    """Collects outcomes; `wait_for` blocks until so many have come."""

    def __init__(self) -> None:
        self.outcomes: list[Outcome] = []
        self._more = threading.Condition()

    def __call__(self, outcome: Outcome) -> None:
        with self._more:
            self.outcomes.append(outcome)
            self._more.notify_all()

    def wait_for(self, count: int) -> list[Outcome]:
        with self._more:
            assert self._more.wait_for(lambda: len(self.outcomes) >= count, WAIT_S)
        return self.outcomes


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def test_answers_come_in_order_and_after_the_commit(store: SqliteReadings) -> None:
    recorder, answers = Recorder(store, lambda _entry: None), Answers()
    stored_at_answer = []
    for number in range(50):

        def done(outcome: Outcome, number: int = number) -> None:
            rows = store.raw("tansy-1", 0, AT_MS * 2)
            stored_at_answer.append((AT_MS + number * 1000) in rows.taken_at_ms.tolist())
            answers(outcome)

        assert recorder.submit([message(number)], done)
    outcomes = answers.wait_for(50)
    recorder.close()
    assert all(stored_at_answer)
    times = [one.admitted.readings[0].taken_at_ms for one in outcomes]
    assert times == sorted(times)
    assert recorder.counts.messages == recorder.counts.readings == 50


def test_what_waits_together_shares_a_commit(store: SqliteReadings) -> None:
    hold = threading.Event()
    recorder, answers = Recorder(store, lambda _entry: None), Answers()

    def slow(outcome: Outcome) -> None:
        hold.wait(WAIT_S)
        answers(outcome)

    recorder.submit([message(0)], slow)
    for number in range(1, 41):
        recorder.submit([message(number)], answers)
    hold.set()
    answers.wait_for(41)
    recorder.close()
    assert recorder.counts.commits <= 4


def test_a_full_queue_takes_nothing(store: SqliteReadings) -> None:
    hold = threading.Event()
    recorder, answers = Recorder(store, lambda _entry: None), Answers()

    def slow(_outcome: Outcome) -> None:
        hold.wait(WAIT_S)

    recorder.submit([message(0)], slow)
    big = [message(number) for number in range(WAITING_MOST)]
    while recorder.submit(big, answers):
        pass
    assert not recorder.submit([message(1)] * WAITING_MOST, answers)
    hold.set()
    recorder.close()
    assert not recorder.submit([message(2)], answers)
    assert recorder.waiting == 0


def test_a_full_disk_is_answered_with_the_error_and_told_to_nobody(store: SqliteReadings) -> None:
    recorder, answers = Recorder(store, lambda _entry: None), Answers()
    told: list[Admitted] = []
    recorder.listen(told.append)
    connection = store._hot.connection
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")
    batch = [message(number, f"probe-{number}") for number in range(3000)]
    recorder.submit(batch, answers)
    failed = answers.wait_for(1)[0]
    assert isinstance(failed.error, StoreFullError)
    assert told == []
    connection.execute("PRAGMA max_page_count = 1000000")
    recorder.submit(batch, answers)
    assert answers.wait_for(2)[1].error is None
    recorder.close()
    assert len(told) == 1
    assert len(store.probes_seen()) == 3000
    assert recorder.counts.failed_commits == 1


def test_a_failing_listener_or_caller_does_not_stop_the_stream(store: SqliteReadings) -> None:
    recorder, answers = Recorder(store, lambda _entry: None), Answers()

    def fail(_what: object) -> None:
        raise RuntimeError("not today")

    recorder.listen(fail)
    recorder.submit([message(0)], fail)
    recorder.submit([message(1)], answers)
    answers.wait_for(1)
    recorder.close()
    assert len(store.raw("tansy-1", 0, AT_MS * 2).taken_at_ms) == 2


def test_entries_are_kept_before_the_answer_and_a_refused_one_is_shown(
    store: SqliteReadings,
) -> None:
    kept: list[RawEntry] = []

    def keep(entry: RawEntry) -> str | None:
        if entry.fields.get("kind") == "dance":
            return "kind of entry is 'dance', expected feed or water. Choose one."
        kept.append(entry)
        return None

    recorder, answers = Recorder(store, keep), Answers()
    topic = "underlid/v1/potting/entry"
    good = RawMessage(topic, b'{"bin": "tansy", "kind": "feed", "mass_g": 900}', AT_MS)
    bad = RawMessage(topic, b'{"bin": "tansy", "kind": "dance"}', AT_MS)
    recorder.submit([good, bad], answers)
    outcome = answers.wait_for(1)[0]
    recorder.close()
    assert [entry.fields["mass_g"] for entry in kept] == [900]
    assert [one.reason for one in outcome.admitted.rejected] == [RejectReason.BAD_ENTRY]
    assert "dance" in store.recent_rejects()[0].sentence


def test_closing_writes_what_waits(store: SqliteReadings) -> None:
    recorder, answers = Recorder(store, lambda _entry: None), Answers()
    for number in range(200):
        recorder.submit([message(number)], answers)
    recorder.close()
    assert len(store.raw("tansy-1", 0, AT_MS * 2).taken_at_ms) == 200
    assert len(answers.outcomes) == 200


def test_the_queue_is_bounded_in_bytes_too(store: SqliteReadings) -> None:
    hold = threading.Event()
    recorder, answers = Recorder(store, lambda _entry: None), Answers()

    def slow(_outcome: Outcome) -> None:
        hold.wait(WAIT_S)

    recorder.submit([message(0)], slow)
    large = RawMessage("underlid/v1/potting/tansy-1/json", b" " * 2**16, AT_MS)
    sent = 0
    while recorder.submit([large], answers):
        sent += 1
        assert sent <= WAITING_BYTES_MOST // 2**16
    assert sent == WAITING_BYTES_MOST // 2**16 - 1
    hold.set()
    assert len(answers.wait_for(sent)) == sent
    assert recorder.submit([message(1)], answers)
    recorder.close()


def test_listeners_are_told_what_is_stored_and_not_the_resend(store: SqliteReadings) -> None:
    recorder, answers = Recorder(store, lambda _entry: None), Answers()
    told: list[Admitted] = []
    recorder.listen(told.append)
    topic = "underlid/v1/potting/tansy-1/json"
    for second in range(2):
        body = b'{"seq": 7, "bed_temp_c": 21.5}'
        recorder.submit([RawMessage(topic, body, AT_MS + second * 1000)], answers)
        answers.wait_for(second + 1)
    recorder.close()
    assert [len(one.admitted.readings) for one in answers.outcomes] == [1, 1]
    assert [len(one.readings) for one in told] == [1, 0]
    assert len(store.raw("tansy-1", 0, AT_MS * 2).taken_at_ms) == 1


def test_one_batch_that_cannot_be_stored_keeps_no_other_out(store: SqliteReadings) -> None:
    """A mistake of ours in one message must not stop the stream of all others."""
    hold = threading.Event()
    recorder, answers = Recorder(store, lambda _entry: None), Answers()

    def slow(_outcome: Outcome) -> None:
        hold.wait(WAIT_S)

    recorder.submit([message(0)], slow)
    recorder.submit([message(1)], answers)
    wrong = RawMessage("underlid/v1/potting/tansy-1/json", b"{}", 2**70)
    recorder.submit([wrong], answers)
    recorder.submit([message(2)], answers)
    hold.set()
    outcomes = answers.wait_for(3)
    recorder.close()
    assert [one.error is None for one in outcomes] == [True, False, True]
    assert "mistake in Underlid" in str(outcomes[1].error)
    assert len(store.raw("tansy-1", 0, AT_MS * 2).taken_at_ms) == 3


def test_an_entry_that_cannot_be_kept_is_not_acknowledged(store: SqliteReadings) -> None:
    def keep(entry: RawEntry) -> str | None:
        if entry.shed == "potting":
            raise OSError("the records' disk is gone")
        return None

    recorder, answers = Recorder(store, keep), Answers()
    body = b'{"bin": "tansy", "kind": "feed", "mass_g": 900}'
    recorder.submit([RawMessage("underlid/v1/potting/entry", body, AT_MS)], answers)
    recorder.submit([RawMessage("underlid/v1/lean-to/entry", body, AT_MS)], answers)
    outcomes = answers.wait_for(2)
    recorder.close()
    assert isinstance(outcomes[0].error, StoreError)
    assert outcomes[1].error is None
