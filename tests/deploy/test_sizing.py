"""deploy/sizing.md: what it says to have computed follows from what it says to have measured."""

from __future__ import annotations

import re

import pytest

from deploy.composed import ROOT, parts

TEXT = (ROOT / "deploy" / "sizing.md").read_text(encoding="utf-8")
LADDER = (20, 1_000, 10_000, 100_000, 1_000_000, 10_000_000)
DAY_MINUTES = 24 * 60


def measured(what: str) -> float:
    """Return the figure beside *what* in the first table."""
    found = re.search(rf"^\| {re.escape(what)}[^|]*\| ([\d.,]+)", TEXT, re.M)
    assert found is not None, what
    return float(found[1].replace(",", ""))


def short(value: float, units: tuple[str, ...], step: float = 1000) -> str:
    """Return *value* with two digits or three, in the largest unit that fits."""
    for unit in units[:-1]:
        if value < step:
            return f"{figure(value)} {unit}"
        value /= step
    return f"{figure(value)} {units[-1]}"


def figure(value: float) -> str:
    return f"{value:.2g}" if value < 10 else f"{value:.0f}"


def count(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else figure(value)


def line(probes: int) -> str:
    """Return the row of the second table for so many probes."""
    day = probes * DAY_MINUTES
    data = ("kB", "MB", "GB", "TB")
    time = ("ms", "s")
    packed = measured("bytes of a reading in SQLite") * day / 1000
    merged = measured("bytes of a reading in InfluxDB") * day / 1000
    memory = measured("kB of memory of a bin") * probes
    judged = measured("ms a round of judging takes") * probes / 1000
    filled = measured("s to fill the judge") * probes
    cells = [
        f"{probes:,}",
        count(probes / 60),
        f"{day:,}",
        short(packed, data),
        short(packed * 365, data),
        short(merged, data),
        short(memory, data),
        short(judged, time),
        short(filled, time),
    ]
    return f"| {' | '.join(cells)} |"


@pytest.mark.parametrize("probes", LADDER)
def test_the_ladder_is_the_measured_times_the_probes(probes: int) -> None:
    assert line(probes) in TEXT, f"the row should be {line(probes)}"


def test_the_judges_of_the_file_carry_what_is_said() -> None:
    """The bins that fit into 80 % of a judge's memory."""
    part = parts()["judge-1"]
    room_kb = part.memory_bytes * 0.8 / 1000 - measured("MB of one worker") * 1000
    each = room_kb / measured("kB of memory of a bin")
    said = re.search(r"room for ([\d,]+) bins in each judge", TEXT)
    assert said is not None
    assert int(said[1].replace(",", "")) == each // 1000 * 1000


MINUTE_S, HOUR_S, LADDER_TOP = 60, 3600, 10_000_000
BIG = 100_000
CLAIMS = {
    r"Computed: (\d+) MB of the unit": lambda: (
        measured("MB of the whole service") + measured("kB of memory of a bin")
    ),
    r"At the broker ([\d,]+) messages\s": lambda: (
        10_000 / 60 * measured("s to fill the judge") * 10
    ),
    r"connections weigh (\d+) MB": lambda: measured("bytes of a connection at Mosq") * BIG / 1e6,
    r"sends ([\d.]+) times as much": lambda: (
        measured("readings a second from a worker's file") / (BIG / 60)
    ),
    r"worker's file: (\d+) MB an hour": lambda: BIG / 60 * HOUR_S * 51.8 / 1e6,
    r"of all of them (\d+) %": lambda: measured("ms a round of judging") / 1000 / 300 * BIG / 10,
    r": (\d+) a second from one worker": lambda: 1000 / measured("ms of server time"),
    r"InfluxDB: (\d+) minutes for 1,000": lambda: 1000 * measured("s to read 14 days") / MINUTE_S,
    r"(\d+) for 9,000": lambda: 9_000 * measured("s to read 14 days") / MINUTE_S,
    r"are ([\d.]+) times what was measured": lambda: (
        LADDER_TOP / 60 / measured("messages a second through Mosquitto")
    ),
    r"(\d+) TB for 400 days": lambda: (
        measured("bytes of a reading in InfluxDB") * LADDER_TOP * DAY_MINUTES * 400 / 1e12
    ),
    r"judging \| ([\d.]+) \|": lambda: (
        measured("ms a round of judging takes") / 1000 * LADDER_TOP / 1000 / 300
    ),
    r"(\d+) days of reading": lambda: LADDER_TOP * measured("s to read 14 days") / 86_400,
}


@pytest.mark.parametrize("claim", CLAIMS)
def test_what_the_text_computes(claim: str) -> None:
    found = re.search(claim, TEXT)
    assert found is not None, claim
    said = found[1].replace(",", "")
    digits = len(said.partition(".")[2])
    step = 1000 if said.endswith("000") else 10.0**-digits
    assert abs(float(said) - CLAIMS[claim]()) <= step / 2 + 1e-9
