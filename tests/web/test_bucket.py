"""The bucket's page: what it would do, where it may go, and that asking writes nothing."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from underlid.binmodel.bins import Shed
from underlid.timeline import DAY_MS
from underlid.web.pages.bucket import SHEDS_MOST
from web.household import MELON_AND_BREAD, NOW_MS, Household, week_before
from web.visiting import Visitor

MELON = "ingredient_1=melon&mass_1=1,2&unit=kg&drained=0.2"


@pytest.fixture
def fed(house: Household) -> Household:
    house.readings.write(week_before(NOW_MS))
    house.write_down(MELON_AND_BREAD, 6 * DAY_MS)
    house.judge()
    return house


def test_a_bucket_is_shared_out_and_nothing_is_written(fed: Household, ash: Visitor) -> None:
    before = fed.records.entries()
    words = ash.words(f"/bucket?{MELON}&into=")
    assert "1 kg of food" in words
    assert "C:N about" in words
    assert "Bed: at most" in words
    assert "Eaten by about" in words
    assert "The liquid drained off" in words
    assert fed.records.entries() == before


def test_all_of_it_into_one_bin_leads_to_its_form(fed: Household, ash: Visitor) -> None:
    page = ash.read(f"/bucket?{MELON}&into=tansy")
    address = re.search(r'href="(/journal/write\?bin=tansy[^"]*)"', page)
    assert address is not None
    form = ash.read(address[1].replace("&amp;", "&"))
    assert re.search(r'name="mass_1"[^>]*value="1200"', form)
    assert re.search(r'value="melon" selected', form)
    assert re.search(r'name="drained"[^>]*value="200"', form)
    fields = {"bin": "tansy", "kind": "feed", "ingredient_1": "melon", "mass_1": "1200"}
    assert ash.send("/journal/write", fields, "/journal").status_code == 303


def test_a_bucket_is_shared_out_in_one_shed(fed: Household, ash: Visitor) -> None:
    assert "share it out in Boiler room" in ash.words("/bucket")
    here = ash.words(f"/bucket?{MELON}&into=shed:boiler").partition("kg of food")[2]
    assert [name in here for name in ("Borage", "Tansy")] == [True, False]
    everywhere = ash.words(f"/bucket?{MELON}&into=").partition("kg of food")[2]
    assert [name in everywhere for name in ("Borage", "Tansy")] == [True, True]


def test_in_a_place_of_many_sheds_a_bucket_goes_into_one(fed: Household, ash: Visitor) -> None:
    tansy = fed.records.setup().bins["tansy"]
    for number in range(SHEDS_MOST):
        fed.records.save_shed(Shed(f"shed-{number}"))
        fed.records.save_bin(replace(tansy, id=f"bin-{number}", name="", shed=f"shed-{number}"))
    assert '<option value="">' not in ash.read("/bucket").partition('id="into"')[2]


def test_a_bin_that_is_not_known_gets_nothing_and_the_reason_is_said(
    looker: Visitor,
) -> None:
    words = looker.words(f"/bucket?{MELON}&into=")
    assert "1 kg fits in no bin now" in words
    assert "Cannot tell" in words


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("ingredient_1=&mass_1=5&into=", "Ingredient is"),
        ("ingredient_1=melon&mass_1=much&into=", "Mass is"),
        ("ingredient_1=melon&mass_1=100&drained=200&into=", "Drained liquid is"),
        ("ingredient_1=melon&mass_1=100&into=nowhere", "Into which bin is"),
    ],
)
def test_a_wrong_bucket_gets_its_sentence(looker: Visitor, query: str, sentence: str) -> None:
    answer = looker.get(f"/bucket?{query}")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text
