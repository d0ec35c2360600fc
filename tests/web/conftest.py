"""Households for the tests of this folder: a fresh one each, one to look at, one that was lived in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from programs import require
from underlid.journal.entries import Moved
from underlid.storage.records import Role
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from waiting import WAIT_S
from web.browsing import FLAGS
from web.household import MELON_AND_BREAD, NOW_MS, Household, program, week_before
from web.visiting import PASSPHRASE, Visitor, begin


@pytest.fixture(autouse=True)
def a_page_that_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let pages wait for a test message's fate as long as tests do: a busy courier is late, not lost."""
    monkeypatch.setattr("underlid.web.trial.ANSWER_S", WAIT_S)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Household]:
    """Give a house of its own to a test that changes it."""
    with Household(tmp_path) as opened:
        opened.settle_in()
        yield opened


@pytest.fixture
def ash(house: Household) -> Visitor:
    """Ash, the lead, logged in."""
    return begin(house)


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Household]:
    """Give a house to tests that leave it as it is."""
    with Household(tmp_path_factory.mktemp("still")) as opened:
        opened.settle_in()
        yield opened


@pytest.fixture(scope="module")
def looker(still: Household) -> Visitor:
    """The lead of the still house."""
    return begin(still)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Household]:
    """Give a house with a week of readings, a feed, a move, a hot bin and a stray probe."""
    with Household(tmp_path_factory.mktemp("lived")) as opened:
        opened.settle_in()
        opened.records.add_person("Ash", Role.LEAD, PASSPHRASE)
        opened.readings.write(week_before(NOW_MS))
        opened.write_down(MELON_AND_BREAD, 80 * HOUR_MS)
        opened.write_down(Moved(), DAY_MS)
        with program(opened, "keeper") as keeper:
            keeper.post("/api/v1/readings?shed=potting&probe=stray-1", json={"bed_temp_c": 20})
            keeper.post("/api/v1/readings?shed=potting&probe=stray-1", content=b"{oops")
        opened.watch.tick()
        opened.live_through(
            NOW_MS + 90 * MINUTE_MS,
            probe="sorrel-1",
            every_ms=3 * MINUTE_MS,
            bed_temp_c=33.5,
            headspace_temp_c=30.0,
        )
        yield opened


@pytest.fixture(scope="module")
def resident(lived: Household) -> Visitor:
    """The lead of the house that was lived in."""
    visitor = Visitor(lived)
    assert visitor.log_in().status_code == 303
    return visitor


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium."""
    chromium = require("chromium")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield launched
        launched.close()
