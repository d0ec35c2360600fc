"""The payloads page: every example does what the page says, every reason has its heading."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from underlid.files.setup import parse_setup
from underlid.readings.channels import CHANNELS
from underlid.readings.decode import decode
from underlid.readings.mapped import Mappings
from underlid.readings.senml_units import UNITS, target
from underlid.readings.values import RawMessage, RejectReason

PAGE = (Path(__file__).parents[2] / "service/docs/payloads.md").read_text(encoding="utf-8")
SECTIONS = re.split(r"^#+ (.+)\n", PAGE, flags=re.MULTILINE)[1:]
EXAMPLES = [
    (heading, topic, payload)
    for heading, text in zip(SECTIONS[::2], SECTIONS[1::2], strict=True)
    for topic, payload in re.findall(r"```text\n(underlid/v1/.+)\n((?:.+\n)+?)```", text)
]
RECEIVED_MS = 1_800_000_000_000


@pytest.mark.parametrize(("heading", "topic", "payload"), EXAMPLES)
def test_examples(heading: str, topic: str, payload: str) -> None:
    decoded = decode(RawMessage(topic, payload.rstrip("\n").encode(), RECEIVED_MS))
    expected = [heading] if heading in set(RejectReason) else []
    assert [str(rejected.reason) for rejected in decoded.rejected] == expected
    if not expected:
        assert decoded.readings or decoded.statuses or decoded.entries


def test_every_reason_has_its_heading() -> None:
    for reason in RejectReason:
        assert reason in SECTIONS[::2]


def test_the_table_of_channels_is_the_codes() -> None:
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|[^|]*\| ([^|]*) \| ([^|]*) \|$", PAGE, re.MULTILINE)
    assert [channel for channel, _, _ in rows] == list(CHANNELS)
    for channel, names, units in rows:
        listed = re.findall(r"`([^`]+)`", units)
        assert listed == list(UNITS[channel]) or units == "as above" or channel == "soil_raw"
        for name in re.findall(r"`([^`]+)`", names):
            goal = target(name, None)
            assert goal is not None
            assert goal.channel == channel or (name == "soil" and goal.soil)


def test_the_example_of_other_firmware_gives_what_the_page_says() -> None:
    section = PAGE.partition("### An example")[2].partition("\n## ")[0]
    (payload,) = re.findall(r"```json\n(.+)\n```", section)
    (tables,) = re.findall(r"```toml\n(.+?)```", section, re.DOTALL)
    shed = "[shed.potting]\n"
    mappings = Mappings(parse_setup((shed + tables).encode()).mappings)
    message = RawMessage("allotment/Board 7/env", payload.encode(), RECEIVED_MS)
    (reading,) = decode(message, mappings).readings
    assert reading.probe == "board-7"
    assert {name: round(value, 1) for name, value in reading.values.items()} == {
        "bed_temp_c": 21.2,
        "soil_raw": 1843.0,
        "headspace_temp_c": 21.5,
        "headspace_rh_pct": 91.0,
    }
