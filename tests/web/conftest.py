"""A furnished place for the tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from underlid.web.pages import entrance
from web.places import Place
from web.visiting import Visitor, visiting


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    entrance.attempts.clear()
    made = Place(tmp_path)
    made.furnish()
    yield made
    made.close()


@pytest.fixture
def ash(place: Place) -> Iterator[Visitor]:
    """Ash, the lead, logged in."""
    with visiting(place) as visitor:
        yield visitor
