"""Tests that use `either_database` run twice: on SQLite, and on a real PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from programs import require
from storage.records_places import POSTGRESQL, SQLITE, Chosen


@pytest.fixture(scope="module", params=[SQLITE, POSTGRESQL])
def either_database(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == POSTGRESQL:
        require("initdb")
    Chosen.kind = request.param
    yield Chosen.kind
    Chosen.kind = SQLITE
