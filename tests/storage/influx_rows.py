"""Rows for the tests of sending, poisoned ones among them, and what the server counts."""

from __future__ import annotations

from storage.kept import KeptInInflux
from storage.readings_places import START_MS, timed
from underlid.readings.values import Reading

ROWS = 300


def some_rows(count: int = ROWS, probe: str = "tansy-1") -> list[Reading]:
    return [timed(probe, START_MS + n * 1000, {"bed_temp_c": float(n)}) for n in range(count)]


def stored(kept: KeptInInflux) -> int:
    """Return how many readings the server itself counts."""
    found = kept.influxd.ask('SELECT count("received_at_ms") FROM reading', kept.database)
    return int(found[0][1]) if found else 0  # type: ignore[call-overload]


def poison(kept: KeptInInflux) -> None:
    """Let another program have written a text where poisoned rows will put a number."""
    kept.influxd.write(
        "\n".join(f'reading,probe=tansy-1 bad="x" {START_MS + n}000000' for n in range(3)),
        kept.database,
    )


def poisoned_rows(count: int, bad: tuple[int, ...]) -> list[Reading]:
    rows = some_rows(count)
    for n in bad:
        rows[n] = timed("tansy-1", START_MS + n * 1000, {"bed_temp_c": float(n), "bad": 1.0})
    return rows
