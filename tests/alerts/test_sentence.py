"""The one sentence: numbers, reason and amount, in the keeper's units."""

from __future__ import annotations

import pytest

from underlid.alerts.alert import Said
from underlid.alerts.sentence import returned_sentence, sentence
from underlid.journal.entries import Entry, Feed, Portion
from underlid.journal.units import SI, US, Units
from underlid.rules.finding import Advice, Condition, Finding, Priority, Verdict
from underlid.timeline import DAY_MS, HOUR_MS

NOW_MS = 1_790_000_000_000
FEED = Entry("f", "tansy", NOW_MS - 31 * HOUR_MS, 0, Feed((Portion("melon", 1800.0),)))


def words(
    condition: Condition, evidence: dict[str, float | str], units: Units = SI, **more: object
) -> str:
    finding = Finding(
        condition,
        Verdict.HOLDS,
        Priority.MEDIUM,
        evidence=evidence,
        **more,  # type: ignore[arg-type]
    )
    assert isinstance(FEED.what, Feed)
    said = Said(NOW_MS, "Tansy", fed=FEED.what.portions, fed_at_ms=FEED.at_ms)
    return sentence(finding, said, units)


def test_a_wet_lid_names_the_film_the_feed_and_the_dose() -> None:
    text = words(
        Condition.CONDENSATION,
        {"lid_film_g_m2": 183.0, "lid_film_band": "runs", "condensing_g_m2_h": 6.2},
        grade="lid_estimate",
        feed_at_ms=FEED.at_ms,
        advice=(Advice("add-bedding", "Add about 420 g of dry shredded newspaper.", 420.0),),
    )
    assert text == (
        "Tansy's lid runs with drops: about 183 g/m² of water (estimated), +6 g/m² an hour,"
        " 31 h after 1.8 kg melon went in. Add about 420 g of dry shredded newspaper."
    )


def test_a_film_that_is_likelier_below_its_limit_only_may_run() -> None:
    film: dict[str, float | str] = {
        "lid_film_g_m2": 59.0, "lid_film_band": "drops", "limit_g_m2": 70.0,
    }  # fmt: skip
    text = words(Condition.CONDENSATION, film, certainty=0.43)
    assert text.startswith("Tansy's lid may run with drops: about 59 g/m² of water")
    assert "This is possible, not certain" in text


@pytest.mark.parametrize(("units", "bed"), [(SI, "31.2 °C"), (US, "88 °F")])
def test_heat_in_the_keepers_units_with_its_cause(units: Units, bed: str) -> None:
    evidence: dict[str, float | str] = {"bed_temp_c": 31.2, "limit_c": 27.0, "self_heat_k": 8.0}
    text = words(Condition.OVERHEATING, evidence, units, cause="feed")
    assert bed in text
    assert "from its own warmth" in text, "no feed is written down"
    assert "melon" not in text
    fed = words(Condition.OVERHEATING, evidence, units, cause="feed", feed_at_ms=FEED.at_ms)
    assert "from its own feed" in fed
    assert "from the room" in words(Condition.OVERHEATING, evidence, units, cause="room")


def test_drying_out_says_the_day_and_how_sure() -> None:
    evidence: dict[str, float | str] = {
        "moisture_pct": 68.2, "moisture_sd_pct": 3.0, "limit_pct": 65.0,
        "moisture_trend_pct_d": -0.5, "days_until_too_dry": 6.4,
        "days_until_too_dry_soonest": 5.1, "days_until_too_dry_latest": 8.0,
    }  # fmt: skip
    text = words(Condition.DRYING_OUT, evidence, forecast_for_ms=NOW_MS + round(6.4 * DAY_MS))
    assert text == (
        "Tansy's bed is at 68 % moisture and falls by 0.5 points a day: it will be too dry (below"
        " 65 %) by about 27 September, in about 6 days (5 to 8)."
    )
    evidence |= {"days_until_too_dry_latest": 44.0}
    text = words(Condition.DRYING_OUT, evidence, forecast_for_ms=NOW_MS + 4 * DAY_MS)
    assert "by about Friday, 25 September, in about 6 days (5 or more)" in text


@pytest.mark.parametrize(
    ("hours", "latest", "said"),
    [
        (3, 1.2, "(below 65 %) today, Monday."),
        (12, 2.9, "(below 65 %) tomorrow, Tuesday (within 3 days)."),
    ],
)
def test_a_near_day_is_said_by_its_name(hours: int, latest: float, said: str) -> None:
    text = words(
        Condition.DRYING_OUT,
        {
            "moisture_pct": 65.2, "limit_pct": 65.0, "days_until_too_dry": hours / 24,
            "days_until_too_dry_soonest": 0.1, "days_until_too_dry_latest": latest,
        },
        forecast_for_ms=NOW_MS + hours * HOUR_MS,
    )  # fmt: skip
    assert said in text


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (23.6, 36.0, "near 30 °C (24 to 36 °C) about Tuesday 13:00, from its own warmth:"),
        (29.4, 30.2, "near 29.8 °C (29.4 to 30.2 °C) about"),
    ],
)
def test_a_peak_is_said_as_finely_as_its_band_allows(low: float, high: float, said: str) -> None:
    text = words(
        Condition.OVERHEATING,
        {
            "bed_temp_c": 22.1, "limit_c": 27.0, "chance_pct": 76, "peak_in_h": 23.0,
            "peak_temp_c": 29.8, "peak_low_c": low, "peak_high_c": high,
        },
        cause="feed", forecast_for_ms=NOW_MS + 9 * HOUR_MS,
    )  # fmt: skip
    assert said in text
    assert "76 % sure to pass 27.0 °C" in text


def test_a_guess_is_called_one() -> None:
    text = words(
        Condition.DRYING_OUT,
        {
            "moisture_pct": 63.0,
            "moisture_sd_pct": 8.0,
            "limit_pct": 65.0,
            "moisture_trend_pct_d": -0.7,
        },
        reason="no weighed sample",
        certainty=0.5,
    )
    assert "a guess (± 8) until a sample is weighed" in text
    assert "dries by 0.7 points a day" in text
    assert text.endswith("This is probable, not certain.")


@pytest.mark.parametrize(
    ("condition", "evidence", "part"),
    [
        (
            Condition.TOO_COLD,
            {"bed_temp_c": 8.0, "limit_c": 10.0},
            "8.0 °C, below the herd's 10.0 °C",
        ),
        (
            Condition.TOO_WET,
            {"moisture_pct": 86.0, "limit_pct": 85.0, "air_filled_porosity": 0.12},
            "86 % moisture, above 85 %",
        ),
        (Condition.DRYING_OUT, {"moisture_pct": 61.0, "limit_pct": 65.0}, "61 % moisture, below"),
    ],
)
def test_the_other_conditions_say_value_and_limit(
    condition: Condition, evidence: dict[str, float | str], part: str
) -> None:
    assert part in words(condition, evidence)


@pytest.mark.parametrize(
    ("condition", "evidence", "part"),
    [
        (
            Condition.OVERHEATING,
            {"bed_temp_c": 24.93, "limit_c": 25.0},
            "at 24.9 °C, near the herd's limit of 25.0 °C, from the room",
        ),
        (
            Condition.OVERHEATING,
            {"bed_temp_c": 25.02, "limit_c": 25.0},
            "25.0 °C, the herd's limit",
        ),
        (
            Condition.TOO_COLD,
            {"bed_temp_c": 15.7, "limit_c": 15.0},
            "15.7 °C, near the herd's limit of 15.0 °C",
        ),
        (
            Condition.TOO_WET,
            {"moisture_pct": 83.0, "limit_pct": 85.0, "air_filled_porosity": 0.18},
            "almost too wet: 83 % moisture, near the limit of 85 %",
        ),
        (
            Condition.SOUR,
            {
                "moisture_pct": 79.0,
                "air_filled_porosity": 0.32,
                "air_filled_porosity_limit": 0.3,
                "chance_pct": 45,
            },
            "32 % of it is air, near the limit of 30 % (45 % sure)",
        ),
    ],
)
def test_a_value_that_is_not_beyond_its_limit_is_not_said_to_be(
    condition: Condition, evidence: dict[str, float | str], part: str
) -> None:
    said = words(condition, evidence)
    assert part in said
    assert ", above" not in said
    assert ", below" not in said


def test_a_lid_foreseen_to_run_is_dry_now_and_never_quite_sure() -> None:
    evidence: dict[str, float | str] = {"chance_pct": 95, "lid_film_g_m2": 0.2, "limit_g_m2": 70.0}
    text = words(Condition.CONDENSATION, evidence, forecast_for_ms=NOW_MS)
    assert "(95 % sure): dry now, by then 70 g/m² or more." in text
    damp = words(Condition.CONDENSATION, evidence | {"lid_film_g_m2": 15.0}, forecast_for_ms=NOW_MS)
    assert "now about 15 g/m², by then" in damp


@pytest.mark.parametrize(
    ("flux", "part"), [(-0.3, ", hardly changing."), (-4.4, ", −4 g/m² an hour.")]
)
def test_a_film_that_shrinks_has_a_true_minus(flux: float, part: str) -> None:
    evidence: dict[str, float | str] = {
        "lid_film_g_m2": 183.0, "lid_film_band": "runs", "condensing_g_m2_h": flux,
    }  # fmt: skip
    assert words(Condition.CONDENSATION, evidence).endswith(part)


def test_a_silent_probe_is_named_with_its_age() -> None:
    text = words(Condition.PROBE_FAULT, {"age_s": 10_800.0}, subject="tansy-1", cause="silent")
    assert "Probe tansy-1 of Tansy has been silent for 3 hours" in text
    assert "take it out" not in text


def test_a_probe_that_is_long_silent_may_have_been_replaced() -> None:
    text = words(Condition.PROBE_FAULT, {"age_s": 400_000.0}, subject="tansy-1", cause="silent")
    assert "silent for 5 days" in text
    assert "or take it out of its place if it is there no more" in text


@pytest.mark.parametrize("cause", ["nonsense", "another"])
def test_values_that_no_sensor_sends_are_named_in_plain_words(cause: str) -> None:
    found = words(
        Condition.PROBE_FAULT, {"channel": "soil_raw"}, subject="tansy-1", cause=cause, reason="0"
    )
    assert "sends values of soil moisture that no working sensor sends" in found


def test_a_return_says_that_there_is_nothing_to_do() -> None:
    finding = Finding(Condition.OVERHEATING, Verdict.CLEAR, evidence={"bed_temp_c": 24.0})
    assert (
        returned_sentence(finding, "Tansy")
        == "Tansy is back to normal (bed 24.0 °C). Nothing to do."
    )


def test_a_herd_that_is_not_called_hungry_any_more_need_not_have_been_fed() -> None:
    fed = Finding(Condition.HUNGRY, Verdict.CLEAR, evidence={"fed_days_ago": 0.4})
    assert returned_sentence(fed, "Tansy") == "Tansy has been fed. Nothing to do."
    seen = Finding(Condition.HUNGRY, Verdict.CLEAR, evidence={"fed_days_ago": 7.1})
    assert returned_sentence(seen, "Tansy") == "Tansy probably has food left. Nothing to do."
    warm = Finding(
        Condition.HUNGRY, Verdict.CLEAR, reason="the bed still warms itself, so food is left"
    )
    assert "not called hungry for now: the bed still warms" in returned_sentence(warm, "Tansy")


def test_hunger_and_sourness_say_what_they_rest_on() -> None:
    eats: dict[str, float | str] = {"eaten_g_d": 212.0, "chance_pct": 62, "climbers": "many"}
    used_up = "used up by time and warmth"
    text = words(Condition.HUNGRY, eats, reason=used_up, feed_at_ms=FEED.at_ms)
    assert text == (
        "Tansy's last feed is probably used up by now (62 % sure): its herd eats about 210 g a day, and"
        " many worms were on the wall. The last feed was 1.8 kg melon, 31 h ago."
    )
    sure = words(Condition.HUNGRY, eats | {"chance_pct": 95}, reason=used_up)
    assert sure.startswith("Tansy's last feed is used up by now: its herd")
    seen = words(Condition.HUNGRY, {"eaten_g_d": 212.0}, reason="seen used up")
    assert seen == "Tansy's last feed was seen used up."
    ahead = words(Condition.HUNGRY, {"eaten_g_d": 212.0}, forecast_for_ms=NOW_MS)
    assert "last feed will probably be used up today, Monday: its herd" in ahead
    air: dict[str, float | str] = {
        "moisture_pct": 82.0, "air_filled_porosity": 0.22, "air_filled_porosity_limit": 0.3,
        "chance_pct": 71,
    }  # fmt: skip
    sour = words(Condition.SOUR, air)
    assert sour == (
        "Tansy's bed may turn sour: at 82 % moisture only 22 % of it is air, below 30 % (71 % sure)."
    )
    smells = words(Condition.SOUR, {"smell": "ammonia"}, cause="smell")
    assert smells == "Tansy smells of ammonia."
    both = words(Condition.SOUR, {**air, "smell": "sour"}, cause="smell")
    assert both == "Tansy smells sour, and at 82 % moisture only 22 % of it is air, below 30 %."
