"""A process with the real writer and store: run by the durability tests, killed by them.

    python durable_service.py FOLDER door PORT
    python durable_service.py FOLDER broker PORT PASSWORD

Prints "ready" when it takes messages.
"""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import uvloop

from underlid.mqtt.broker import BrokerClient, BrokerPlace
from underlid.mqtt.door import Door, Limits
from underlid.mqtt.grants import Grants, secret_hash
from underlid.readings.values import RawEntry
from underlid.storage.recorder import Recorder
from underlid.storage.sqlite_readings import SqliteReadings

UNBRAKED = Limits(messages_per_s=1e9, burst=10**9)


def no_entries(_: RawEntry) -> str | None:
    return None


async def serve(folder: Path, way: str, port: int, *more: str) -> None:
    recorder = Recorder(SqliteReadings(folder / "readings.db"), no_entries)
    if way == "door":
        grants = Grants({"probes": secret_hash("household-secret")})
        door = Door(recorder, grants, host="127.0.0.1", port=port, limits=UNBRAKED)
        await door.start()
    else:
        place = BrokerPlace("127.0.0.1", port, "underlid", more[0])
        client = BrokerClient(recorder, place)
        await client.start()
        await asyncio.to_thread(client.subscribed.wait)
    print("ready", flush=True)
    await asyncio.Event().wait()


if __name__ == "__main__":
    folder, way, port, *more = sys.argv[1:]
    uvloop.run(serve(Path(folder), way, int(port), *more))
