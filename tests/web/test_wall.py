"""The sheet for the wall: one page of paper that says what matters of a bin, without menu and colour."""

from __future__ import annotations

import re

import numpy as np
import pytest
from playwright.sync_api import Browser, expect

from underlid.timeline import HOUR_MS, parse_time_ms
from underlid.web.strip import Line, strip_svg
from web.browsing import opened
from web.household import Household
from web.visiting import Visitor


def test_the_sheet_says_what_matters(resident: Visitor) -> None:
    words = resident.words("/bin/sorrel/wall")
    for said in ("Sorrel", "Friday 12 June 2026", "Plastic tote", "tiger worm", "To do", "Heat"):
        assert said in words
    tansy = resident.words("/bin/tansy/wall")
    assert "1.5 kg melon and 300 g bread" in tansy
    assert resident.get("/bin/nowhere/wall").status_code == 404


@pytest.mark.parametrize("bin_id", ["tansy", "sorrel", "borage"])
def test_it_is_one_page_of_either_paper(
    browser: Browser, lived: Household, resident: Visitor, bin_id: str
) -> None:
    with opened(browser, lived, wide=1280) as page:
        page.goto(f"{lived.url}/bin/{bin_id}/wall")
        for paper in ("A4", "Letter"):
            printed = page.pdf(format=paper)
            assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1, paper
        page.emulate_media(media="print")
        for gone in ("nav", ".unprinted", "body > footer"):
            expect(page.locator(gone).first).to_be_hidden()
        expect(page.locator(".wall footer")).to_be_visible()


def test_a_strip_of_nothing_is_none() -> None:
    starts = np.arange(4) * HOUR_MS
    nothing = [Line("bed", np.full(4, np.nan))]
    assert strip_svg("Bed", nothing, starts, "UTC", [], least=1.0) is None


@pytest.mark.parametrize("zone", ["Europe/London", "Australia/Lord_Howe", "America/New_York"])
def test_days_stand_at_the_shed_s_midnights_over_a_clock_change(zone: str) -> None:
    first = parse_time_ms("2026-10-01T00:00:00Z")
    starts = first + np.arange(40 * 12) * 2 * HOUR_MS
    drawn = strip_svg("Bed", [Line("bed", np.ones(480))], starts, zone, [int(starts[5])], least=1.0)
    assert drawn is not None
    days = re.findall(r'text-anchor="middle">(\d+ \w+)<', drawn)
    assert len(days) == 20
    assert len(set(days)) == 20
    assert 'class="fed-flag"' in drawn
