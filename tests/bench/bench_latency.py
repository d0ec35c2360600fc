"""From publish to PUBACK, which the door sends after the fsynced commit, at 1,000 messages a second.

Fifty clients in this process, each publishing at its own even pace, against the door and its store
in another. Baseline: mosquitto, which acknowledges when it has the message in memory; the disk's own
fdatasync stands beside it.

    python tests/bench/bench_latency.py [seconds] [rounds]
"""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from store_rows import line  # noqa: E402

from mqtt.killable import Service  # noqa: E402
from programs import free_port, require  # noqa: E402
from underlid.clock import pause  # noqa: E402

CLIENTS = 50
RATE_HZ = 1000
SYNCS = 200
STOCK = "listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
BODY = (
    '{"ts":%d,"bed_temp_c":21.44,"headspace_temp_c":19.87,"headspace_rh_pct":91.3,'
    '"soil_raw":2107,"battery_v":3.91,"rssi_dbm":-67}'
)


def text(value: str) -> bytes:
    """Return a string as MQTT writes it."""
    return len(value).to_bytes(2, "big") + value.encode()


def packet(kind: int, body: bytes) -> bytes:
    """Return a packet with its length, up to 16 kB."""
    size = len(body)
    length = bytes([size]) if size < 128 else bytes([size & 127 | 128, size >> 7])
    return bytes([kind]) + length + body


class Sender(asyncio.Protocol):
    """One client: notes when each message left and when its PUBACK came."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.ready = asyncio.Event()
        self.left_s: dict[int, float] = {}
        self.took_ms: list[float] = []
        self._rest = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        body = text("MQTT") + b"\x04\xc2\x00\x3c" + text(f"sender-{self.number}")
        transport.write(packet(0x10, body + text("probes") + text("household-secret")))

    def data_received(self, data: bytes) -> None:
        now_s = time.perf_counter()
        data = self._rest + data
        while len(data) >= 4:
            if data[0] == 0x20:
                assert data[3] == 0, "the connection was refused"
                self.ready.set()
            else:
                number = int.from_bytes(data[2:4], "big")
                self.took_ms.append((now_s - self.left_s.pop(number)) * 1000)
            data = data[4:]
        self._rest = data

    async def send(self, seconds: float) -> None:
        """Publish at an even pace, then wait for what is not acknowledged."""
        every_s = CLIENTS / RATE_HZ
        began = time.perf_counter() + every_s * self.number / CLIENTS
        for number in range(1, round(seconds / every_s) + 1):
            await pause(max(0.0, began + number * every_s - time.perf_counter()))
            topic = f"underlid/v1/potting/bin{self.number}-1/json"
            body = (BODY % (1_760_000_000 + number)).encode()
            self.left_s[number] = time.perf_counter()
            self.transport.write(packet(0x32, text(topic) + number.to_bytes(2, "big") + body))
        for _ in range(200):
            if not self.left_s:
                return
            await pause(0.05)


async def entered(port: int, number: int) -> Sender:
    """Return a client that has been let in."""
    sender = Sender(number)
    await asyncio.get_running_loop().create_connection(lambda: sender, "127.0.0.1", port)
    await sender.ready.wait()
    return sender


async def latencies_ms(port: int, seconds: float) -> list[float]:
    """Return the milliseconds of every message of all clients."""
    senders = [await entered(port, number) for number in range(CLIENTS)]
    await asyncio.gather(*(sender.send(seconds) for sender in senders))
    for sender in senders:
        sender.transport.abort()
        assert not sender.left_s, "some messages were never acknowledged"
    return [one for sender in senders for one in sender.took_ms]


def door(seconds: float) -> list[float]:
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        service = Service(Path(folder), "door", port)
        try:
            return asyncio.run(latencies_ms(port, seconds))
        finally:
            service.kill()


def mosquitto(seconds: float) -> list[float]:
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        settings = Path(folder) / "mosquitto.conf"
        settings.write_text(STOCK.format(port=port))
        quiet = subprocess.DEVNULL
        words = [require("mosquitto"), "-c", str(settings)]
        broker = subprocess.Popen(words, stdout=quiet, stderr=quiet)
        try:
            time.sleep(0.5)
            return asyncio.run(latencies_ms(port, seconds))
        finally:
            broker.terminate()
            broker.wait()


def fdatasync_ms() -> float:
    """Return the median of the disk's own fdatasync after 4 kB."""
    took_ms = []
    with tempfile.NamedTemporaryFile() as file:
        for _ in range(SYNCS):
            file.write(bytes(4096))
            file.flush()
            began = time.perf_counter()
            os.fdatasync(file.fileno())
            took_ms.append((time.perf_counter() - began) * 1000)
    return median(took_ms)


def main() -> None:
    """Print the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 6.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    ours, theirs, disk = [], [], []
    for _ in range(rounds):
        disk.append(fdatasync_ms())
        ours.append(door(seconds))
        theirs.append(mosquitto(seconds))
    print("name | value | baseline | ratio")
    for part in (50, 99):
        line(
            f"publish to PUBACK after commit, {RATE_HZ} msg/s, p{part} ms (mosquitto, in memory)",
            [float(np.percentile(one, part)) for one in ours],
            [float(np.percentile(one, part)) for one in theirs],
        )
    line("the disk's fdatasync, median ms", disk)


if __name__ == "__main__":
    main()
