"""What the pages say of a bin: never "fine" without a judgement, never a broken sensor's value."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.readings.values import RawMessage
from underlid.timeline import HOUR_MS
from underlid.web.series import curves_of
from web import stories
from web.places import NOW_MS, Place
from web.visiting import Visitor

TOPIC = "underlid/v1/potting/tansy-1/json"
SOUND = b'{"bed_temp_c":21.5,"headspace_temp_c":20.0,"soil_raw":1700}'


def say(place: Place, *verdicts: tuple[str, str, str]) -> None:
    """Let the judge have found *verdicts*: condition, verdict, subject."""
    place.judge.states["tansy"] = {
        **stories.STATE,
        "verdicts": [
            {"condition": condition, "verdict": verdict, "subject": subject, "reason": ""}
            for condition, verdict, subject in verdicts
        ],
    }


@pytest.mark.parametrize(
    ("verdicts", "words"),
    [
        ([("too_cold", "clear", "")], "Tansy is fine"),
        ([("too_cold", "unknown", ""), ("probe_fault", "clear", "tansy-1")], "too little is known"),
        ([("too_cold", "clear", ""), ("probe_fault", "holds", "tansy-1")], "needs a look"),
    ],
)
def test_a_bin_is_fine_only_when_it_was_judged(
    place: Place, ash: Visitor, verdicts: list[tuple[str, str, str]], words: str
) -> None:
    place.send(TOPIC, SOUND)
    say(place, *verdicts)
    page = ash.read("/bin/tansy")
    assert words in page
    assert ("Tansy is fine" in page) == (words == "Tansy is fine")


def test_the_first_sentence_knows_readings_from_judgements(place: Place, ash: Visitor) -> None:
    assert "no bin has usable readings" in ash.read("/")
    place.send(TOPIC, SOUND)
    assert "the first judgement follows within a few minutes" in ash.read("/")
    say(place, ("too_cold", "unknown", ""))
    assert "too little is known yet to judge by them" in ash.read("/")


@pytest.mark.parametrize("bed", [b"85.0", b"-127.0", b"61.5"])
def test_an_impossible_value_is_not_the_present_state(
    place: Place, ash: Visitor, bed: bytes
) -> None:
    say(place, ("too_cold", "clear", ""))
    place.send(TOPIC, b'{"bed_temp_c":' + bed + b',"headspace_temp_c":20.0,"soil_raw":4095}')
    page = ash.read("/bin/tansy")
    assert "bed 24.9 °C, moisture 74 %" in page
    assert f"{bed.decode()} °C" not in page
    del place.judge.states["tansy"]
    assert 'data-now="bed_temp_c">–<' in ash.read("/bin/tansy")


def test_a_curve_leaves_out_what_is_not_believable(place: Place) -> None:
    place.send_all(
        [
            RawMessage(TOPIC, f'{{"bed_temp_c":{bed}}}'.encode(), NOW_MS - hours * HOUR_MS)
            for hours, bed in ((4, 21.0), (3, 85.0), (2, 22.0))
        ]
    )
    setup = place.records.setup()
    curves = curves_of(place.context, setup, "tansy", NOW_MS - 5 * HOUR_MS, NOW_MS, 300)
    band = curves.bands["bed_temp_c"]
    for column in (band.low, band.mean, band.high):
        assert column[np.isfinite(column)].tolist() == [21.0, 22.0]


def test_ids_and_doubts_are_shown_where_probes_are_placed(place: Place, ash: Visitor) -> None:
    assert "topic id: <code>potting</code>" in ash.read("/places")
    assert "id: <code>tansy</code>" in ash.read("/places")
    place.send("underlid/v1/greenhouse/fennel-1/json", b'{"bed_temp_c":85.0}')
    for path in ("/probes", "/probes/fennel-1"):
        page = ash.read(path)
        assert "It sends as shed <code>greenhouse</code>; no shed here has this topic id" in page
        assert "85.0 °C</b> <small>not believable</small>" in page


def test_a_feed_of_just_now_is_told_in_minutes(place: Place, ash: Visitor) -> None:
    stories.tell(place)
    feed = {"mass_g": 1200.0, "age_h": 0.2}
    place.judge.states["tansy"] = {**stories.STATE, "feed": feed}
    assert "Last feed 1.2 kg, 12 min ago." in ash.read("/bin/tansy")
