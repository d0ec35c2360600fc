"""Acknowledged means on disk: killed in mid-stream, flushed by battery probes, nothing lost."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from mqtt.brokers import PASSWORDS, Mosquitto, probe
from mqtt.killable import Service
from mqtt.loopback import SECRETS, Wire
from programs import free_port
from underlid.mqtt.encoding import encode
from underlid.mqtt.packets import V311, Acknowledge, Connack, Connect, Disconnect, Publish
from underlid.storage.sqlite_readings import SqliteReadings
from waiting import WAIT_S, wait_until

FIRST_S = 1_780_000_000
PROBES = 10
EACH = 3000
KILLS = 6
WINDOW = 100
RETRY_S = 0.02


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def service(tmp_path: Path, port: int) -> Iterator[Service]:
    made = Service(tmp_path, "door", port)
    yield made
    made.kill()


def message(probe: str, number: int) -> bytes:
    payload = b'{"ts":%d,"bed_temp_c":%d,"seq":%d}' % (FIRST_S + number, number % 40, number)
    topic = f"underlid/v1/potting/{probe}/json"
    return encode(Publish(topic, payload, 1, number % 65535 + 1), V311)


def stored(folder: Path, probe: str) -> list[tuple[int, float]]:
    """Return (number, value) of every reading of *probe* that is in the store."""
    store = SqliteReadings(folder / "readings.db")
    series = store.raw(probe, 0, 2 * FIRST_S * 1000)
    numbers = [at_ms // 1000 - FIRST_S for at_ms in series.taken_at_ms.tolist()]
    values = series.values["bed_temp_c"].tolist() if series.values else []
    store.close()
    return list(zip(numbers, values, strict=True))


class Probe(threading.Thread):
    """Sends its readings with a window, and after a break those that were not acknowledged."""

    def __init__(self, port: int, name: str, count: int) -> None:
        super().__init__(daemon=True)
        self.port = port
        self.id = name
        self.left = dict.fromkeys(range(count))
        self.acknowledged = 0
        self.breaks = 0

    def run(self) -> None:
        while self.left:
            try:
                self.stream()
            except OSError:
                self.breaks += 1
                time.sleep(RETRY_S)

    def stream(self) -> None:
        wire = Wire(self.port)
        try:
            wire.send(Connect(V311, self.id, user="probes", password=SECRETS["probes"].encode()))
            self.expect(wire, Connack)
            while self.left:
                window = list(self.left)[:WINDOW]
                wire.socket.sendall(b"".join(message(self.id, number) for number in window))
                for number in window:
                    answer = self.expect(wire, Acknowledge)
                    assert answer.packet_id == number % 65535 + 1
                    del self.left[number]
                    self.acknowledged += 1
        finally:
            wire.close()

    @staticmethod
    def expect(wire: Wire, kind: type) -> Acknowledge:
        answer = wire.next()
        if answer is None:
            raise ConnectionResetError
        assert isinstance(answer, kind)
        return answer  # type: ignore[return-value]


def test_kill_9_in_mid_stream_loses_and_doubles_nothing(
    tmp_path: Path, port: int, service: Service
) -> None:
    """30,000 messages, six kills: what was acknowledged before each kill is on disk after it."""
    chance = random.Random(2)
    probes = [Probe(port, f"bin-{n}", EACH) for n in range(PROBES)]
    for one in probes:
        one.start()
    total = PROBES * EACH
    for kill in range(KILLS):
        due = total * (kill + chance.random()) / (KILLS + 1)
        wait_until(lambda due=due: sum(one.acknowledged for one in probes) > due)
        service.kill()
        before = [set(range(EACH)) - set(one.left) for one in probes]
        for one, acknowledged in zip(probes, before, strict=True):
            assert acknowledged <= {number for number, _ in stored(tmp_path, one.id)}
        service.start()
    for one in probes:
        one.join(2 * WAIT_S)
    assert sum(one.breaks > 0 for one in probes) == PROBES
    for one in probes:
        assert stored(tmp_path, one.id) == [(number, number % 40) for number in range(EACH)]


def test_40_battery_flushes_lose_nothing(tmp_path: Path, port: int, service: Service) -> None:
    """Connect, 20 × QoS 1 in one go, wait for the PUBACKs or not, disconnect, gone."""
    for flush in range(40):
        wire = Wire(port)
        wire.send(Connect(V311, "battery", user="probes", password=SECRETS["probes"].encode()))
        numbers = range(20 * flush, 20 * flush + 20)
        data = b"".join(message("battery", number) for number in numbers)
        wire.socket.sendall(data + encode(Disconnect(), V311))
        answers = wire.take(22 if flush % 2 else 1)
        assert isinstance(answers[0], Connack)
        assert all(isinstance(one, Acknowledge) for one in answers[1:-1])
        wire.close()
    wait_until(lambda: len(stored(tmp_path, "battery")) == 800)
    assert [number for number, _ in stored(tmp_path, "battery")] == list(range(800))


def test_kill_9_behind_a_broker_loses_nothing(tmp_path: Path) -> None:
    """The broker keeps what the service did not acknowledge, and sends it again."""
    broker = Mosquitto(tmp_path)
    broker.start()
    service = Service(tmp_path, "broker", broker.port, PASSWORDS["underlid"])
    client = probe(broker)
    try:
        for kill in range(2):
            numbers = range(3000 * kill, 3000 * kill + 3000)
            topic = "underlid/v1/potting/bin-1/json"
            text = '{"ts":%d,"bed_temp_c":%d}'
            for number in numbers:
                client.publish(topic, text % (FIRST_S + number, number % 40), qos=1)
            wait_until(lambda kill=kill: len(stored(tmp_path, "bin-1")) > 3000 * kill)
            service.kill()
            service.start()
        wait_until(lambda: len(stored(tmp_path, "bin-1")) == 6000)
        assert stored(tmp_path, "bin-1") == [(number, number % 40) for number in range(6000)]
    finally:
        client.disconnect()
        client.loop_stop()
        service.kill()
        broker.stop()
