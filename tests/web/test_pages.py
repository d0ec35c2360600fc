"""What the pages show of a place that was lived in, as a browser without scripts reads it."""

from __future__ import annotations

import re

import pytest

from underlid.binmodel.bins import Bin
from underlid.journal.entries import Feed, Portion
from underlid.journal.units import SI
from underlid.rules.finding import Condition
from underlid.timeline import HOUR_MS, MINUTE_MS
from underlid.web.marks import spans_of
from underlid.web.wording import clock_text, feeding_text
from web.household import NOW_MS, Household, week_before
from web.visiting import Visitor, plain

LONDON = "Europe/London"


def hot_alert(house: Household) -> str:
    """Return the id of Sorrel's alert."""
    found = [one.id for one in house.records.open_alerts("sorrel") if one.raised_at_ms]
    assert found
    return found[0]


def test_the_shed_says_one_sentence_first_and_shows_every_bin(resident: Visitor) -> None:
    page = resident.read("/")
    assert page.index("Sorrel&#39;s bed is at 33.5") < page.index('<svg class="profile"')
    assert page.count('<svg class="profile"') == 3
    words = plain(page)
    assert "1 other bin wants a look too." in words
    assert "Borage has sent nothing usable in the last two hours" in words
    assert "Sorrel needs you" in words
    assert "Tansy look when you come by" in words


def test_a_bin_page_has_curves_tables_verdicts_and_cautions(
    lived: Household, resident: Visitor
) -> None:
    page = resident.read("/bin/tansy")
    words = plain(page)
    state = lived.watch.state("tansy")
    assert state is not None
    feeding, unsettled = state["feeding"], state["unsettled"]
    assert isinstance(feeding, dict)
    assert isinstance(unsettled, dict)
    assert "Dew point" in words
    assert plain(feeding_text(feeding, lived.clock.now_ms(), LONDON, SI)) in words
    assert plain(feeding["working"]) in words
    assert (
        f"settling in (moved) until {clock_text(lived.clock.now_ms() + 4 * 86_400_000, LONDON)[:3]}"
        in words
    )
    assert "Heat cannot tell not enough bed temperature in the last half hour" in words
    assert re.search(r"bed moisture 77 % \(± [78](\.\d)? %\), moisture changes by", words)
    assert "Bed, °C Headspace, °C" in words, "a column has its unit once"
    assert "second pair of hands" in words
    days, _, ahead = page.partition("What is foreseen, as a table")
    assert days.count('<th scope="row">') == 8
    assert ahead.count('<th scope="row">') == 12
    assert len(page.encode()) < 400_000


def test_an_alert_says_each_advice_once_and_shows_its_working(
    lived: Household, resident: Visitor
) -> None:
    alert = lived.records.alert(hot_alert(lived))
    assert alert is not None
    assert alert.condition is Condition.OVERHEATING
    card = plain(resident.read("/alerts").partition("<article")[2].partition("</article>")[0])
    assert "Heat in Sorrel" in card
    assert "Act now" in card
    for advice in alert.advice:
        assert card.count(plain(advice.text)) == 1
        assert plain(advice.working) in card
    assert "bed 33.5 °C, limit 33.0 °C" in card


def test_what_is_only_foreseen_is_called_so_and_begins_when_it_is_expected(
    house: Household, ash: Visitor
) -> None:
    house.readings.write(week_before(NOW_MS))
    house.write_down(Feed((Portion("bread", 4000.0), Portion("coffee-grounds", 1500.0))))
    house.live_through(
        NOW_MS + 75 * MINUTE_MS,
        every_ms=3 * MINUTE_MS,
        bed_temp_c=22.5,
        headspace_temp_c=22.0,
        headspace_rh_pct=90.0,
    )
    alerts = {one.condition: one for one in house.records.open_alerts("tansy")}
    expected_ms = alerts[Condition.OVERHEATING].forecast_for_ms
    assert "Heat foreseen in Tansy" in ash.words("/alerts")
    spans = spans_of(house.context, "tansy", NOW_MS, house.clock.now_ms())
    heat = next(one for one in spans if one["condition"] == "overheating")
    assert (heat["label"], heat["foreseen"]) == ("Heat foreseen", True)
    assert heat["from_ms"] == expected_ms > house.clock.now_ms()
    first = ash.read("/").partition('class="sentence')[2].partition("</p>")[0]
    assert "Tansy&#39;s bed is at 22.5" in first
    assert "% to pass" not in first


def test_units_are_shown_as_the_keeper_likes(lived: Household) -> None:
    visitor = Visitor(lived)
    assert visitor.log_in().status_code == 303
    assert "'s bed is at 3" in visitor.read("/bin/sorrel").replace("&#39;", "'")
    assert visitor.send("/units", {"units": "us", "to": "/bin/tansy"}, "/").status_code == 303
    for path in ("/", "/bin/tansy", "/bin/sorrel", "/alerts", "/bin/sorrel/wall"):
        page = visitor.read(path).replace("Show °C and kilograms", "")
        page = re.sub(r'<details class="working">.*?</details>', "", page, flags=re.DOTALL)
        assert "°C" not in page, path
        assert "°F" in page, path


def test_an_alert_is_acknowledged_and_shelved(lived: Household, resident: Visitor) -> None:
    alert = hot_alert(lived)
    resident.send(f"/alerts/{alert}/acknowledge", {"to": "/bin/sorrel"}, "/alerts")
    fields = {"hours": "24", "to": "/bin/sorrel"}
    answer = resident.send(f"/alerts/{alert}/shelve", fields, "/alerts")
    assert answer.headers["location"] == "/bin/sorrel?said=shelved"
    kept = lived.records.alert(alert)
    assert kept is not None
    assert kept.acknowledged_by == "Ash"
    assert kept.shelved_until_ms == lived.clock.now_ms() + 24 * HOUR_MS
    page = resident.words("/alerts")
    assert "Seen by Ash" in page
    assert "Quiet until" in page
    answer = resident.send(f"/alerts/{alert}/shelve", {"hours": "9999"}, "/alerts")
    assert answer.status_code == 422
    assert resident.send("/alerts/none/acknowledge", {}, "/alerts").status_code == 404


def test_refused_and_undelivered_messages_are_shown(lived: Household, resident: Visitor) -> None:
    now_ms = lived.clock.now_ms()
    delivery = lived.records.due_deliveries(now_ms + 1, 5)[0]
    lived.records.failed(delivery.id, now_ms, "the mail server is away", None)
    lived.send("tansy-1", b'<script>alert("x")</script>\x00\xff')
    page = resident.read("/probes")
    assert "&lt;script&gt;" in page
    assert "<script>alert" not in page
    assert "the mail server is away" in page
    answer = resident.send(f"/probes/undelivered/{delivery.id}", {}, "/probes")
    assert answer.status_code == 303
    assert not lived.records.dead_letters(5)
    assert resident.send("/probes/undelivered/77", {}, "/probes").status_code == 404


def test_a_bin_without_a_probe_says_so_and_its_name_is_never_markup(
    house: Household, ash: Visitor
) -> None:
    house.records.save_bin(Bin("quince", "potting", '<b onload="x">Quince</b>'))
    assert "has no probe yet" in ash.words("/")
    assert "Give it a probe" in ash.words("/")
    for page in ("/", "/bin/quince", "/places", "/journal/write?bin=quince"):
        assert "<b onload" not in ash.read(page)


@pytest.mark.parametrize("path", ["/bin/none", "/journal/none", "/probes/none", "/places/bin/none"])
def test_what_is_not_there_is_said_in_words(looker: Visitor, path: str) -> None:
    answer = looker.get(path)
    assert answer.status_code == 404
    assert "There is no" in answer.text
