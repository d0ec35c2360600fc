"""The courier loses nothing, keeps channels apart, and stops trying when it must."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from notify.messages import AT_MS, TOLD, post
from notify.sinks import mail_sink, web_sink
from storage.records_places import PLACE, address, fresh
from underlid.alerts.alert import Message
from underlid.clock import SystemClock, VirtualClock
from underlid.notify.backoff import TRIES_MOST
from underlid.notify.channel import ChannelError
from underlid.notify.channels import AddressChannel
from underlid.notify.outbox import Courier, Drained
from underlid.notify.webhook import Webhook
from underlid.storage.records import Lease, Records
from underlid.timeline import DAY_MS, HOUR_MS
from waiting import WAIT_S


class Paper:
    """A channel that writes messages down, and fails while `trouble` is set."""

    def __init__(self, name: str, trouble: Exception | None = None) -> None:
        self.name = name
        self.trouble = trouble
        self.keys: list[str] = []
        self.got = threading.Event()

    def send(self, message: Message, now_ms: int) -> None:
        if self.trouble is not None:
            raise self.trouble
        self.keys.append(message.key)
        self.got.set()


class Stuck(Paper):
    """A channel that hangs until released."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.released = threading.Event()

    def send(self, message: Message, now_ms: int) -> None:
        self.released.wait(WAIT_S)
        super().send(message, now_ms)


def courier(records: Records, *channels: Paper | AddressChannel | Webhook) -> Courier:
    return Courier(records, channels, VirtualClock(AT_MS))


def test_a_message_reaches_every_channel_once() -> None:
    with fresh() as records, mail_sink() as mail, web_sink() as web:
        both = courier(
            records,
            AddressChannel(mail.address(), "smtp_url", name="email"),
            Webhook(web.address(), "key"),
        )
        post(records, both.channel_names)
        assert both.drain_once(AT_MS) == Drained(sent=2)
        assert both.drain_once(AT_MS + DAY_MS) == Drained()
        assert (len(mail.mails), len(web.requests)) == (1, 1)
        assert records.waiting_count() == 0


def test_a_sink_that_fails_and_recovers_gets_the_message_with_the_same_key() -> None:
    with fresh() as records, web_sink() as web, mail_sink() as mail:
        both = courier(
            records,
            Webhook(web.address(), "key"),
            AddressChannel(mail.address(), "smtp_url", name="email"),
        )
        web.status = 503
        mail.failing = True
        post(records, both.channel_names)
        assert both.drain_once(AT_MS) == Drained(failed=2)
        assert both.failing()["webhook"] == "the receiver answered 503"
        assert both.drain_once(AT_MS + 1000) == Drained()
        web.status = 200
        mail.failing = False
        assert both.drain_once(AT_MS + 15_000) == Drained(sent=2)
        assert {headers["Idempotency-Key"] for _, headers, _ in web.requests} == {TOLD.key}
        assert (len(mail.mails), both.failing()) == (1, {})


@pytest.mark.parametrize("trouble", [ChannelError("no"), RuntimeError("secret"), KeyError("x")])
def test_a_channel_that_fails_never_stops_another(trouble: Exception) -> None:
    with fresh() as records:
        bad, good = Paper("bad", trouble), Paper("good")
        both = courier(records, bad, good)
        post(records, both.channel_names, count=3)
        assert both.drain_once(AT_MS) == Drained(sent=3, failed=3)
        assert len(good.keys) == 3
        assert "secret" not in both.failing()["bad"]


def test_after_the_last_try_it_is_a_dead_letter_that_can_be_sent_again() -> None:
    with fresh() as records:
        paper = Paper("paper", ChannelError("the shed has no signal"))
        one = courier(records, paper)
        post(records, ["paper"])
        total, now_ms = Drained(), AT_MS
        while records.waiting_count():
            total += one.drain_once(now_ms)
            now_ms += HOUR_MS
        assert total == Drained(failed=TRIES_MOST, given_up=1)
        (dead,) = records.dead_letters()
        assert (dead.error, dead.tries) == ("the shed has no signal", TRIES_MOST)
        paper.trouble = None
        records.retry_dead(dead.id, now_ms)
        assert one.drain_once(now_ms) == Drained(sent=1)
        assert (paper.keys, records.dead_letters()) == ([TOLD.key], [])


def test_messages_for_a_channel_that_was_taken_away_become_dead_letters() -> None:
    with fresh() as records:
        post(records, ["old", "paper"], count=120)
        paper = Paper("paper")
        assert courier(records, paper).drain_once(AT_MS).given_up == 120
        assert {dead.error for dead in records.dead_letters(200)} == {"no such channel is set up"}
        assert len(paper.keys) == 50  # one round's worth


def test_a_message_that_was_taken_but_could_not_be_marked_is_not_sent_again() -> None:
    class Forgetful(Records):
        """Records on a disk that is full the first time."""

        full = True

        def delivered(self, delivery_id: int, at_ms: int, lease: Lease | None = None) -> None:
            if self.full:
                self.full = False
                raise OSError("no space left")
            super().delivered(delivery_id, at_ms, lease)

    with fresh() as records:
        records.__class__ = Forgetful
        paper = Paper("paper")
        one = courier(records, paper)
        post(records, ["paper"])
        with pytest.raises(OSError, match="no space"):
            one.drain_once(AT_MS)
        assert one.drain_once(AT_MS) == Drained(sent=1)
        assert paper.keys == [TOLD.key]


def test_running_it_tells_at_once_when_woken_and_a_hanging_channel_holds_nobody_up() -> None:
    with fresh() as records:
        stuck, paper = Stuck("stuck"), Paper("paper")
        running = Courier(records, [stuck, paper], SystemClock())
        running.start()
        post(records, running.channel_names)
        running.wake()
        assert paper.got.wait(WAIT_S)
        assert not stuck.got.is_set()
        stuck.released.set()
        assert stuck.got.wait(WAIT_S)
        running.stop()
        assert records.waiting_count() == 0
        assert not [t for t in threading.enumerate() if t.name.startswith("courier-")]


KILLED = """
import os, signal, sys
from notify.messages import AT_MS
from underlid.clock import VirtualClock
from underlid.notify.outbox import Courier
from underlid.notify.webhook import Webhook
from underlid.storage.records import Lease, Records

class KilledAfterSending(Records):
    def delivered(self, delivery_id, at_ms, lease=None):
        os.kill(os.getpid(), signal.SIGKILL)

records = Records.open(sys.argv[1])
records.__class__ = KilledAfterSending
Courier(records, [Webhook(sys.argv[2], "key")], VirtualClock(AT_MS)).drain_once(AT_MS)
"""


def test_killed_between_sending_and_marking_it_is_sent_again_with_the_same_key(
    tmp_path: Path,
) -> None:
    records = Records.open(address(tmp_path))
    records.save_setup(PLACE)
    post(records, ["webhook"])
    root = Path(__file__).parents[2]
    with web_sink() as web:
        killed = subprocess.run(
            [sys.executable, "-c", KILLED, address(tmp_path), web.address()],
            env=os.environ | {"PYTHONPATH": f"{root / 'service'}{os.pathsep}{root / 'tests'}"},
            check=False,
        )
        assert killed.returncode == -signal.SIGKILL
        again = courier(records, Webhook(web.address(), "key"))
        assert again.drain_once(AT_MS) == Drained(sent=1)
        assert again.drain_once(AT_MS + DAY_MS) == Drained()
        assert [headers["Idempotency-Key"] for _, headers, _ in web.requests] == [TOLD.key] * 2
    records.close()
