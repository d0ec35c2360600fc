"""Reads the systemd units under deploy/systemd, as far as the tests need it."""

from __future__ import annotations

import shlex
import socket
import subprocess
from pathlib import Path

from deploy.composed import ROOT
from programs import require

FOLDER = ROOT / "deploy" / "systemd"
UNITS = sorted(path for path in FOLDER.iterdir() if path.suffix in (".service", ".timer"))


def lines(name: str) -> list[tuple[str, str]]:
    """Return the settings of a unit, in order."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    found = [line.partition("=") for line in text.splitlines() if "=" in line and line[0] != "#"]
    return [(key, value) for key, _, value in found]


def only(name: str, key: str) -> str:
    """Return the one value of *key*."""
    (found,) = [value for one, value in lines(name) if one == key]
    return found


def command(name: str, key: str, swaps: dict[str, str]) -> list[str]:
    """Return a command as systemd would call it, with our paths for theirs."""
    text = only(name, key).replace("%%", "%").replace("$$", "$")
    for theirs, ours in swaps.items():
        text = text.replace(theirs, ours)
    return shlex.split(text)


def allowed_calls(name: str) -> list[str]:
    """Return the system calls that the unit's filters leave."""
    allowed: set[str] = set()
    for key, value in lines(name):
        if key == "SystemCallFilter":
            for word in value.lstrip("~").split():
                found = members(word)
                allowed = allowed - found if value.startswith("~") else allowed | found
    # systemd itself always leaves these, so that it can start the program.
    return sorted(allowed | members("@default") | {"execve"})


def members(name: str) -> set[str]:
    """Return the calls of a set such as @system-service, sets within it resolved."""
    if not name.startswith("@"):
        return {name}
    said = subprocess.run(
        [require("systemd-analyze"), "syscall-filter", name],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    words = [line.strip() for line in said.splitlines()[1:]]
    return {call for word in words if word and word[0] != "#" for call in members(word)}


def families(name: str) -> list[int]:
    """Return the numbers of the address families that the unit leaves."""
    return [int(getattr(socket, word)) for word in only(name, "RestrictAddressFamilies").split()]


def placed(folder: Path, swaps: dict[str, str]) -> list[Path]:
    """Write the units into *folder* with our paths for theirs."""
    made = []
    for unit in UNITS:
        text = unit.read_text(encoding="utf-8")
        for theirs, ours in swaps.items():
            text = text.replace(theirs, ours)
        made.append(folder / unit.name)
        made[-1].write_text(text, encoding="utf-8")
    return made
