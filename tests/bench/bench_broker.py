"""The durable broker client against a paho subscriber that does nothing with its messages.

Both read the same load from mosquitto with QoS 1; ours stores every reading in an fsynced commit
before it acknowledges, and every message is accounted for at the end.

    python tests/bench/bench_broker.py [messages] [rounds]
"""

from __future__ import annotations

import asyncio
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from bench_door import CLIENTS, build, load, rounds_of, row  # noqa: E402
from paho.mqtt.client import Client, MQTTMessage  # noqa: E402
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion  # noqa: E402

from mqtt.durable_service import no_entries  # noqa: E402
from programs import free_port, require  # noqa: E402
from underlid.mqtt.broker import FILTERS, BrokerClient, BrokerPlace  # noqa: E402
from underlid.storage.recorder import Recorder  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402

SETTINGS = (
    "listener {port} 127.0.0.1\nallow_anonymous true\n"
    "max_queued_messages 0\nmax_inflight_messages 1000\n"
)
LOOK_S = 0.01


def read_durably(port: int, total: int, protocol: str) -> None:
    """Store *total* messages; print "ready" and "done"."""
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.db")
        client = BrokerClient(
            Recorder(store, no_entries),
            BrokerPlace("127.0.0.1", port, protocol="5" if protocol == "5" else "3.1.1"),
        )
        asyncio.run(client.start())
        client.subscribed.wait()
        print("\nready", flush=True)
        while client.counts.acknowledged < total:
            time.sleep(LOOK_S)
        print("\ndone", flush=True)
        time.sleep(60)


def read_idly(port: int, total: int, protocol: str) -> None:
    """Count *total* messages with paho; print "ready" and "done"."""
    come = [0]
    there, done = threading.Event(), threading.Event()
    version = MQTTProtocolVersion.MQTTv5 if protocol == "5" else MQTTProtocolVersion.MQTTv311
    client = Client(CallbackAPIVersion.VERSION2, protocol=version)

    def on_message(_client: Client, _data: object, _message: MQTTMessage) -> None:
        come[0] += 1
        if come[0] == total:
            done.set()

    client.on_message = on_message
    client.on_subscribe = lambda *_: there.set()
    client.on_connect = lambda *_: client.subscribe([(one, 1) for one in FILTERS])
    client.connect("127.0.0.1", port)
    client.loop_start()
    there.wait()
    print("\nready", flush=True)
    done.wait()
    print("\ndone", flush=True)
    time.sleep(60)


def measure(program: Path, mode: str, total: int, protocol: str) -> tuple[float, float]:
    """Return messages a second and µs of the reader's CPU a message."""
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        settings = Path(folder) / "mosquitto.conf"
        settings.write_text(SETTINGS.format(port=port))
        quiet = subprocess.DEVNULL
        broker = subprocess.Popen(
            [require("mosquitto"), "-c", str(settings)], stdout=quiet, stderr=quiet
        )
        time.sleep(0.5)
        words = [sys.executable, __file__, mode, str(port), str(total), protocol]
        reader = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        assert reader.stdout is not None
        next(line for line in reader.stdout if line == "ready\n")
        time.sleep(0.3)
        process = psutil.Process(reader.pid)
        before = sum(process.cpu_times()[:2])
        began = time.monotonic()
        load(program, port, CLIENTS, 20, total)
        next(line for line in reader.stdout if line == "done\n")
        took_s = time.monotonic() - began
        cpu_s = sum(process.cpu_times()[:2]) - before
        for one in (reader, broker):
            one.kill()
            one.wait()
        reader.stdout.close()
    return total / took_s, cpu_s / total * 1e6


def main() -> None:
    """Print the table."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 30_000
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print("name | value | baseline | ratio")
    with tempfile.TemporaryDirectory() as folder:
        program = build(Path(folder))
        for protocol in ("3.1.1", "5"):
            ours, theirs = rounds_of(
                count,
                lambda protocol=protocol: measure(program, "durable", total, protocol),
                lambda protocol=protocol: measure(program, "idle", total, protocol),
            )
            row(f"broker client, MQTT {protocol}, durable, msg/s (paho no-op)", ours[0], theirs[0])
            row(f"broker client, MQTT {protocol}, CPU µs/msg (paho no-op)", ours[1], theirs[1])


if __name__ == "__main__":
    if sys.argv[1:2] == ["durable"]:
        read_durably(int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
    elif sys.argv[1:2] == ["idle"]:
        read_idly(int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
    else:
        main()
