"""Two workers that share one subscription against one that has it alone, on this machine.

Each stores every reading in an fsynced commit of its own file before it acknowledges; mosquitto hands
the messages out in turn. Between machines the gain is another matter: here broker, load and workers
share the same processors.

    python tests/bench/bench_workers.py [messages] [rounds]
"""

from __future__ import annotations

import asyncio
import multiprocessing
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import psutil  # noqa: E402
from bench_broker import SETTINGS  # noqa: E402
from bench_door import CLIENTS, build, load, rounds_of, row  # noqa: E402

from mqtt.durable_service import no_entries  # noqa: E402
from programs import free_port, require  # noqa: E402
from underlid.mqtt.broker import BrokerClient, BrokerPlace  # noqa: E402
from underlid.storage.recorder import Recorder  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402

LOOK_S = 0.01
context = multiprocessing.get_context("spawn")


def take_in(port: int, name: str, ready: Any, stored: Any) -> None:
    """Store what comes until ended; *stored* tells how many."""
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.db")
        place = BrokerPlace("127.0.0.1", port, client_id=name, protocol="5", share="underlid")
        client = BrokerClient(Recorder(store, no_entries), place)
        asyncio.run(client.start())
        client.subscribed.wait()
        ready.set()
        while True:
            stored.value = client.counts.acknowledged
            time.sleep(LOOK_S)


def measure(program: Path, workers: int, total: int) -> tuple[float, float]:
    """Return messages a second of all workers together, and µs of their CPU a message."""
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        settings = Path(folder) / "mosquitto.conf"
        settings.write_text(SETTINGS.format(port=port))
        quiet = subprocess.DEVNULL
        broker = subprocess.Popen(
            [require("mosquitto"), "-c", str(settings)], stdout=quiet, stderr=quiet
        )
        time.sleep(0.5)
        told = [(context.Event(), context.Value("q", 0)) for _ in range(workers)]
        running = [
            context.Process(target=take_in, args=(port, f"worker-{number}", *one), daemon=True)
            for number, one in enumerate(told)
        ]
        for process in running:
            process.start()
        for ready, _ in told:
            ready.wait()
        before = cpu_s(running)
        began = time.monotonic()
        load(program, port, CLIENTS, 20, total)
        while sum(stored.value for _, stored in told) < total:
            time.sleep(LOOK_S)
        took_s = time.monotonic() - began
        used_s = cpu_s(running) - before
        for process in running:
            process.kill()
            process.join()
        broker.kill()
        broker.wait()
    return total / took_s, used_s / total * 1e6


def cpu_s(running: list[Any]) -> float:
    return sum(sum(psutil.Process(one.pid).cpu_times()[:2]) for one in running)


def main() -> None:
    """Print the table."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 30_000
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print("name | value | baseline | ratio")
    with tempfile.TemporaryDirectory() as folder:
        program = build(Path(folder))
        two, one = rounds_of(
            count, lambda: measure(program, 2, total), lambda: measure(program, 1, total)
        )
        row("two workers that share, msg/s (one)", two[0], one[0])
        row("two workers that share, CPU µs/msg (one)", two[1], one[1])


if __name__ == "__main__":
    main()
