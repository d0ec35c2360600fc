"""The conformance page names tests that exist."""

from __future__ import annotations

import re
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "service" / "docs" / "mqtt-conformance.md"


def test_every_test_named_on_the_page_exists() -> None:
    named = set(re.findall(r"`(test_\w+)`", PAGE.read_text()))
    sources = "\n".join(path.read_text() for path in HERE.glob("test_*.py"))
    there = set(re.findall(r"def (test_\w+)\(", sources))
    assert len(named) > 40
    assert named <= there, sorted(named - there)


def test_every_row_names_a_statement_and_a_test() -> None:
    rows = [line for line in PAGE.read_text().splitlines() if line.startswith("| ")]
    for row in rows:
        if row.startswith("| statement"):
            continue
        cells = row.strip("| ").split(" | ")
        assert len(cells) == 3, row
        assert "MQTT-" in cells[0], row
        assert "`test_" in cells[2], row
