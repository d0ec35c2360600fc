"""The pages and their forms, as a browser without scripts uses them."""

from __future__ import annotations

import re

import pytest

from underlid.binmodel.bins import Bin
from underlid.journal.entries import Feed, LiquidAdded, Portion, Sighting
from underlid.timeline import HOUR_MS
from web import stories
from web.places import NOW_MS, Place
from web.visiting import Visitor

FEED = {
    "bin": "tansy",
    "kind": "feed",
    "unit": "kg",
    "ingredient_1": "melon",
    "mass_1": "1,2",
    "ingredient_2": "bread",
    "mass_2": "0.3",
    "drained": "0.25",
    "bedding": "newspaper",
    "bedding_mass": "0.4",
    "when": "2026-06-20T18:30",
    "text": "half the melon",
    "once": "tap-1",
}


def test_the_shed_says_one_sentence_first_and_shows_every_bin(place: Place, ash: Visitor) -> None:
    stories.tell(place)
    place.fill_week()
    page = ash.read("/")
    assert page.index("Water is gathering") < page.index('<svg class="profile"')
    assert page.count('<svg class="profile"') == 2
    assert "Sorrel has no probe yet" in page
    assert "drops on the lid" in page


def test_a_bin_page_has_curves_table_verdicts_and_cautions(place: Place, ash: Visitor) -> None:
    stories.tell(place)
    place.fill_week()
    page = ash.read("/bin/tansy")
    for words in ("Dew point", "no squeeze or smell noted", "Acknowledge", "lid margin −0.8 °C"):
        assert words in page
    assert "Next feed at most about 510 g, about " in page
    assert "about 930 g are uneaten." in page
    assert "a half, the herd is settling in" in page
    assert "The herd is settling in (moved) until " in page
    assert page.count('<th scope="row">') == 8
    assert "second pair of hands" in page
    assert len(page.encode()) < 400_000


def test_units_are_shown_as_the_keeper_likes(place: Place, ash: Visitor) -> None:
    place.fill_week()
    assert ash.send("/units", {"units": "us", "to": "/bin/tansy"}, "/").status_code == 303
    page = ash.read("/bin/tansy")
    assert "°F" in page
    assert "°C" not in page.replace("Show °C", "")


def test_a_feed_is_written_once_with_local_time_and_units(place: Place, ash: Visitor) -> None:
    for _ in range(2):
        answer = ash.send("/journal/write", FEED, "/journal/write?bin=tansy")
        assert answer.headers["location"] == "/bin/tansy?said=entry"
    (entry,) = place.records.entries()
    assert entry.what == Feed(
        (Portion("melon", 1200.0), Portion("bread", 300.0)), 250.0, (Portion("newspaper", 400.0),)
    )
    assert entry.at_ms == 1_781_976_600_000  # 17:30 UTC: London is an hour ahead in June
    assert entry.by == "Ash"
    assert "Written down." in ash.read("/bin/tansy?said=entry")


def test_same_as_last_time_is_one_tap(place: Place, ash: Visitor) -> None:
    place.records.add_entry(stories.FEED)
    page = ash.read("/journal/write?bin=tansy&kind=feed")
    assert "Same as last time" in page
    fields = {"bin": "tansy", "again": "feed1", "kind": "feed", "once": "tap-2"}
    assert ash.send("/journal/write", fields, "/journal").status_code == 303
    newest = place.records.entries()[0]
    assert newest.what == stories.FEED.what
    assert newest.at_ms == NOW_MS


@pytest.mark.parametrize(
    ("kind", "fields", "what"),
    [
        ("water", {"liquid": "leachate", "mass": "500", "unit": "g"}, LiquidAdded),
        ("worms", {"mass": "-250", "unit": "g"}, None),
        ("harvest", {"mass": "3", "unit": "lb"}, None),
        ("bedding", {"ingredient_1": "straw", "mass_1": "200", "unit": "g"}, None),
        ("amendment", {"ingredient_1": "eggshell", "mass_1": "2", "unit": "oz"}, None),
        ("sighting", {"climbers": "few", "lid": "drops", "moisture_pct": "71,5"}, Sighting),
        ("turned", {}, None),
        ("move", {}, None),
        ("note", {"text": "a toad by the door"}, None),
    ],
)
def test_every_kind_is_written_shown_and_can_be_corrected(
    place: Place, ash: Visitor, kind: str, fields: dict[str, str], what: type | None
) -> None:
    on = f"/journal/write?bin=tansy&kind={kind}"
    answer = ash.send("/journal/write", {"bin": "tansy", "kind": kind, **fields}, on)
    assert answer.status_code == 303, answer.text
    (entry,) = place.records.entries()
    assert entry.kind == kind
    assert what is None or isinstance(entry.what, what)
    form = ash.read(f"/journal/{entry.id}/correct")
    given = dict(re.findall(r'<input id="(\w+)" name="\w+"[^>]* value="([^"]*)"', form))
    if "mass" in fields:
        assert float(given["mass"]) == pytest.approx(entry.what.mass_g)  # type: ignore[union-attr]


WRONG_FEED = [
    ({"bin": "nowhere"}, "Bin is"),
    ({"kind": "party"}, "Kind of entry is"),
    ({"unit": "stone"}, "Unit is"),
    ({"ingredient_1": "plastic"}, "Ingredient is"),
    ({"mass_1": "lots"}, "Mass is"),
    ({"mass_1": "nan"}, "Mass is"),
    ({"mass_1": "1e999"}, "Mass is"),
    ({"mass_1": ""}, "Mass of melon is"),
    ({"ingredient_1": "", "mass_1": "", "ingredient_2": "", "mass_2": ""}, "Ingredient is"),
    ({"drained": "99"}, "Drained_g is"),
    ({"drained": "-1"}, "Drained liquid is"),
    ({"bedding": ""}, "Bedding on top is"),
    ({"bedding": "gold"}, "Bedding is"),
    ({"bedding_mass": ""}, "Bedding on top is"),
    ({"when": "yesterday"}, "Time is"),
    ({"when": "2031-01-01T00:00"}, "Time is"),
    ({"text": "x" * 4001}, "Text is"),
]


@pytest.mark.parametrize(("wrong", "sentence"), WRONG_FEED)
def test_a_wrong_field_gives_its_sentence_and_keeps_the_rest(
    place: Place, ash: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    answer = ash.send("/journal/write", {**FEED, **wrong}, "/journal/write?bin=tansy")
    assert answer.status_code == 422
    refusal = re.search(r'id="refusal">(.*?)</p>', answer.text, re.DOTALL)
    assert refusal is not None
    assert refusal[1].startswith(sentence), refusal[1]
    assert not place.records.entries()
    if "text" not in wrong and "kind" not in wrong:
        assert "half the melon" in answer.text


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"kind": "sighting", "moisture_pct": "200"}, "Weighed moisture"),
        ({"kind": "sighting"}, "Entry is"),
        ({"kind": "sighting", "climbers": "thousands"}, "Climbers is"),
        ({"kind": "water"}, "Mass_g is"),
        ({"kind": "worms", "mass": "some"}, "Amount is"),
        ({"kind": "note"}, "Entry is"),
    ],
)
def test_other_kinds_refuse_in_words_too(
    ash: Visitor, fields: dict[str, str], sentence: str
) -> None:
    answer = ash.send("/journal/write", {"bin": "tansy", **fields}, "/journal/write")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


def test_an_entry_is_corrected_withdrawn_and_keeps_its_history(place: Place, ash: Visitor) -> None:
    place.records.add_entry(stories.FEED)
    fields = {**FEED, "mass_1": "2", "when": ""}
    answer = ash.send("/journal/feed1/correct", fields, "/journal/feed1/correct")
    assert answer.headers["location"] == "/journal/feed1?said=corrected"
    assert ash.send("/journal/feed1/withdraw", {}, "/journal/feed1").status_code == 303
    page = ash.read("/journal/feed1")
    for words in ("written by Ash", "corrected by Ash", "withdrawn by Ash", "Withdrawn."):
        assert words in page
    assert [one.version for one in place.records.entry_history("feed1")] == [1, 2, 3]
    assert "(withdrawn)" in ash.read("/journal?bin=tansy")


def test_an_alert_is_acknowledged_and_shelved(place: Place, ash: Visitor) -> None:
    stories.tell(place)
    alert = stories.WET_LID.id
    ash.send(f"/alerts/{alert}/acknowledge", {"to": "/bin/tansy"}, "/alerts")
    answer = ash.send(f"/alerts/{alert}/shelve", {"hours": "24", "to": "/bin/tansy"}, "/alerts")
    assert answer.headers["location"] == "/bin/tansy?said=shelved"
    kept = place.records.alert(alert)
    assert kept is not None
    assert kept.acknowledged_by == "Ash"
    assert kept.shelved_until_ms == NOW_MS + 24 * HOUR_MS
    page = ash.read("/alerts")
    assert "Seen by Ash" in page
    assert "Quiet until" in page
    answer = ash.send(f"/alerts/{alert}/shelve", {"hours": "9999"}, "/alerts")
    assert answer.status_code == 422
    assert ash.send("/alerts/none/acknowledge", {}, "/alerts").status_code == 404


def test_a_probe_is_claimed_moved_and_let_go(place: Place, ash: Visitor) -> None:
    place.send("underlid/v1/potting/mystery-3/json", b'{"bed_temp_c":19.5,"soil_raw":1801}')
    page = ash.read("/probes")
    assert page.index("mystery-3") < page.index("In their places")
    fields = {"where": "bin:sorrel", "depth_cm": "12,5", "soil_dry_raw": "", "soil_wet_raw": ""}
    answer = ash.send("/probes/mystery-3/place", fields, "/probes/mystery-3")
    assert answer.headers["location"] == "/bin/sorrel?said=placed"
    assert place.records.setup().probes["mystery-3"].depth_cm == 12.5
    fields = {**fields, "where": "air:potting"}
    ash.send("/probes/mystery-3/place", fields, "/probes/mystery-3")
    assert place.records.setup().sheds["potting"].air_probe == "mystery-3"
    ash.send("/probes/mystery-3/remove", {}, "/probes/mystery-3")
    setup = place.records.setup()
    assert "mystery-3" not in setup.probes
    assert setup.sheds["potting"].air_probe is None


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"where": ""}, "Place is"),
        ({"where": "bin:nowhere"}, "Place is"),
        ({"depth_cm": "deep"}, "Depth, cm is"),
        ({"depth_cm": "-3"}, "Depth, cm is"),
        ({"soil_dry_raw": "2700"}, "Dry and wet count is"),
        ({"soil_dry_raw": "2700", "soil_wet_raw": "2700"}, "Dry and wet count is"),
        ({"soil_dry_raw": "99999999"}, "Dry count is"),
        ({"soil_wet_raw": "wet"}, "Wet count is"),
    ],
)
def test_a_wrong_place_gives_its_sentence(
    ash: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    fields = {"where": "bin:tansy", "depth_cm": "10", **wrong}
    answer = ash.send("/probes/tansy-1/place", fields, "/probes/tansy-1")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


def test_refused_and_undelivered_messages_are_shown(place: Place, ash: Visitor) -> None:
    stories.tell(place)
    (delivery,) = place.records.due_deliveries(NOW_MS + 1, 5)
    place.records.failed(delivery.id, NOW_MS, "the mail server is away", None)
    place.send("underlid/v1/potting/tansy-1/json", b'<script>alert("x")</script>\x00\xff')
    page = ash.read("/probes")
    assert "&lt;script&gt;" in page
    assert "<script>alert" not in page
    assert "the mail server is away" in page
    answer = ash.send(f"/probes/undelivered/{delivery.id}", {}, "/probes")
    assert answer.status_code == 303
    assert not place.records.dead_letters(5)
    assert ash.send("/probes/undelivered/77", {}, "/probes").status_code == 404


def test_a_probe_gets_a_secret_that_is_shown_once(place: Place, ash: Visitor) -> None:
    page = ash.send("/probes/secret", {"probe": "fennel-1"}, "/probes").text
    secret = re.findall(r"<code>([^<]+)</code>", page)[1]
    assert len(secret) >= 20
    assert secret not in place.records.door_secrets()["fennel-1"]
    assert ash.send("/probes/secret", {"probe": "../x"}, "/probes").status_code == 422


BIN = {
    "name": "Fennel",
    "shed": "potting",
    "kind": "tray-stack",
    "species_eisenia-andrei": "yes",
    "herd_kg": "0.8",
    "volume_l": "45",
    "bed_kg": "15",
    "lid_area_m2": "0.16",
    "target_moisture_pct": "75",
    "bedding": "cardboard",
}


def test_a_shed_and_a_bin_are_added_and_changed(place: Place, ash: Visitor) -> None:
    fields = {"name": "Boiler room", "timezone": "Europe/London"}
    assert ash.send("/places/shed", fields, "/places/shed").status_code == 303
    answer = ash.send("/places/bin", {**BIN, "shed": "boiler-room"}, "/places/bin")
    assert answer.headers["location"] == "/bin/fennel?said=bin"
    ash.send("/places/bin/fennel", {**BIN, "herd_kg": "1.5"}, "/places/bin/fennel")
    fennel = place.records.setup().bins["fennel"]
    assert (fennel.herd_kg, fennel.shed, fennel.bedding) == (1.5, "potting", "cardboard")
    assert "Fennel" in ash.read("/places")


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "Name of the bin is"),
        ({"name": "x" * 200}, "Name of the bin is"),
        ({"shed": "moon"}, "Shed is"),
        ({"kind": "bucket"}, "Kind of bin is"),
        ({"species_eisenia-andrei": ""}, "Worms is"),
        ({"herd_kg": "-1"}, "Worms, kg is"),
        ({"volume_l": "inf"}, "Volume, litres is"),
        ({"bed_kg": ""}, "Bed, kg is"),
        ({"lid_area_m2": "0"}, "Lid area, m² is"),
        ({"target_moisture_pct": "20"}, "Moisture to keep, % is"),
        ({"bedding": "melon"}, "Bedding at hand is"),
    ],
)
def test_a_wrong_bin_gives_its_sentence(ash: Visitor, wrong: dict[str, str], sentence: str) -> None:
    answer = ash.send("/places/bin", {**BIN, **wrong}, "/places/bin")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


@pytest.mark.parametrize(("wrong", "word"), [({"name": ""}, "Name"), ({"timezone": "X"}, "Time")])
def test_a_wrong_shed_gives_its_sentence(ash: Visitor, wrong: dict[str, str], word: str) -> None:
    fields = {"name": "Boiler room", "timezone": "Europe/London", **wrong}
    answer = ash.send("/places/shed", fields, "/places/shed")
    assert answer.status_code == 422
    assert f'id="refusal">{word}' in answer.text


def test_what_a_person_types_is_never_markup(place: Place, ash: Visitor) -> None:
    place.records.save_bin(Bin("quince", "potting", '<b onload="x">Quince</b>'))
    for page in ("/", "/bin/quince", "/places", "/journal/write?bin=quince"):
        assert "<b onload" not in ash.read(page)


@pytest.mark.parametrize("path", ["/bin/none", "/journal/none", "/probes/none", "/places/bin/none"])
def test_what_is_not_there_is_said_in_words(ash: Visitor, path: str) -> None:
    answer = ash.get(path)
    assert answer.status_code == 404
    assert "There is no" in answer.text
