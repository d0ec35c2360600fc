"""Set-ups, alerts and messages for property tests of the records."""

from __future__ import annotations

from hypothesis import strategies as st

from underlid.alerts.alert import Alert, AlertState, Message, Occasion, Said
from underlid.binmodel.bins import Bin, BinKind, Calibration, ProbePlace, Setup, Shed, Species
from underlid.journal.entries import Portion
from underlid.rules.finding import Advice, Condition, Priority

floats = st.floats(allow_nan=False, allow_infinity=False)
times_ms = st.integers(min_value=0, max_value=4_000_000_000_000)
texts = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=40)
bin_ids = st.sampled_from(["tansy", "sorrel", "fennel", "borage", "quince"])

advice = st.builds(
    Advice,
    act=st.sampled_from(["add_bedding", "wait"]),
    text=texts,
    amount_g=st.none() | floats,
    amount_ml=st.none() | floats,
    days=st.none() | floats,
    working=texts,
    values=st.dictionaries(texts, st.floats(-1e9, 1e9) | texts, max_size=3),
)

said = st.builds(
    Said,
    at_ms=times_ms,
    name=texts,
    timezone=texts,
    reason=texts,
    forecast_for_ms=st.none() | times_ms,
    fed=st.lists(st.builds(Portion, ingredient=texts, mass_g=floats), max_size=2).map(tuple),
    fed_at_ms=times_ms,
    measured=st.booleans(),
)

alerts = st.builds(
    Alert,
    id=st.sampled_from(["tansy:1", "tansy:2", "sorrel:1"]),
    bin=bin_ids,
    shed=st.just("potting"),
    condition=st.sampled_from(Condition),
    subject=st.sampled_from(["", "tansy-1"]),
    state=st.sampled_from([state for state in AlertState if state is not AlertState.RETURNED]),
    priority=st.sampled_from(Priority),
    since_ms=times_ms,
    state_at_ms=times_ms,
    raised_at_ms=st.none() | times_ms,
    returned_at_ms=st.none() | times_ms,
    acknowledged_at_ms=st.none() | times_ms,
    acknowledged_by=texts,
    shelved_until_ms=st.none() | times_ms,
    cause=texts,
    grade=texts,
    certainty=st.floats(min_value=0, max_value=1),
    forecast_for_ms=st.none() | times_ms,
    feed_at_ms=st.none() | times_ms,
    evidence=st.dictionaries(texts, floats | texts, max_size=5),
    advice=st.lists(advice, max_size=3).map(tuple),
    text=texts,
    said=st.none() | said,
    told_at_ms=st.lists(times_ms, max_size=3).map(tuple),
    told_priority=st.none() | st.sampled_from(Priority),
)

messages = st.builds(
    Message,
    key=st.text("abc:123", min_size=1, max_size=8),
    alert_id=st.just("tansy:1"),
    bin=bin_ids,
    shed=st.just("potting"),
    at_ms=times_ms,
    priority=st.sampled_from(Priority),
    title=texts,
    text=texts,
    event=st.sampled_from(Occasion),
)

calibrations = st.builds(
    Calibration,
    channel=st.just("bed_temp_c"),
    gain=floats,
    offset=floats,
    from_ms=times_ms,
    until_ms=st.none() | times_ms,
    how=texts,
)


@st.composite
def setups(draw: st.DrawFn) -> Setup:
    sheds = {
        id_: Shed(id_, draw(texts), draw(st.sampled_from([None, "air1"])), "Europe/London")
        for id_ in draw(st.sets(st.sampled_from(["potting", "boiler"]), min_size=1))
    }
    bins = {
        id_: Bin(
            id_,
            draw(st.sampled_from(sorted(sheds))),
            draw(texts),
            draw(st.sampled_from(BinKind)),
            tuple(draw(st.lists(st.sampled_from(Species), min_size=1, max_size=3))),
            *(draw(floats) for _ in range(6)),
            bedding="coir",
            limits=draw(st.dictionaries(texts, floats, max_size=3)),
        )
        for id_ in draw(st.sets(bin_ids))
    }
    probes = {
        id_: ProbePlace(
            id_,
            draw(st.sampled_from(sorted(sheds))),
            draw(st.sampled_from([None, *sorted(bins)])),
            draw(st.none() | floats),
            draw(st.none() | floats),
            draw(st.none() | floats),
            tuple(draw(st.lists(st.tuples(floats, floats), max_size=3))),
            tuple(draw(st.lists(calibrations, max_size=2))),
        )
        for id_ in draw(st.sets(st.sampled_from(["p1", "p2", "air1"])))
    }
    return Setup(sheds, bins, probes)
