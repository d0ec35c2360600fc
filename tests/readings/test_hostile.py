"""Hostile payloads: each gives its reason, none stops the stream, good neighbours survive.

The files are in `tests/golden/payloads`, what is expected of each in `tests/golden/expected.csv`.
Payloads too big to keep as files are made here. The property tests throw arbitrary bytes.
"""

from __future__ import annotations

import csv
from pathlib import Path

import cbor2
import msgspec
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from underlid.pipeline import ingest
from underlid.readings.decode import decode
from underlid.readings.values import RawMessage, Reading

RECEIVED_MS = 1_800_000_000_000
GOLDEN = Path(__file__).parents[1] / "golden"
with (GOLDEN / "expected.csv").open(newline="") as expected:
    EXPECTED = list(csv.DictReader(expected))

GOOD = RawMessage("underlid/v1/potting/sorrel-1/json", b'{"bed_temp_c": 22.4}', RECEIVED_MS)

HUGE = {
    "100,000 brackets": b"[" * 100_000,
    "60,000 brackets": b"[" * 60_000,
    "60,000 braces": b'{"a":' * 12_000,
    "900 closed brackets": b"[" * 900 + b"]" * 900,
    "a value 900 deep": b'{"bed_temp_c":' + b"[" * 900 + b"]" * 900 + b"}",
    "a name of 60,000 letters": b'{"' + b"a" * 60_000 + b'":1}',
    "60,000 digits": b'{"bed_temp_c":' + b"9" * 60_000 + b"}",
    "60,000 decimals": b'{"bed_temp_c":0.' + b"9" * 60_000 + b"}",
    "6,000 fields": msgspec.json.encode({f"x{i}": i for i in range(6_000)}),
    "30,000 nulls": b"[" + b",".join([b"0"] * 30_000) + b"]",
    "60,000 bytes of 0": bytes(60_000),
    "60,000 bytes of ff": b"\xff" * 60_000,
    "60,000 nested arrays of CBOR": b"\x81" * 60_000,
    "CBOR indefinite all the way": b"\x9f" * 60_000,
    "20,000 CBOR tags": b"\xd9\xd9\xf7" * 20_000,
    "512 bad records": msgspec.json.encode([{"n": "Bed Temp", "v": "x"}] * 512),
}


def topic_for(end: str) -> str:
    return f"underlid/v1/potting/{'' if end == 'entry' else 'tansy-1/'}{end}"


def message_of(row: dict[str, str]) -> RawMessage:
    payload = (GOLDEN / "payloads" / row["file"]).read_bytes()
    return RawMessage(topic_for(row["topic_end"]), payload, RECEIVED_MS)


@pytest.mark.parametrize("row", EXPECTED, ids=lambda row: row["file"])
def test_each_file_gives_its_reasons(row: dict[str, str]) -> None:
    decoded = decode(message_of(row))
    assert sorted(str(rejected.reason) for rejected in decoded.rejected) == row["reasons"].split()
    assert len(decoded.readings) == int(row["readings"])
    assert not decoded.entries
    assert not decoded.statuses


def test_every_file_has_an_expectation() -> None:
    assert {path.name for path in (GOLDEN / "payloads").iterdir()} == {
        row["file"] for row in EXPECTED
    }


def test_good_neighbours_in_the_same_batch_survive_them_all() -> None:
    batch = [GOOD]
    for row in EXPECTED:
        batch += [message_of(row), GOOD]
    for payload in HUGE.values():
        batch += [RawMessage(topic_for(end), payload, RECEIVED_MS) for end in ("json", "senml")]
        batch.append(GOOD)
    admitted = ingest(batch)
    good = [reading for reading in admitted.readings if reading.probe == "sorrel-1"]
    assert len(good) == 1 + len(EXPECTED) + len(HUGE)


@pytest.mark.parametrize("end", ["json", "senml", "value/bed_temp_c", "status", "entry"])
@pytest.mark.parametrize("name", HUGE)
def test_huge_payloads_are_answered_with_few_short_sentences(name: str, end: str) -> None:
    decoded = decode(RawMessage(topic_for(end), HUGE[name], RECEIVED_MS))
    assert not decoded.readings or name == "60,000 decimals"
    assert len(decoded.rejected) <= 3
    for rejected in decoded.rejected:
        assert len(rejected.sentence) < 400
        assert len(rejected.message.payload) <= 4096


ENDS = st.sampled_from(["json", "senml", "value/bed_temp_c", "status"])
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["n", "v", "u", "t", "bn", "bt", "bv", "bu", "bver", "s", "vb", "vs", "x_"]
            )
            | st.sampled_from(["bed_temp_c", "ts", "seq", "co2"])
            | st.text(max_size=8),
            inner,
            max_size=6,
        )
    ),
    max_leaves=24,
)
CBOR_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**64), 2**64 - 1)
    | st.floats()
    | st.text(max_size=8)
    | st.binary(max_size=8)
    | st.decimals(allow_nan=False, allow_infinity=False),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.integers(-7, 9) | st.text(max_size=4), inner, max_size=6)
    ),
    max_leaves=24,
)


def check_answer(message: RawMessage) -> None:
    """Something always comes out, and every reading in it can be stored."""
    admitted = ingest([message, GOOD])
    found = [reading for reading in admitted.readings if reading.probe != "sorrel-1"]
    assert len(found) == len(admitted.readings) - 1
    for reading in found:
        assert reading.values
        assert -(2**63) <= reading.taken_at_ms < 2**63
        assert reading.seq is None or 0 <= reading.seq < 2**53
        for value in reading.values.values():
            assert type(value) is float
            assert abs(value) < float("inf")
    assert found or admitted.statuses or admitted.rejected
    msgspec.json.encode([rejected.sentence for rejected in admitted.rejected])


@given(ENDS, st.binary(max_size=200))
def test_any_bytes_have_an_answer(end: str, payload: bytes) -> None:
    """`ingest` is total over bytes."""
    check_answer(RawMessage(topic_for(end), payload, RECEIVED_MS))


@given(st.text(max_size=80), st.binary(max_size=20))
@example("underlid/v1/potting/\ud800/json", b"1")
def test_any_topic_has_an_answer(topic: str, payload: bytes) -> None:
    """`ingest` is total over topics."""
    assert ingest([RawMessage(topic, payload, RECEIVED_MS)]).rejected


@given(st.sampled_from(["json", "senml"]), st.lists(JSON_VALUES, max_size=5) | JSON_VALUES)
def test_any_json_has_an_answer(end: str, value: object) -> None:
    """`ingest` is total over JSON values that look like ours."""
    check_answer(RawMessage(topic_for(end), msgspec.json.encode(value), RECEIVED_MS))


@given(st.lists(CBOR_VALUES, max_size=5) | CBOR_VALUES)
def test_any_cbor_has_an_answer(value: object) -> None:
    """`ingest` is total over CBOR values that look like ours."""
    check_answer(RawMessage(topic_for("senml"), cbor2.dumps(value), RECEIVED_MS))


CHANNEL_VALUES = st.dictionaries(
    st.sampled_from(["bed_temp_c", "headspace_rh_pct", "soil_raw", "co2", "x9"]),
    st.floats(allow_nan=False, allow_infinity=False),
    min_size=1,
)
TIMES_S = st.integers(1_577_836_800, RECEIVED_MS // 1000)


@given(CHANNEL_VALUES, TIMES_S, st.integers(0, 2**53 - 1))
def test_what_is_sent_is_what_is_stored(values: dict[str, float], ts: int, seq: int) -> None:
    """JSON and both forms of SenML carry the same reading, bit for bit."""
    wanted = [Reading("tansy-1", "potting", ts * 1000, RECEIVED_MS, values, seq=seq)]
    plain = msgspec.json.encode({"ts": ts, "seq": seq, **values})
    assert decode(RawMessage(topic_for("json"), plain, RECEIVED_MS)).readings == wanted
    pack = [{"bt": ts}, {"n": "seq", "v": seq}, *({"n": n, "v": v} for n, v in values.items())]
    coded = [{-3: ts}, {0: "seq", 2: seq}, *({0: n, 2: v} for n, v in values.items())]
    for payload in (msgspec.json.encode(pack), cbor2.dumps(coded)):
        assert decode(RawMessage(topic_for("senml"), payload, RECEIVED_MS)).readings == wanted
