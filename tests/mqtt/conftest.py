"""A writer in memory and a door in front of it, for the tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from mqtt.loopback import RunningDoor
from mqtt.writers import MemoryWriter


@pytest.fixture
def writer() -> Iterator[MemoryWriter]:
    made = MemoryWriter()
    yield made
    made.close()


@pytest.fixture
def house(writer: MemoryWriter) -> Iterator[RunningDoor]:
    with RunningDoor(writer) as running:
        yield running
