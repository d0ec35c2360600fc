"""`underlid mappings`: tried, kept, listed and removed."""

from __future__ import annotations

import json
from pathlib import Path

from cli.running import Run

MAPPING = (
    *("mappings", "add", "allotment-boards", "--filter", "allotment/+/env", "--shed", "potting"),
    *("--probe-level", "2", "--value", "/soil/temp", "bed_temp_c", "degF"),
)
EXAMPLE = ("--example", "allotment/Board 7/env", '{"soil": {"temp": 68}}')


def test_mappings_are_tried_kept_listed_and_removed(run: Run, tmp_path: Path) -> None:
    tried = run(*MAPPING, *EXAMPLE, "--only-try")
    assert "board-7 in potting" in tried.output
    assert "bed_temp_c 20" in tried.output
    assert json.loads(run("mappings", "list", "--json").output) == {"mappings": {}, "broken": {}}
    run(*MAPPING, *EXAMPLE)
    made = json.loads(run("mappings", "list", "--json").output)["mappings"]["allotment-boards"]
    assert made["values"] == [{"at": "/soil/temp", "channel": "bed_temp_c", "unit": "degF"}]
    assert "level 2" in run("mappings", "list").output
    said = run("mappings", "try", "allotment-boards", "allotment/3/env", "{", "--json").output
    assert json.loads(said)["rejected"][0]["reason"] == "not_json"
    run("export", "setup", str(tmp_path / "again.toml"))
    assert "[mapping.allotment-boards]" in (tmp_path / "again.toml").read_text()
    run("mappings", "remove", "allotment-boards")
    assert "cannot be" not in run("mappings", "list").output
    for wrong in (
        ("mappings", "remove", "allotment-boards"),
        ("mappings", "try", "allotment-boards", "allotment/3/env", "{}"),
        ("mappings", "listen"),
        (*MAPPING[:-1], "V"),
    ):
        assert run(*wrong, code=1).stderr.startswith("Error: ")
    run("import", "setup", str(tmp_path / "again.toml"))
    assert "allotment-boards" in run("mappings", "list").output


def test_a_mapping_that_reads_nothing_of_its_example_is_told_by_check(run: Run) -> None:
    run(*MAPPING, "--example", "allotment/3/env", '{"soil": {}}')
    looks = json.loads(run("check", "--json", code=1).stdout)["looks"]
    (wrong,) = [one["wrong"] for one in looks if one["what"] == "mappings"]
    assert "allotment-boards: it reads nothing of its own example" in wrong
