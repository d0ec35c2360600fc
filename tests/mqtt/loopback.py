"""A door on a loopback port in a thread of its own, and a client that speaks in raw packets."""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Any

from underlid.mqtt.decoding import PacketReader
from underlid.mqtt.door import Door
from underlid.mqtt.encoding import encode
from underlid.mqtt.grants import Grants, secret_hash
from underlid.mqtt.intake import Intake
from underlid.mqtt.packets import (
    V311,
    Acknowledge,
    Connack,
    Connect,
    Kind,
    Malformed,
    Packet,
    Ping,
    Publish,
)
from waiting import WAIT_S

SECRETS = {
    "probes": "household-secret",
    "keeper": "keeper-secret",
    "tansy-1": "tansy-secret",
}
GRANTS = Grants({user: secret_hash(secret) for user, secret in SECRETS.items()})
TOPIC = "underlid/v1/potting/sorrel-1/json"
STATUS = "underlid/v1/potting/sorrel-1/status"
STATE = "underlid/v1/potting/state/tansy"


class RunningDoor:
    """`with RunningDoor(writer) as house:` opens the door; leaving stops it."""

    def __init__(self, intake: Intake, **options: Any) -> None:
        self.loop = asyncio.new_event_loop()
        self.door = Door(intake, GRANTS, host="127.0.0.1", port=0, **options)

    def __enter__(self) -> RunningDoor:
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.wait_for(self.door.start())
        assert self.door.port
        self.port: int = self.door.port
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.wait_for(self.door.stop())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(WAIT_S)
        self.loop.close()

    def wait_for(self, work: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(WAIT_S)

    def call(self, work: Callable[[], Any]) -> Any:
        async def called() -> Any:
            return work()

        return self.wait_for(called())


class Wire:
    """A client that sends packets as it is told and shows those that come back."""

    def __init__(
        self, port: int, version: int = V311, *, tls: ssl.SSLContext | None = None
    ) -> None:
        self.version = version
        self.reader = PacketReader(version, packet_bytes_max=1 << 22)
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=WAIT_S)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if tls is not None:
            self.socket = tls.wrap_socket(self.socket, server_hostname="localhost")
        self.come: list[Packet | Malformed] = []

    def send(self, *packets: Packet) -> None:
        self.socket.sendall(b"".join(encode(packet, self.version) for packet in packets))

    def connect(self, user: str | None = "probes", **more: Any) -> Connack:
        secret = more.pop("password", SECRETS.get(user or "", "x").encode())
        client_id = more.pop("client_id", "wire")
        self.send(Connect(self.version, client_id, user=user, password=secret, **more))
        answer = self.next()
        assert isinstance(answer, Connack)
        return answer

    def next(self) -> Packet | Malformed | None:
        """Return the next packet, or None when the other side has closed."""
        while not self.come:
            try:
                data = self.socket.recv(65536)
            except ConnectionResetError:
                return None
            if not data:
                return None
            self.come += self.reader.feed(data)
        return self.come.pop(0)

    def take(self, count: int) -> list[Packet | Malformed | None]:
        return [self.next() for _ in range(count)]

    def is_alive(self) -> bool:
        self.send(Ping(Kind.PINGREQ))
        return self.next() == Ping(Kind.PINGRESP)

    def silent_for(self, seconds: float) -> bool:
        """Tell whether nothing comes within *seconds*."""
        self.socket.settimeout(seconds)
        try:
            self.come += self.reader.feed(self.socket.recv(65536))
        except TimeoutError:
            return True
        finally:
            self.socket.settimeout(WAIT_S)
        return False

    def close(self) -> None:
        self.socket.close()


def reading(number: int, probe: str = "sorrel-1") -> Publish:
    """Return a numbered reading as a QoS 1 message; its packet identifier is its number."""
    payload = b'{"ts":%d,"bed_temp_c":%d.5,"seq":%d}' % (
        1_780_000_000 + number,
        number % 30,
        number,
    )
    return Publish(f"underlid/v1/potting/{probe}/json", payload, 1, (number - 1) % 65535 + 1)


def puback(number: int) -> Acknowledge:
    return Acknowledge(Kind.PUBACK, number)


@contextmanager
def wire(house: RunningDoor, version: int = V311) -> Iterator[Wire]:
    """Yield a client of the door that is closed at the end."""
    client = Wire(house.port, version)
    try:
        yield client
    finally:
        client.close()
