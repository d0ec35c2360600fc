"""Valid journal entries, for property tests of everything that reads, writes or stores them."""

from __future__ import annotations

from hypothesis import strategies as st

from underlid.journal.entries import (
    Amendment,
    BeddingAdded,
    Climbers,
    Entry,
    Feed,
    Harvest,
    LidLook,
    Liquid,
    LiquidAdded,
    Moved,
    Note,
    Photo,
    Portion,
    Sighting,
    Smell,
    Squeeze,
    Turned,
    Worms,
)
from underlid.journal.feedstocks import FEEDSTOCKS

masses_g = st.floats(min_value=1e-3, max_value=80_000)
texts = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=60).map(
    str.strip
)
portions = st.lists(
    st.builds(Portion, st.sampled_from(sorted(FEEDSTOCKS)), masses_g), min_size=1, max_size=5
).map(tuple)


@st.composite
def feeds(draw: st.DrawFn) -> Feed:
    given = draw(portions)
    mass_g = sum(portion.mass_g for portion in given)
    drained_g = draw(st.floats(min_value=0, max_value=mass_g, exclude_max=True))
    return Feed(given, drained_g, draw(st.just(()) | portions))


sightings = st.builds(
    Sighting,
    climbers=st.none() | st.sampled_from(Climbers),
    lid=st.none() | st.sampled_from(LidLook),
    squeeze=st.none() | st.sampled_from(Squeeze),
    smell=st.none() | st.sampled_from(Smell),
    pests=st.just("") | texts,
    used_up=st.none() | st.booleans(),
    moisture_pct=st.none() | st.floats(min_value=1, max_value=99),
)

whats = (
    feeds()
    | st.builds(BeddingAdded, portions)
    | st.builds(LiquidAdded, masses_g, st.sampled_from(Liquid))
    | st.builds(Amendment, portions)
    | st.builds(Worms, masses_g | masses_g.map(lambda mass_g: -mass_g))
    | st.builds(Harvest, masses_g)
    | sightings
    | st.just(Turned())
    | st.just(Moved())
    | st.builds(Photo, st.sampled_from(["", "2026-05-01-tansy.jpg"]))
    | st.just(Note())
)

times_ms = st.integers(min_value=0, max_value=4_000_000_000_000)


@st.composite
def entries(draw: st.DrawFn) -> Entry:
    known_at_ms = draw(times_ms)
    return Entry(
        id="e1",
        bin=draw(st.sampled_from(["tansy", "sorrel", "fennel"])),
        at_ms=draw(st.integers(min_value=0, max_value=known_at_ms)),
        known_at_ms=known_at_ms,
        what=draw(whats),
        by=draw(st.sampled_from(["", "Ash", "Robin"])),
        text=draw(texts.filter(bool)),
    )
