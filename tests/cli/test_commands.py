"""Commands from outside: what they print, what they leave behind, how they refuse."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from files.samples import SHED_TOML, T0_MS, reading
from underlid.cli import underlid
from underlid.storage.folder import folder_in_use
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import rfc3339

Run = Callable[..., Result]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Return a data folder with a set-up and some readings."""
    folder = tmp_path / "data"
    (tmp_path / "shed.toml").write_text(SHED_TOML)
    result = CliRunner().invoke(
        underlid, ["import", "setup", str(tmp_path / "shed.toml"), "--data", str(folder)]
    )
    assert result.exit_code == 0, result.output
    store = SqliteReadings(folder / "readings.sqlite")
    store.write([reading(minute, bed_temp_c=21.0 + minute / 100) for minute in range(30)])
    store.write([reading(3, probe="stray-1")])
    store.close()
    return folder


@pytest.fixture
def run(data: Path) -> Run:
    """Return a way to run a command on the folder."""

    def invoke(*words: str, code: int = 0) -> Result:
        result = CliRunner().invoke(underlid, [*words, "--data", str(data)])
        assert result.exit_code == code, result.output
        return result

    return invoke


def every_command(group: click.Group, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = []
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        found.append((*path, name))
        if isinstance(command, click.Group):
            found += every_command(command, (*path, name))
    return found


@pytest.mark.parametrize("words", every_command(underlid), ids=" ".join)
def test_every_command_explains_itself_with_an_example(words: tuple[str, ...]) -> None:
    result = CliRunner().invoke(underlid, [*words, "--help"])
    assert result.exit_code == 0
    assert f"Example: underlid {' '.join(words)}" in " ".join(result.output.split())


def test_bins_are_listed_changed_and_removed(run: Run) -> None:
    run("bins", "shed", "boiler", "--name", "Boiler room")
    run("bins", "save", "borage", "--shed", "boiler", "--kind", "wooden-box", "--herd-kg", "0.7")
    run("bins", "save", "borage", "--limit", "hot_warn_c=24")
    bins = {one["id"]: one for one in json.loads(run("bins", "list", "--json").output)}
    assert bins["borage"]["kind"] == "wooden-box"
    assert bins["borage"]["herd_kg"] == 0.7
    assert bins["borage"]["limits"] == {"hot_warn_c": 24.0}
    assert bins["tansy"]["probes"] == ["tansy-1"]
    assert "borage" in run("bins", "list").output
    run("bins", "remove", "borage")
    assert "borage" not in run("bins", "list").output


def test_a_bin_is_shown_with_what_it_has_taught(run: Run) -> None:
    shown = run("bins", "show", "tansy").output
    assert "looked for" in shown
    assert "time_constant_h" in shown
    assert "A bed of this kind and size follows" in shown
    state = json.loads(run("bins", "show", "tansy", "--json").output)
    assert state["bin"] == "tansy"
    assert state["lessons"]["lid_factor"]["learnt"] is False


def test_probes_are_listed_placed_and_given_a_password(run: Run) -> None:
    def probe(name: str) -> dict[str, object]:
        listed = json.loads(run("probes", "list", "--json").output)
        return next(one for one in listed if one["probe"] == name)

    assert probe("stray-1")["claimed"] is False
    assert "unclaimed" in run("probes", "list").output
    run("probes", "place", "stray-1", "--bin", "tansy", "--depth-cm", "8")
    assert (probe("stray-1")["bin"], probe("stray-1")["depth_cm"]) == ("tansy", 8.0)
    run("probes", "place", "stray-1", "--shed", "potting")
    assert probe("stray-1")["bin"] is None
    run("probes", "unplace", "stray-1")
    assert len(run("probes", "password", "stray-1").output.strip()) >= 20
    run("probes", "password", "stray-1", "--end")
    assert "a password of its own" in run("probes", "password", "stray-1", "--end", code=1).stderr


def test_the_journal_is_written_corrected_and_withdrawn(run: Run) -> None:
    added = run("entries", "add", "tansy", "feed", "ingredient=melon", "mass_g=1800", "--by", "Ash")
    entry = added.output.strip()
    run("entries", "correct", entry, "mass_g=1500", "ingredient=melon", "--by", "Robin")
    versions = json.loads(run("entries", "history", entry).output)
    assert [one["mass_g"] for one in versions] == [1800.0, 1500.0]
    assert "1.5 kg melon" in run("entries", "list", "--bin", "tansy").output
    run("entries", "withdraw", entry)
    assert json.loads(run("entries", "list", "--json").output) == []


def test_people_and_tokens(run: Run) -> None:
    run("user", "add", "Ash", "--passphrase", "lift the lid")
    run("user", "passphrase", "Ash", "--passphrase", "close the lid")
    assert len(run("user", "token", "scale", "--role", "keeper").output.strip()) > 30
    listed = json.loads(run("user", "list", "--json").output)
    assert {"sort": "token", "name": "scale", "role": "keeper"} in listed
    run("user", "remove", "scale", "--token")
    run("user", "remove", "Ash")
    assert json.loads(run("user", "list", "--json").output) == []


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


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("bins", "save", "new"), "or --shed for a new one"),
        (("bins", "save", "tansy", "--limit", "too_hot=1"), "too_hot"),
        (("bins", "remove", "none"), "a bin that is set up"),
        (("bins", "show", "none"), "a bin that is set up"),
        (("probes", "place", "p", "--bin", "none"), "a bin that is set up"),
        (("probes", "unplace", "none"), "a probe that has a place"),
        (("probes", "password", "No!"), "probe id"),
        (("entries", "add", "tansy", "feed", "ingredient=melom", "mass_g=1"), "melon"),
        (("entries", "add", "none", "note", "text=hello"), "a bin that is set up"),
        (("export", "journal", "-", "--bin", "none"), "a bin that is set up"),
        (("entries", "withdraw", "none"), "the id of an entry"),
        (("alerts", "acknowledge", "none"), "alert"),
        (("user", "add", "Ash", "--passphrase", "short"), "8 to 256 characters"),
        (("user", "passphrase", "Nobody", "--passphrase", "long enough"), "somebody who was added"),
    ],
)
def test_a_refusal_is_one_sentence_and_code_1(run: Run, words: tuple[str, ...], says: str) -> None:
    result = run(*words, code=1)
    assert says in result.stderr
    assert result.stderr.startswith("Error: ")
    assert len(result.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "words",
    [
        ("bins", "lsit"),
        ("replay", "--tick", "0"),
        ("replay", "hot_warn_c=3"),
        ("replay", "--limits", "hot_warn_c"),
        ("export", "readings", "x.csv", "--from", "noon"),
        ("entries", "add", "tansy", "feed", "melon"),
        ("probes", "place", "p"),
    ],
)
def test_wrong_usage_is_code_2(words: tuple[str, ...], tmp_path: Path) -> None:
    result = CliRunner().invoke(underlid, [*words])
    assert result.exit_code == 2, result.output


def test_a_folder_that_nobody_used_is_refused_and_not_made(tmp_path: Path) -> None:
    result = CliRunner().invoke(underlid, ["bins", "list", "--data", str(tmp_path / "typo")])
    assert result.exit_code == 1
    assert "has used" in result.stderr
    assert not (tmp_path / "typo").exists()


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
