"""What one more connection and one more waiting message weigh: at the broker of docker-compose.yml and
at our own door; a reading in InfluxDB's files; how long a worker's leases take to renew; and the
workers themselves. deploy/sizing.md counts with these.

    python tests/bench/bench_weight.py [connections] [messages]
"""

from __future__ import annotations

import contextlib
import resource
import socket
import struct
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import psutil
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS / "bench"), str(TESTS), str(TESTS.parent / "service")]

from store_rows import START_MS, columns_of, readings_of  # noqa: E402

from deploy.outside import outside  # noqa: E402
from deploy.test_mosquitto import PART, broker, client, collect  # noqa: E402
from deploy.test_stores import ask, influx  # noqa: E402
from deploy.test_workers import together  # noqa: E402
from service.running import Running  # noqa: E402
from storage.postgres import Cluster  # noqa: E402
from underlid.mqtt.broker import FILTERS  # noqa: E402
from underlid.storage.influx.lines import OutRow, reading_line  # noqa: E402
from underlid.storage.records import Records  # noqa: E402
from underlid.timeline import MINUTE_MS  # noqa: E402

TOPIC = "underlid/v1/potting/tansy-1/json"
BODY = b'{"ts": 1780000000, "bed_temp_c": 22.4, "headspace_temp_c": 21.0, "headspace_rh_pct": 91.0}'
FILES = 16_384
AT_ONCE = 500
AN_HOUR = 60
LEASE_MS = 15_000


def field(text: str) -> bytes:
    return struct.pack(">H", len(text)) + text.encode()


def connect(port: int, password: str, client_id: str) -> socket.socket:
    """Return a connected MQTT 3.1.1 client, as small as one can be on this side."""
    line = socket.create_connection(("127.0.0.1", port))
    rest = field("MQTT") + bytes([4, 0xC2]) + struct.pack(">H", 600)
    rest += field(client_id) + field("probes") + field(password)
    length, left = b"", len(rest)
    while True:
        left, low = divmod(left, 128)
        length += bytes([low | (128 if left else 0)])
        if not left:
            break
    line.sendall(b"\x10" + length + rest)
    assert line.recv(4)[3] == 0, "not let in"
    return line


def process_of(name: str, folder: Path) -> psutil.Process:
    """Return the program that was started for *folder*."""
    for one in psutil.process_iter(["name", "cmdline"]):
        if one.info["name"] == name and str(folder) in " ".join(one.info["cmdline"] or []):
            return one
    raise AssertionError(f"no {name} is running")


def connections(process: psutil.Process, port: int, password: str, count: int) -> float:
    """Return the bytes that each of *count* connections adds to *process*."""
    before = process.memory_info().rss
    with contextlib.ExitStack() as stack:
        for number in range(count):
            stack.enter_context(connect(port, password, f"p{number}"))
        return (process.memory_info().rss - before) / count


def waiting(process: psutil.Process, place: object, port: int, count: int) -> float:
    """Return the bytes that each message adds that waits for a service that is away."""
    secret = "underlid_broker_password"
    with client(place, port, "underlid", secret, client_id="away", clean_session=False) as (one, _):
        collect(one, list(FILTERS))
    before = process.memory_info().rss
    sender = Client(CallbackAPIVersion.VERSION2)
    sender.username_pw_set("probes", place.secret("probes_password"))
    sender.max_inflight_messages_set(AT_ONCE)
    sender.connect("127.0.0.1", port)
    sender.loop_start()
    for number in range(count):
        sent = sender.publish(TOPIC, BODY, qos=1)
        if number % AT_ONCE == AT_ONCE - 1:
            sent.wait_for_publish(60)
    sent.wait_for_publish(60)
    weight = (process.memory_info().rss - before) / count
    sender.disconnect()
    sender.loop_stop()
    return weight


def in_influxdb(probes: int, minutes: int) -> tuple[float, float]:
    """Return the bytes on disk of a six-channel reading, and InfluxDB's memory afterwards, MB."""
    soon = {
        "INFLUXDB_DATA_CACHE_SNAPSHOT_WRITE_COLD_DURATION": "2s",
        "INFLUXDB_DATA_COMPACT_FULL_WRITE_COLD_DURATION": "2s",
    }
    with outside() as place, influx(place, **soon) as (web, folder):
        columns = [columns_of(minutes, seed) for seed in range(probes)]
        for begin in range(0, minutes, AN_HOUR):
            ask(f"{web}/write?db=underlid", lines_of(columns, begin).encode())
        # Written whole, and merged into one file of the days' shard.
        until = time.monotonic() + 60
        while time.monotonic() < until:
            time.sleep(1)
            logs = [one.stat().st_size for one in folder.rglob("*.wal")]
            files = [one.stat().st_size for one in folder.rglob("*.tsm")]
            if not any(logs) and len(files) == 1:
                break
        memory = process_of("influxd", folder).memory_info().rss
        return sum(files) / (probes * minutes), memory / 1e6


def lines_of(columns: list[dict[str, list[float]]], begin: int) -> str:
    """Return an hour of all probes as the service writes it."""
    lines = []
    for number, whole in enumerate(columns):
        hour = {name: values[begin : begin + AN_HOUR] for name, values in whole.items()}
        for one in readings_of(f"probe-{number}", hour, START_MS + begin * MINUTE_MS):
            times = one.taken_at_ms, one.received_at_ms
            lines.append(reading_line(OutRow(one.probe, one.shed, *times, 0, one.values)))
    return "\n".join(lines)


def renewing(count: int) -> float:
    """Return the milliseconds in which a worker renews *count* leases in PostgreSQL."""
    server = Cluster()
    try:
        records = Records.open(server.fresh())
        held = records.share("judge-1", "shed", [f"shed-{n}" for n in range(count)], [], LEASE_MS)
        taken = []
        for _ in range(7):
            began = time.perf_counter()
            records.renew("judge-1", held, LEASE_MS)
            taken.append(time.perf_counter() - began)
        records.close()
        return median(taken) * 1000
    finally:
        server.stop()


def roles() -> dict[str, float]:
    """Return what the workers of docker-compose.yml weigh with nobody there, MB."""
    with together() as site:
        return {
            name: psutil.Process(process.pid).memory_info().rss / 1e6
            for name, process in site.processes.items()
        }


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1500
    messages = int(sys.argv[2]) if len(sys.argv) > 2 else 50_000
    resource.setrlimit(resource.RLIMIT_NOFILE, (FILES, FILES))
    with outside() as place, broker(place) as (plain, _):
        process = process_of(PART.name, place.folder)
        print(f"broker, nobody there: {process.memory_info().rss / 1e6:.1f} MB")
        each = connections(process, plain, place.secret("probes_password"), count)
        print(f"broker, a connection: {each:.0f} bytes and the kernel's own")
        each = waiting(process, place, plain, messages)
        print(f"broker, a waiting message of {len(BODY)} bytes: {each:.0f} bytes")
    with tempfile.TemporaryDirectory() as folder:
        service = Running(Path(folder) / "data")
        try:
            process = psutil.Process(service.process.pid)
            print(f"whole service, nobody there: {process.memory_info().rss / 1e6:.0f} MB")
            each = connections(process, service.door_port, service.password, count)
            print(f"door, a connection: {each:.0f} bytes and the kernel's own")
        finally:
            service.stop()
    each, memory = in_influxdb(probes=100, minutes=2 * 24 * 60)
    print(f"InfluxDB, a six-channel reading on disk: {each:.1f} bytes; memory {memory:.0f} MB")
    print(f"PostgreSQL, renewing 1,000 leases, synced: {renewing(1000):.0f} ms")
    for name, weight in roles().items():
        print(f"{name}, nobody there: {weight:.0f} MB")


if __name__ == "__main__":
    main()
