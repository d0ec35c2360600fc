"""All commands from outside: how they explain themselves, and how they refuse."""

from __future__ import annotations

from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from cli.running import Run
from underlid.cli import underlid


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
