"""The feedstock table: the ids other programs use, and values that can be true."""

from __future__ import annotations

from pathlib import Path

from underlid.journal.feedstocks import FEEDSTOCKS, Group

FEEDS = [
    "vegetable-scraps",
    "kitchen-scraps",
    "fruit",
    "melon",
    "salad",
    "tomato-courgette",
    "squash",
    "brassica",
    "carrot",
    "potato",
    "apple-pear",
    "banana-peel",
    "citrus",
    "berries",
    "coffee-grounds",
    "tea-leaves",
    "bread",
    "rice-pasta",
    "grass-clippings",
    "horse-manure",
    "cattle-manure",
    "rabbit-manure",
]
BEDDINGS = [
    "newspaper",
    "cardboard",
    "office-paper",
    "egg-carton",
    "dry-leaves",
    "straw",
    "coir",
    "peat",
    "sawdust",
    "castings",
]
AMENDMENTS = ["eggshell", "oyster-shell", "rock-dust", "neem-cake", "diatomaceous-earth"]


def test_the_ids_are_those_that_files_use_in_the_published_order() -> None:
    assert list(FEEDSTOCKS) == FEEDS + BEDDINGS + AMENDMENTS
    groups = [stock.group for stock in FEEDSTOCKS.values()]
    assert groups == [Group.FEED] * 22 + [Group.BEDDING] * 10 + [Group.AMENDMENT] * 5


def test_values_can_be_true_and_every_row_says_where_it_is_from() -> None:
    for id_, stock in FEEDSTOCKS.items():
        assert stock.id == id_
        assert 0 < stock.moisture_pct < 100
        assert 0.02 <= stock.loose_kg_l <= 2
        assert stock.source
        # C:N times %N is the carbon; handbooks print both as medians, so sawdust comes out high.
        if stock.nitrogen_pct_dry:
            assert 20 <= stock.c_to_n * stock.nitrogen_pct_dry <= 90, id_
        assert (stock.holding_kg_kg is not None) == (stock.group is Group.BEDDING)


def test_the_page_prints_the_same_table() -> None:
    page = (Path(__file__).parents[2] / "service/docs/feedstocks.md").read_text()
    for stock in FEEDSTOCKS.values():
        cells = [f"`{stock.id}`", stock.label, f"{stock.moisture_pct:g}"]
        cells += [f"{stock.c_to_n:g}" if stock.c_to_n else "–", f"{stock.nitrogen_pct_dry:g}"]
        cells += [f"{stock.loose_kg_l:g}"]
        cells += [] if stock.holding_kg_kg is None else [f"{stock.holding_kg_kg:g}"]
        assert "| " + " | ".join([*cells, stock.source]) + " |" in page, stock.id
