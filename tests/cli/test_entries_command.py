"""`underlid entries`: written, corrected and withdrawn."""

from __future__ import annotations

import json

from cli.running import Run


def test_the_journal_is_written_corrected_and_withdrawn(run: Run) -> None:
    added = run("entries", "add", "tansy", "feed", "ingredient=melon", "mass_g=1800", "--by", "Ash")
    entry = added.output.strip()
    run("entries", "correct", entry, "mass_g=1500", "ingredient=melon", "--by", "Robin")
    versions = json.loads(run("entries", "history", entry).output)
    assert [one["mass_g"] for one in versions] == [1800.0, 1500.0]
    assert "1.5 kg melon" in run("entries", "list", "--bin", "tansy").output
    run("entries", "withdraw", entry)
    assert json.loads(run("entries", "list", "--json").output) == []
