"""`underlid export`, `import`, `backup` and `restore`: files out, and in again."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from cli.running import Run
from files.samples import T0_MS
from underlid.cli import underlid
from underlid.storage.folder import folder_in_use
from underlid.timeline import rfc3339


def test_what_is_exported_can_be_imported(run: Run, tmp_path: Path) -> None:
    run("entries", "add", "tansy", "water", "mass_g=600")
    for kind, ending in (("readings", "csv"), ("readings", "parquet"), ("journal", "csv"),
                         ("journal", "parquet"), ("setup", "toml")):  # fmt: skip
        file = tmp_path / f"{kind}.{ending}"
        run("export", kind, str(file))
        fresh = tmp_path / f"fresh-{kind}-{ending}"
        words = [["import", "setup", str(tmp_path / "shed.toml")], ["import", kind, str(file)]]
        for one in [*words, words[1]]:
            result = CliRunner().invoke(underlid, [*one, "--data", str(fresh)])
            assert result.exit_code == 0, result.output
        again = tmp_path / f"again-{kind}.{ending}"
        CliRunner().invoke(underlid, ["export", kind, str(again), "--data", str(fresh)])
        assert again.read_bytes() == file.read_bytes(), (kind, ending)


@pytest.mark.parametrize(
    "words", [("backup",), ("export", "readings"), ("export", "journal"), ("export", "setup")]
)
def test_a_file_that_is_there_is_kept_unless_it_may_be_replaced(
    run: Run, tmp_path: Path, words: tuple[str, ...]
) -> None:
    file = tmp_path / "there"
    file.write_text("the only copy")
    refused = run(*words, str(file), code=1)
    assert "--replace" in refused.stderr
    assert file.read_text() == "the only copy"
    run(*words, str(file), "--replace")
    assert file.read_bytes() != b"the only copy"


def test_an_export_can_be_cut_to_a_probe_and_a_span(run: Run) -> None:
    until = rfc3339(T0_MS + 5 * 60_000)
    lines = run(
        "export", "readings", "-", "--probe", "tansy-1", "--until", until
    ).stdout.splitlines()
    assert len(lines) == 1 + 5
    assert (
        "expected one that has sent"
        in run("export", "readings", "-", "--probe", "x", code=1).output
    )


def test_bad_rows_stop_an_import_or_are_counted(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    good = f"{rfc3339(T0_MS)},tansy-1,rssi_dbm,-60\n"
    file.write_text(f"time,probe,channel,value\n{good}noon,tansy-1,rssi_dbm,-61\n")
    refused = run("import", "readings", str(file), code=1).stderr
    assert "r.csv line 3" in refused
    assert "--skip-bad" in refused
    assert "Skipped 1 bad row." in run("import", "readings", str(file), "--skip-bad").stderr
    assert "rssi_dbm,-60" in run("export", "readings", "-").stdout


def test_what_an_import_took_in_is_said_truthfully(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(f"time,probe,channel,value\n{rfc3339(T0_MS)},tansy-9,rssi_dbm,-60\n")
    for _ in range(2):
        said = run("import", "readings", str(file)).stderr
        assert said == "Took in 1 reading; those already there were not stored again.\n"


def test_the_journal_of_a_removed_bin_can_still_be_exported(run: Run) -> None:
    run("entries", "add", "tansy", "water", "mass_g=600")
    run("bins", "remove", "tansy")
    said = run("export", "journal", "-", "--bin", "tansy")
    assert "tansy,water" in said.stdout
    assert said.stderr == "Wrote 1 entry.\n"


def test_backup_and_restore(run: Run, tmp_path: Path) -> None:
    run("backup", str(tmp_path / "b.zip"))
    fresh = tmp_path / "fresh"
    result = CliRunner().invoke(
        underlid, ["restore", str(tmp_path / "b.zip"), "--data", str(fresh)]
    )
    assert result.exit_code == 0, result.output
    listed = CliRunner().invoke(underlid, ["bins", "list", "--data", str(fresh)])
    assert "tansy" in listed.output
    assert "an empty folder" in run("restore", str(tmp_path / "b.zip"), code=1).stderr


def test_readings_are_not_imported_beside_a_running_service(
    run: Run, data: Path, tmp_path: Path
) -> None:
    file = tmp_path / "r.csv"
    file.write_text(f"time,probe,channel,value\n{rfc3339(T0_MS)},tansy-1,rssi_dbm,-60\n")
    with folder_in_use(data):
        refused = run("import", "readings", str(file), code=1)
        run("entries", "add", "tansy", "note", "text=the journal may be written")
    assert "no other running service" in refused.stderr
