"""What the pages say of a bin: never "fine" without a judgement, never a broken sensor's value."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.journal.entries import Feed, Portion
from underlid.timeline import HOUR_MS, MINUTE_MS
from underlid.web.series import curves_of
from web.household import NOW_MS, Household, week_before
from web.visiting import Visitor

SOUND = b'{"bed_temp_c":21.5,"headspace_temp_c":20.0,"soil_raw":1700}'


def test_a_bin_is_not_called_fine_before_it_is_judged(house: Household, ash: Visitor) -> None:
    house.send("tansy-1", SOUND)
    assert "the first judgement follows" in ash.words("/bin/tansy")
    house.judge()
    page = ash.words("/bin/tansy")
    assert "Tansy: bed 21.5 °C, moisture 80 %; too little is known to judge it yet" in page


def test_a_bin_is_fine_until_its_probe_is_silent(house: Household, ash: Visitor) -> None:
    house.readings.write(week_before(NOW_MS))
    house.judge()
    assert "Tansy is fine" in ash.words("/bin/tansy")
    house.clock.set_ms(NOW_MS + 100 * MINUTE_MS)
    house.judge()
    page = ash.words("/bin/tansy")
    assert "its probe tansy-1 needs a look" in page
    assert "Tansy is fine" not in page


def test_the_first_sentence_knows_readings_from_judgements(house: Household, ash: Visitor) -> None:
    assert "no bin has usable readings" in ash.words("/")
    house.send("tansy-1", SOUND)
    assert "the first judgement follows within a few minutes" in ash.words("/")
    house.judge()
    assert "too little is known yet to judge by them" in ash.words("/")


@pytest.mark.parametrize("bed", [b"85.0", b"-127.0", b"61.5"])
def test_an_impossible_value_is_not_the_present_state(
    house: Household, ash: Visitor, bed: bytes
) -> None:
    house.send("tansy-1", SOUND)
    house.judge()
    broken = b'{"bed_temp_c":' + bed + b',"headspace_temp_c":20.0,"soil_raw":4095}'
    house.send("tansy-1", broken)
    for judged in (False, True):
        if judged:
            house.judge()
        page = ash.read("/bin/tansy")
        assert f"{bed.decode()} °C" not in page
        assert 'data-now="bed_temp_c">–<' in page


def test_a_curve_leaves_out_what_is_not_believable(house: Household) -> None:
    for hours, bed in ((4, 21.0), (3, 85.0), (2, 22.0)):
        house.send("tansy-1", f'{{"bed_temp_c":{bed}}}'.encode(), NOW_MS - hours * HOUR_MS)
    setup = house.records.setup()
    curves = curves_of(house.context, setup, "tansy", NOW_MS - 5 * HOUR_MS, NOW_MS, 300)
    band = curves.bands["bed_temp_c"]
    for column in (band.low, band.mean, band.high):
        assert column[np.isfinite(column)].tolist() == [21.0, 22.0]


def test_ids_and_doubts_are_shown_where_probes_are_placed(house: Household, ash: Visitor) -> None:
    assert "topic id: <code>potting</code>" in ash.read("/places")
    assert "id: <code>tansy</code>" in ash.read("/places")
    house.send("fennel-1", b'{"bed_temp_c":85.0}', shed="greenhouse")
    for path in ("/probes", "/probes/fennel-1"):
        page = ash.read(path)
        assert "It sends as shed <code>greenhouse</code>; no shed here has this topic id" in page
        assert "85.0 °C</b> <small>not believable</small>" in page


def test_a_feed_of_just_now_is_told_in_minutes(house: Household, ash: Visitor) -> None:
    house.send("tansy-1", SOUND)
    house.write_down(Feed((Portion("melon", 1200.0),)), 11 * MINUTE_MS)
    house.judge()
    assert "Last feed 1.2 kg, 12 min ago." in ash.words("/bin/tansy")


def test_a_bin_is_watched_for_what_has_not_held_long_enough(house: Household, ash: Visitor) -> None:
    house.readings.write(week_before(NOW_MS))
    for minute in range(5, 185, 5):
        house.clock.set_ms(NOW_MS + minute * MINUTE_MS)
        bed_c = 22.5 + 1.6 * minute / 60
        values = f'{{"bed_temp_c":{bed_c:.2f},"headspace_temp_c":{bed_c - 1:.2f},"soil_raw":1765}}'
        house.send("tansy-1", values.encode())
    house.judge()
    page = ash.words("/bin/tansy")
    assert "Tansy is being watched for heat: bed 27.3 °C" in page
    assert "Heat yes" in page
    assert "being watched" in ash.words("/")


def test_a_sensor_that_is_not_believed_is_named_with_its_reason_and_shows_no_value(
    house: Household, ash: Visitor
) -> None:
    house.readings.write(week_before(NOW_MS))
    assert house.judge()["distrusted"] == []
    for minute in range(5, 245, 5):
        house.clock.set_ms(NOW_MS + minute * MINUTE_MS)
        house.send("tansy-1", b'{"bed_temp_c":22.4,"headspace_temp_c":21.3,"soil_raw":2745}')
    (doubt,) = house.judge()["distrusted"]
    assert (doubt["channel"], doubt["cause"]) == ("soil_raw", "pulled_out")
    page = ash.words("/bin/tansy")
    assert "Probe tansy-1 look at it Soil probe: it lies in the air, since Fri 12 Jun, " in page
    assert "moisture not believed" in page
    assert "moisture 33 %" not in page
    assert 'data-now="moisture_pct"' not in ash.read("/bin/tansy")
