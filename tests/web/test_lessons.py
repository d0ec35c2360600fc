"""What a bin has taught, on its page and by the interface; samples of the journal move the moisture."""

from __future__ import annotations

import json
from typing import Any

import pytest

from underlid.journal.entries import Sighting
from underlid.timeline import DAY_MS
from web.household import NOW_MS, Household, program, week_before
from web.visiting import Visitor, plain


@pytest.fixture
def taught(house: Household) -> dict[str, dict[str, Any]]:
    """Let a week of readings teach, and return what was learnt of Tansy."""
    house.readings.write(week_before(NOW_MS))
    lessons: dict[str, dict[str, Any]] = house.judge()["lessons"]
    return lessons


def test_the_page_says_what_is_learnt_and_what_is_assumed(
    ash: Visitor, taught: dict[str, dict[str, Any]]
) -> None:
    page = ash.words("/bin/tansy")
    learnt = [plain(one["text"]) for one in taught.values() if one["learnt"]]
    assumed = [plain(one["text"]) for one in taught.values() if not one["learnt"]]
    assert learnt
    assert assumed
    heads = ("What Tansy has taught", *learnt, "What is assumed until then", *assumed)
    places = [page.index(words) for words in heads]
    assert places == sorted(places)


def test_a_bin_that_was_never_judged_has_taught_nothing(looker: Visitor) -> None:
    assert "has taught" not in looker.read("/bin/tansy")


def test_the_interface_gives_lessons_with_their_uncertainty(house: Household) -> None:
    with program(house, "reader") as reader:
        assert reader.get("/api/v1/bins/tansy/lessons").status_code == 404
        assert reader.get("/api/v1/bins/none/lessons").status_code == 404
        house.readings.write(week_before(NOW_MS))
        lessons = house.judge()["lessons"]
        found = reader.get("/api/v1/bins/tansy/lessons").json()
    assert found["head_share"] == lessons["head_share"]
    assert found["head_share"]["learnt"] is True
    assert found["head_share"]["sd"] > 0
    assert "hours of humidity" in found["lid_factor"]["text"]
    assert found["moisture_shift_pct"]["learnt"] is False
    assert found["moisture_shift_pct"]["from"] is None


def test_a_sample_of_the_journal_moves_the_moisture_that_is_shown(
    house: Household, ash: Visitor
) -> None:
    house.readings.write(week_before(NOW_MS))
    house.write_down(Sighting(moisture_pct=84.0), 2 * DAY_MS)
    assert "moisture 77 %" in ash.words("/bin/tansy")
    shift = house.judge()["lessons"]["moisture_shift_pct"]["value"]
    assert 2 < shift < 9
    shown = 77.3 + shift
    assert f"moisture {shown:.0f} %" in ash.words("/bin/tansy")
    curves = ash.get("/api/v1/bins/tansy/series").json()["channels"]["moisture_pct"]["mean"]
    assert [one for one in curves if one is not None][-1] == pytest.approx(shown, abs=0.3)
    with ash.client.stream("GET", "/api/v1/live?bin=tansy") as stream:
        for line in stream.iter_lines():
            if line.startswith("retry:"):
                event = {"kind": "reading", "probe": "tansy-1", "at_ms": NOW_MS}
                house.hub.publish(event | {"values": {"soil_raw": 1766.0}})
            elif line.startswith("data:"):
                told = json.loads(line.removeprefix("data:"))["values"]
                break
    index = (2750 - 1766) / 1600
    usual = 33 + 72 * index - 30 * (index - 0.55) ** 2
    assert told["moisture_pct"] == pytest.approx(usual + shift, abs=0.01)
