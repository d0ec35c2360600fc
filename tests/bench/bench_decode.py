"""What one message costs from bytes to a reading, beside the bare JSON or CBOR reader."""

from __future__ import annotations

import statistics
import timeit
from collections.abc import Callable

import cbor2
import msgspec

from underlid.pipeline import ingest
from underlid.readings.decode import decode
from underlid.readings.values import RawMessage

RECEIVED_MS = 1_800_000_000_000
ROUNDS = 5
LOOPS = 5_000
PROBE = "underlid/v1/potting/tansy-1"

VALUES = {
    "bed_temp_c": 22.4,
    "headspace_temp_c": 21.9,
    "headspace_rh_pct": 91.0,
    "soil_raw": 1843,
    "battery_v": 3.91,
}
NAMES = [
    ("bed-temp", "Cel"),
    ("headspace-temp", "Cel"),
    ("headspace-rh", "%RH"),
    ("soil", "/"),
    ("battery", "V"),
]
PACK = [
    ({"bn": "tansy-1:", "bt": 1_790_000_000} if i == 0 else {}) | {"n": name, "u": unit, "v": value}
    for i, ((name, unit), value) in enumerate(zip(NAMES, VALUES.values(), strict=True))
]
LABELS = {"bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2}

PLAIN = msgspec.json.encode({"ts": 1_790_000_000, **VALUES})
SENML_JSON = msgspec.json.encode(PACK)
SENML_CBOR = cbor2.dumps([{LABELS[k]: v for k, v in record.items()} for record in PACK])
BACK_FILL = msgspec.json.encode([{"ts": 1_790_000_000 + 60 * i, **VALUES} for i in range(100)])
BAD = msgspec.json.encode({"ts": "noon", **VALUES})


def time_us(work: Callable[[], object], loops: int) -> float:
    """Return the microseconds of one call."""
    return timeit.timeit(work, number=loops) / loops * 1e6


def compare(
    name: str, work: Callable[[], object], baseline: Callable[[], object], each: int = 1
) -> None:
    """Print medians of interleaved rounds, and the range of the ratio."""
    loops = max(LOOPS // each, 20)
    rounds = [(time_us(work, loops) / each, time_us(baseline, loops) / each) for _ in range(ROUNDS)]
    value = statistics.median(first for first, _ in rounds)
    base = statistics.median(second for _, second in rounds)
    ratios = sorted(first / second for first, second in rounds)
    print(
        f"{name} | {value:.2f} us | {base:.2f} us | "
        f"{statistics.median(ratios):.1f} [{ratios[0]:.1f}..{ratios[-1]:.1f}]"
    )


def main() -> None:
    """Print the table."""
    read = msgspec.json.Decoder().decode
    plain = RawMessage(f"{PROBE}/json", PLAIN, RECEIVED_MS)
    senml = RawMessage(f"{PROBE}/senml", SENML_JSON, RECEIVED_MS)
    cbor = RawMessage(f"{PROBE}/senml", SENML_CBOR, RECEIVED_MS)
    bare = RawMessage(f"{PROBE}/value/bed_temp_c", b"22.4", RECEIVED_MS)
    fill = RawMessage(f"{PROBE}/json", BACK_FILL, RECEIVED_MS)
    bad = RawMessage(f"{PROBE}/json", BAD, RECEIVED_MS)
    batch = [plain] * 1000
    print("name | value | baseline (reader alone) | ratio")
    compare("plain JSON, 5 channels", lambda: decode(plain), lambda: read(PLAIN))
    compare("SenML JSON pack of 5", lambda: decode(senml), lambda: read(SENML_JSON))
    compare("SenML CBOR pack of 5", lambda: decode(cbor), lambda: cbor2.loads(SENML_CBOR))
    compare("bare number", lambda: decode(bare), lambda: float(b"22.4"))
    compare("back-fill of 100, a row", lambda: decode(fill), lambda: read(BACK_FILL), each=100)
    compare("refused JSON", lambda: decode(bad), lambda: read(BAD))
    compare(
        "ingest, batch of 1000, a message",
        lambda: ingest(batch),
        lambda: [read(message.payload) for message in batch],
        each=1000,
    )


if __name__ == "__main__":
    main()
