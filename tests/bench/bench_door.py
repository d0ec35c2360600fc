"""The door against mosquitto with a C subscriber, and what one reading costs.

Interleaved rounds, medians with their range. Load: `mqtt_load.c`, built in a temporary folder.
The door acknowledges after the fsynced commit, mosquitto when it has the message in memory.

    python tests/bench/bench_door.py [messages] [rounds]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median

import psutil

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from mqtt.killable import Service  # noqa: E402
from programs import free_port, require  # noqa: E402
from underlid.pipeline import ingest  # noqa: E402
from underlid.readings.values import RawMessage  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402

CLIENTS = 50
BATCH = 1000
PACK = 20
STOCK = "listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"


def build(folder: Path) -> Path:
    """Compile the load generator."""
    program = folder / "mqtt_load"
    source = str(HERE / "mqtt_load.c")
    subprocess.run([require("gcc"), "-O2", source, "-o", str(program)], check=True)
    return program


def load(program: Path, port: int, clients: int, window: int, total: int, pack: int = 0) -> float:
    """Run the generator; return its seconds."""
    words = [str(port), "probes", "household-secret", clients, window, total // clients, pack]
    done = subprocess.run(
        [str(program), *map(str, words)], capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def door(program: Path, window: int, total: int, pack: int = 0) -> tuple[float, float]:
    """Return messages a second and µs of CPU a message, of the door with its store."""
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        service = Service(Path(folder), "door", port)
        process = psutil.Process(service.process.pid)
        before = sum(process.cpu_times()[:2])
        took_s = load(program, port, CLIENTS, window, total, pack)
        cpu_s = sum(process.cpu_times()[:2]) - before
        service.kill()
    return total / took_s, cpu_s / total * 1e6


def mosquitto(program: Path, window: int, total: int) -> tuple[float, float]:
    """Return the same of mosquitto with `mosquitto_sub` reading everything to nowhere."""
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        settings = Path(folder) / "mosquitto.conf"
        settings.write_text(STOCK.format(port=port))
        quiet = subprocess.DEVNULL
        broker = subprocess.Popen(
            [require("mosquitto"), "-c", str(settings)], stdout=quiet, stderr=quiet
        )
        time.sleep(0.5)
        words = ["-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", "underlid/#"]
        reader = subprocess.Popen(
            [require("mosquitto_sub"), *words, "-C", str(total // CLIENTS * CLIENTS)],
            stdout=quiet,
        )
        time.sleep(0.3)
        programs = [psutil.Process(one.pid) for one in (broker, reader)]
        began = time.monotonic()
        load(program, port, CLIENTS, window, total)
        cpu_s = [sum(one.cpu_times()[:2]) for one in programs]
        reader.wait(60)
        took_s = time.monotonic() - began
        cpu_s[0] = sum(programs[0].cpu_times()[:2])
        broker.terminate()
        broker.wait()
    return total / took_s, sum(cpu_s) / total * 1e6


def bare_cost(total: int) -> float:
    """Return µs of CPU a row: understand and insert the same readings, nothing else."""
    text = (
        '{"ts":%d,"bed_temp_c":%.2f,"headspace_temp_c":%.2f,"headspace_rh_pct":%.1f,'
        '"soil_raw":%d,"battery_v":3.91}'
    )
    topics = [f"underlid/v1/potting/b{n % CLIENTS}-{n % 20}/json" for n in range(1000)]
    messages = [
        RawMessage(
            topics[n % 1000],
            (text % (1_780_000_000 + n // CLIENTS, n % 30, n % 20, n % 90, n % 900)).encode(),
            1_790_000_000_000,
        )
        for n in range(total)
    ]
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.db")
        began = time.process_time()
        for start in range(0, total, BATCH):
            store.write(ingest(messages[start : start + BATCH]).readings)
        took_s = time.process_time() - began
        store.close()
    return took_s / total * 1e6


def spread(values: Sequence[float]) -> str:
    """Return median and range."""
    return f"{median(values):,.1f} [{min(values):,.1f}–{max(values):,.1f}]"


def row(name: str, ours: Sequence[float], theirs: Sequence[float]) -> None:
    """Print one line of the table."""
    ratio = median(ours) / median(theirs) if theirs else float("nan")
    baseline = spread(theirs) if theirs else "–"
    print(f"{name} | {spread(ours)} | {baseline} | {ratio:.2f}", flush=True)


def rounds_of(count: int, *kinds: Callable[[], tuple[float, float]]) -> list[list[list[float]]]:
    """Run the kinds in turn, *count* times; return for each its rates and its costs."""
    results: list[list[list[float]]] = [[[], []] for _ in kinds]
    for _ in range(count):
        for kind, found in zip(kinds, results, strict=True):
            rate, cost = kind()
            found[0].append(rate)
            found[1].append(cost)
    return results


def main() -> None:
    """Print the table."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print("name | value | baseline | ratio")
    with tempfile.TemporaryDirectory() as folder:
        program = build(Path(folder))
        for window, messages in ((20, total), (1, total // 5)):
            ours, theirs = rounds_of(
                count,
                lambda window=window, messages=messages: door(program, window, messages),
                lambda window=window, messages=messages: mosquitto(program, window, messages),
            )
            what = f"{CLIENTS} clients, window {window}"
            row(f"door, {what}, msg/s (mosquitto + mosquitto_sub)", ours[0], theirs[0])
            row(f"door, {what}, CPU µs/msg (mosquitto + mosquitto_sub)", ours[1], theirs[1])
            if window == 20:
                bare = [bare_cost(total // 2) for _ in range(count)]
                row("door, everything, CPU µs/reading (decode + insert alone)", ours[1], bare)
        packs = [door(program, 20, total // 10, PACK)[0] * PACK for _ in range(count)]
        row(f"door, SenML packs of {PACK}, readings/s", packs, [])


if __name__ == "__main__":
    main()
