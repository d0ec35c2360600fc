"""Looking back at a bin: feeds over each other, spells, and files to take away."""

from __future__ import annotations

import csv
import io
import re

import pytest
from playwright.sync_api import Browser, expect

from underlid.alerts.alert import Spell
from underlid.files.journal_csv import read_entries
from underlid.files.readings_csv import read_rows
from underlid.journal.entries import LidLook, Sighting
from underlid.rules.finding import Condition
from underlid.timeline import DAY_MS, HOUR_MS, rfc3339
from web.browsing import click_to, curves_are_drawn, opened, visit
from web.household import MELON_AND_BREAD, NOW_MS, Household, program, week_before
from web.visiting import Visitor


def lived_in(house: Household) -> None:
    """Let a house have a week of readings, two feeds, a look under the lid and a wet spell."""
    house.readings.write(week_before(NOW_MS))
    house.write_down(MELON_AND_BREAD, 6 * DAY_MS)
    house.write_down(MELON_AND_BREAD, 80 * HOUR_MS)
    house.write_down(Sighting(lid=LidLook.DROPS), 50 * HOUR_MS)
    began, ended = NOW_MS - 60 * HOUR_MS, NOW_MS - 40 * HOUR_MS
    spell = Spell(
        "tansy", Condition.CONDENSATION, began, ended, "lid_estimate", 74.0, 120.0,
        NOW_MS - 80 * HOUR_MS,
    )  # fmt: skip
    house.records.save_judgement([], [], [], [], spells=[spell])


def test_feeds_are_laid_over_each_other_with_a_row_each(house: Household, ash: Visitor) -> None:
    lived_in(house)
    page = ash.read("/bin/tansy/back")
    pictures = re.findall(r"<svg class=.overlay.*?</svg>", page, re.DOTALL)
    assert len(pictures) == 2
    assert all(one.count('class="story') == 2 for one in pictures)
    words = ash.words("/bin/tansy/back")
    assert "h after" in words
    assert "20 h, 120 g/m² condensed" in words
    assert "points" in words


def test_a_spell_says_how_long_how_bad_after_which_feed_and_what_was_seen(
    house: Household, ash: Visitor
) -> None:
    lived_in(house)
    row = ash.words("/bin/tansy/back").partition("Spells")[2]
    for said in ("Condensation", "20 h", "74 g/m²", "120 g/m²", "drops on the lid"):
        assert said in row, said


def test_an_empty_bin_says_that_there_is_nothing_yet(looker: Visitor) -> None:
    words = looker.words("/bin/sorrel/back")
    assert "No feed is written down yet" in words
    assert "None in the last year" in words


def test_readings_and_journal_are_taken_away_and_read_back(house: Household, ash: Visitor) -> None:
    lived_in(house)
    answer = ash.get("/bin/tansy/readings.csv?days=31")
    assert answer.headers["content-disposition"] == 'attachment; filename="tansy-readings.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert {row["probe"] for row in rows} == {"tansy-1", "air-1"}
    kept = read_rows(io.StringIO(answer.text), "file", {"tansy-1": "potting", "air-1": "potting"})
    assert len(kept.readings) == 2 * (7 * 24 * 12 + 1)
    journal = ash.get("/bin/tansy/journal.csv").text
    assert [one.what for one in read_entries(io.StringIO(journal), "file")] == [
        one.what for one in reversed(house.records.entries())
    ]
    assert ash.get("/bin/tansy/readings.csv?days=7").status_code == 422
    assert ash.get("/bin/none/back").status_code == 404


def test_a_stranger_takes_nothing_away(still: Household) -> None:
    for path in ("/bin/tansy/back", "/bin/tansy/readings.csv", "/bin/tansy/journal.csv"):
        answer = Visitor(still).get(path)
        assert answer.status_code == 303
        assert "/start" in answer.headers["location"] or "/login" in answer.headers["location"]


def test_a_spell_leads_to_the_curves_of_its_week(
    browser: Browser, house: Household, ash: Visitor
) -> None:
    assert ash.get("/").status_code == 200
    lived_in(house)
    with opened(browser, house) as page:
        visit(page, f"{house.url}/bin/tansy")
        week = page.locator("[data-chart] .plot").first.text_content()
        assert week
        page.goto(f"{house.url}/bin/tansy/back")
        click_to(page, "section[aria-labelledby=spells-title] th a", "**/bin/tansy?until=*")
        curves_are_drawn(page)
        expect(page.locator("[data-chart] .plot").first).not_to_have_text(week)


def test_programs_look_back_too(house: Household) -> None:
    lived_in(house)
    with program(house, "reader") as reader:
        newer, older = reader.get("/api/v1/bins/tansy/stories").json()
        assert newer["fed_at"] > older["fed_at"]
        assert older["until"] == newer["fed_at"]
        assert newer["water_g"] + newer["dry_g"] == pytest.approx(newer["mass_g"], abs=0.2)
        assert (newer["wet_lid_h"], newer["lid_water_g_m2"]) == (20.0, 120.0)
        known = [one for one in newer["hourly_warmth_k"] if one is not None]
        assert newer["peak_warmth_k"] == max(known)
        assert newer["hourly_warmth_k"][newer["peak_after_h"]] == max(known)
        assert len(reader.get("/api/v1/bins/tansy/stories?most=1").json()) == 1
        (spell,) = reader.get("/api/v1/bins/tansy/spells").json()
        assert (spell["condition"], spell["duration_h"], spell["peak"]) == (
            "condensation",
            20.0,
            74.0,
        )
        assert spell["feed_at"] == rfc3339(NOW_MS - 80 * HOUR_MS)
        path = "/api/v1/bins/tansy/spells"
        gone = {"from": rfc3339(NOW_MS - 39 * HOUR_MS), "until": rfc3339(NOW_MS)}
        assert reader.get(path, params=gone).json() == []
        assert reader.get(path, params={"from": "long ago"}).status_code == 422
        for what in ("spells", "stories"):
            assert reader.get(f"/api/v1/bins/none/{what}").status_code == 404
