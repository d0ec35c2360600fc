"""SenML names and units: which lead to a channel, which convert, which are refused."""

from __future__ import annotations

import msgspec
import pytest

from underlid.readings.decode import Decoded, decode
from underlid.readings.values import RawMessage, RejectReason

RECEIVED_MS = 1_800_000_000_000
TOPIC = "underlid/v1/potting/tansy-1/senml"


def pack(*records: dict[str, object], topic: str = TOPIC) -> Decoded:
    return decode(RawMessage(topic, msgspec.json.encode(records), RECEIVED_MS))


def reasons(decoded: Decoded) -> set[RejectReason]:
    return {rejected.reason for rejected in decoded.rejected}


@pytest.mark.parametrize(
    ("base_name", "name"),
    [
        ("", "bed-temp"),
        ("tansy-1", "bed-temp"),
        ("tansy-1:", "bed-temp"),
        ("urn:dev:mac:0024befffe804ff1-tansy-1/", "bed-temp"),
        ("urn:dev:", "tansy-1:bed-temp"),
        ("", "potting/tansy-1/bed-temp"),
        ("urn:dev:tansy-1:bed-temp", ""),
        ("", "bed_temp_c"),
        ("", "bed-temp-c"),
    ],
)
def test_names_lead_to_the_probe_and_channel(base_name: str, name: str) -> None:
    decoded = pack({"bn": base_name, "n": name, "u": "Cel", "v": 22.4})
    assert [reading.values for reading in decoded.readings] == [{"bed_temp_c": 22.4}]


@pytest.mark.parametrize(
    ("base_name", "name", "reason"),
    [
        ("sorrel-1:", "bed-temp", RejectReason.WRONG_PROBE),
        ("", "sorrel-1/bed-temp", RejectReason.WRONG_PROBE),
        ("tansy-1:", "", RejectReason.BAD_CHANNEL),
        ("", "Bed Temp", RejectReason.BAD_CHANNEL),
        ("", "9lives", RejectReason.BAD_CHANNEL),
    ],
)
def test_names_that_lead_nowhere(base_name: str, name: str, reason: RejectReason) -> None:
    decoded = pack({"bn": base_name, "n": name, "v": 22.4})
    assert not decoded.readings
    assert reasons(decoded) == {reason}


@pytest.mark.parametrize(
    ("name", "unit", "value", "channel", "stored"),
    [
        ("bed-temp", "K", 295.55, "bed_temp_c", 22.4),
        ("headspace-rh", "%RH", 91.0, "headspace_rh_pct", 91.0),
        ("headspace-rh", "/", 0.91, "headspace_rh_pct", 91.0),
        ("headspace-rh", "%", 0.91, "headspace_rh_pct", 91.0),
        ("headspace-rh", "/100", 91.0, "headspace_rh_pct", 91.0),
        ("moisture", "%", 0.75, "moisture_pct", 75.0),
        ("mass", "g", 21500.0, "bin_mass_kg", 21.5),
        ("battery", "mV", 3910.0, "battery_v", 3.91),
        ("rssi", "dBW", -97.0, "rssi_dbm", -67.0),
        ("rssi", "dBm", -67.0, "rssi_dbm", -67.0),
        ("soil", "/", 1843, "soil_raw", 1843.0),
        ("soil", "/", 0.42, "soil_index", 0.42),
        ("soil", "/100", 42.0, "soil_index", 0.42),
        ("soil", "count", 1, "soil_raw", 1.0),
        ("soil-index", "/", 0.42, "soil_index", 0.42),
        ("co2", "ppm", 640, "co2", 640.0),
        ("lid-open", None, True, "lid_open", 1.0),
    ],
)
def test_units_of_one_kind_convert(
    name: str, unit: str | None, value: object, channel: str, stored: float
) -> None:
    label = "vb" if value is True else "v"
    decoded = pack({"n": name, label: value} | ({"u": unit} if unit else {}))
    assert decoded.readings[0].values == {channel: pytest.approx(stored, abs=1e-9)}


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("bed-temp", "%RH"),
        ("bed-temp", "degF"),
        ("headspace-rh", "Cel"),
        ("moisture", "%RH"),
        ("battery", "%EL"),
        ("mass", "lb"),
        ("rssi", "dB"),
        ("soil", "V"),
    ],
)
def test_a_wrong_kind_of_unit_is_refused_and_its_neighbours_stay(name: str, unit: str) -> None:
    decoded = pack({"n": name, "u": unit, "v": 1.0}, {"n": "lid-temp", "u": "Cel", "v": 20.0})
    assert decoded.readings[0].values == {"lid_temp_c": 20.0}
    assert reasons(decoded) == {RejectReason.WRONG_UNIT}
