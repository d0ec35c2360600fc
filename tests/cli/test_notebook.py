"""An old notebook comes in as it was typed: days, hours on the wall, and the same file twice."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from underlid.cli import underlid

SETUP = """
[shed.potting]
timezone = "Europe/London"
[bin.tansy]
shed = "potting"
"""
NOTEBOOK = """time,bin,kind,mass_lb,ingredient,climbers,text
2024-07-03,tansy,feed,2,melon,,from the supper
2024-07-03 18:30,tansy,sighting,,,few,
2024-12-03T18:30,tansy,sighting,,,none,
2024-12-04T18:30:00+02:00,tansy,note,,,,kept as it is
2024-13-04,tansy,note,,,,no such month
03.12.2024,tansy,note,,,,nobody knows which is the month
2024-07-03,gone,note,,,,nobody knows where it stood
"""


def test_a_notebook_is_taken_in_by_the_clock_on_the_wall(tmp_path: Path) -> None:
    (tmp_path / "shed.toml").write_text(SETUP, "utf-8")
    (tmp_path / "notebook.csv").write_text(NOTEBOOK, "utf-8")

    def run(*words: str) -> tuple[str, str]:
        done = CliRunner().invoke(underlid, [*words, "--data", str(tmp_path / "data")])
        assert done.exit_code == 0, done.output
        return done.stdout, done.stderr

    run("import", "setup", str(tmp_path / "shed.toml"))
    for _ in range(2):
        _, said = run("import", "journal", str(tmp_path / "notebook.csv"), "--skip-bad")
        assert "Skipped 3 bad rows." in said
        assert "bin is 'gone', expected a bin that is set up" in said
    run("bins", "shed", "potting", "--timezone", "Europe/Paris")
    run("import", "journal", str(tmp_path / "notebook.csv"), "--skip-bad")
    entries = json.loads(run("entries", "list", "--json")[0])
    assert [(one["time"], one["kind"]) for one in reversed(entries)] == [
        ("2024-07-03T11:00:00Z", "feed"),
        ("2024-07-03T17:30:00Z", "sighting"),
        ("2024-12-03T18:30:00Z", "sighting"),
        ("2024-12-04T16:30:00Z", "note"),
    ]
