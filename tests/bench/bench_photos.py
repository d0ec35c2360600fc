"""What photos cost the service that takes them: how long probes and pages wait meanwhile, time, room.

A twelve-megapixel photo with a camera's grain is sent again and again (each a little different) while
one probe publishes twenty times a second with QoS 1 and one visitor asks for /healthz. Baseline: the
same service without photos.

    python tests/bench/bench_photos.py [seconds] [rounds]
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import httpx
import numpy as np
import paho.mqtt.client as mqtt
import psutil
from PIL import Image

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from store_rows import line  # noqa: E402

from service.running import Running  # noqa: E402
from storage.records_places import PLACE  # noqa: E402
from underlid.files.backup import write_backup  # noqa: E402
from underlid.journal.entries import Entry, Turned  # noqa: E402
from underlid.storage.records import Records, Role  # noqa: E402

EVERY_S = 0.05
PHOTOS_OF_ENTRY = 10


def grainy(width: int = 4000, height: int = 3000) -> bytes:
    """Return a photo as a phone writes it: soft shapes with grain, some 4 MB."""
    some = np.random.default_rng(7)
    shapes = Image.fromarray(some.integers(0, 255, (48, 64, 3), dtype=np.uint8))
    grain = Image.effect_noise((width, height), 24)
    bands = shapes.resize((width, height), Image.Resampling.BICUBIC).split()
    out = BytesIO()
    picture = Image.merge("RGB", [Image.blend(band, grain, 0.15) for band in bands])
    picture.save(out, "JPEG", quality=92)
    return out.getvalue()


class Load:
    """Asks and publishes until it is stopped; keeps how long each answer took."""

    def __init__(self, place: Running) -> None:
        self.acknowledged_ms: list[float] = []
        self.answered_ms: list[float] = []
        self._stop = threading.Event()
        self._place = place

    def publish(self) -> None:
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="tansy-1")
        client.username_pw_set("probes", self._place.password)
        client.connect("127.0.0.1", self._place.door_port)
        client.loop_start()
        while not self._stop.wait(EVERY_S):
            began = time.perf_counter()
            client.publish(
                "underlid/v1/potting/tansy-1/json", b'{"bed_temp_c": 21}', 1
            ).wait_for_publish(9)
            self.acknowledged_ms.append((time.perf_counter() - began) * 1000)
        client.disconnect()

    def ask(self) -> None:
        with httpx.Client(base_url=self._place.web) as client:
            while not self._stop.wait(EVERY_S):
                began = time.perf_counter()
                client.get("/healthz")
                self.answered_ms.append((time.perf_counter() - began) * 1000)

    def during(self, work: Callable[[], None]) -> None:
        threads = [threading.Thread(target=part) for part in (self.publish, self.ask)]
        for thread in threads:
            thread.start()
        work()
        self._stop.set()
        for thread in threads:
            thread.join()


def main() -> None:
    """Print the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    photo, took_s = grainy(), []
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        place = Running(data)
        records = Records.open(f"sqlite:///{data / 'records.sqlite'}")
        records.save_setup(PLACE)
        token = records.make_token("bench", Role.KEEPER)
        headers = {"authorization": f"Bearer {token}", "content-type": "image/jpeg"}
        process = psutil.Process(place.process.pid)
        quiet_mb = process.memory_info().rss / 1e6
        peak_mb = [quiet_mb]
        number = 0

        def send() -> None:
            nonlocal number
            until = time.perf_counter() + seconds
            with httpx.Client(base_url=place.web, headers=headers, timeout=60) as client:
                while time.perf_counter() < until:
                    entry = f"e{number // PHOTOS_OF_ENTRY}"
                    if number % PHOTOS_OF_ENTRY == 0:
                        records.add_entry(Entry(entry, "tansy", 1, 1, Turned()))
                    began = time.perf_counter()
                    body = photo + number.to_bytes(4, "big")
                    answer = client.post(f"/api/v1/entries/{entry}/photos", content=body)
                    assert answer.status_code == 201, answer.text
                    took_s.append(time.perf_counter() - began)
                    peak_mb.append(process.memory_info().rss / 1e6)
                    number += 1

        loads: list[tuple[Load, Load]] = []
        for _ in range(rounds):
            pair = Load(place), Load(place)
            pair[0].during(lambda: time.sleep(seconds))
            pair[1].during(send)
            loads.append(pair)
        print("name | value | baseline | ratio")
        for part in (50, 99, 100):
            for name, which in (("PUBACK", "acknowledged_ms"), ("/healthz", "answered_ms")):
                still, busy = (
                    [float(np.percentile(getattr(pair[index], which), part)) for pair in loads]
                    for index in (0, 1)
                )
                line(f"{name} while photos are taken in (without), p{part} ms", busy, still)
        line("seconds until a photo of 12 megapixels is kept", took_s)
        kept = [
            photo.size_bytes
            for photos in records.photos_of([f"e{one}" for one in range(number)]).values()
            for photo in photos
        ]
        line(f"kB kept of one photo, of {len(photo) / 1000:.0f}", [size / 1000 for size in kept])
        line("MB of memory, highest seen (at the start)", [max(peak_mb)], [quiet_mb])
        began = time.perf_counter()
        size = write_backup(data, Path(folder) / "b.zip", 0)
        line(f"seconds of a backup with {number} photos", [time.perf_counter() - began])
        line("MB of that backup (of the pictures)", [size / 1e6], [sum(kept) / 1e6])
        records.close()
        place.stop()


if __name__ == "__main__":
    main()
