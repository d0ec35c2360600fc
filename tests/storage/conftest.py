"""Tests that use `either_database` run twice: on SQLite, and on a real PostgreSQL; those that use
`kept` run twice as well: on SQLite, and on a real InfluxDB."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from programs import require
from storage.influx_front import Front
from storage.influxd import Influxd
from storage.kept import KINDS, Kept, KeptInInflux
from storage.readings_places import START_MS
from storage.records_places import POSTGRESQL, SQLITE, Chosen
from underlid.clock import VirtualClock


@pytest.fixture(scope="module", params=[SQLITE, POSTGRESQL])
def either_database(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == POSTGRESQL:
        require("initdb")
    Chosen.kind = request.param
    yield Chosen.kind
    Chosen.kind = SQLITE


@pytest.fixture(scope="session")
def influxd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influxd]:
    server = Influxd(tmp_path_factory.mktemp("influxd"))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def front(influxd: Influxd) -> Iterator[Front]:
    before = Front(influxd.url)
    yield before
    before.stop()


@pytest.fixture
def in_influx(influxd: Influxd, front: Front, tmp_path: Path) -> Iterator[KeptInInflux]:
    kept = KeptInInflux(tmp_path, VirtualClock(START_MS), influxd, front)
    yield kept
    kept.close()


@pytest.fixture(params=KINDS)
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Kept]:
    """A place for readings: each test that takes it runs on both stores."""
    if request.param == "influxdb":
        yield request.getfixturevalue("in_influx")
        return
    place = Kept(tmp_path, VirtualClock(START_MS))
    yield place
    place.close()
