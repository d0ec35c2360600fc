"""What a bin has taught, on its page and by the interface; samples of the journal move the moisture."""

from __future__ import annotations

from underlid.binmodel.bins import Bin
from underlid.binmodel.learning import prior_lessons
from underlid.readings.values import RawMessage
from web import stories
from web.places import NOW_MS, TANSY, Place
from web.visiting import Visitor

TAUGHT = "Tansy follows the shed with a time constant of 6.1 h (± 0.8), learnt from 5 quiet days."


def teach(place: Place, shift_pct: float = 0.0, bin_: Bin = TANSY) -> None:
    """Let the judge have learnt a time constant, and a shift of the moisture."""
    lessons = prior_lessons(bin_, NOW_MS).as_json()
    lessons["time_constant_h"] = {
        "value": 6.1, "sd": 0.8, "unit": "h", "learnt": True, "count": 120,
        "from": "2026-06-10T00:00:00Z", "until": "2026-06-21T00:00:00Z", "text": TAUGHT,
    }  # fmt: skip
    lessons["moisture_shift_pct"] = {**lessons["moisture_shift_pct"], "value": shift_pct}  # type: ignore[dict-item]
    place.judge.states["tansy"] = {**stories.STATE, "lessons": lessons}


def test_the_page_says_what_is_learnt_and_what_is_assumed(place: Place, ash: Visitor) -> None:
    assert "has taught" not in ash.read("/bin/tansy")
    teach(place)
    page = ash.read("/bin/tansy")
    assert "What Tansy has taught" in page
    assert TAUGHT in page
    assert "The lid of Tansy is taken to stand at 0.70" in page
    assert page.index(TAUGHT) < page.index("What is assumed until then")


def test_the_interface_gives_lessons_with_their_uncertainty(place: Place, ash: Visitor) -> None:
    assert ash.get("/api/v1/bins/tansy/lessons").status_code == 404
    teach(place)
    found = ash.get("/api/v1/bins/tansy/lessons").json()
    assert found["time_constant_h"] == {
        "value": 6.1, "sd": 0.8, "unit": "h", "learnt": True, "count": 120,
        "from": "2026-06-10T00:00:00Z", "until": "2026-06-21T00:00:00Z", "text": TAUGHT,
    }  # fmt: skip
    assert found["lid_factor"]["learnt"] is False
    assert found["lid_factor"]["from"] is None
    assert ash.get("/api/v1/bins/none/lessons").status_code == 404


def test_a_sample_of_the_journal_moves_the_moisture_that_is_shown(
    place: Place, ash: Visitor
) -> None:
    at_ms = NOW_MS - 600_000
    place.send_all([RawMessage("underlid/v1/potting/tansy-1/json", b'{"moisture_pct":70}', at_ms)])
    teach(place)
    assert "70 %" in ash.read("/bin/tansy")
    teach(place, shift_pct=6.0)
    assert "76 %" in ash.read("/bin/tansy")
    curves = ash.get("/api/v1/bins/tansy/series").json()["channels"]["moisture_pct"]["mean"]
    assert [one for one in curves if one is not None] == [76.0]
