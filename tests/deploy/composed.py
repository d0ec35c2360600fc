"""Reads docker-compose.yml as a container engine would: names filled in, parts with what they mount.

`Part` is one service. `Outside` is the place on this machine where parts run without a container:
it says which path, name and port of ours stands for which of theirs, and nothing else is changed.
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).parents[2]
FILE = ROOT / "docker-compose.yml"
NAME = re.compile(r"\$(?:\$|\{(\w+)(?::-([^}]*))?\})")


def read(**given: str) -> dict[str, Any]:
    """Return the file with `${NAME:-default}` filled in from *given*."""
    return filled(yaml.safe_load(FILE.read_text(encoding="utf-8")), given)


def filled(value: Any, given: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: filled(one, given) for key, one in value.items()}
    if isinstance(value, list):
        return [filled(one, given) for one in value]
    if not isinstance(value, str):
        return value

    def word(found: re.Match[str]) -> str:
        name, default = found.groups()
        if name is None:
            return "$"
        assert name in given or default is not None, f"{name} is needed"
        return given.get(name) or default or ""

    return NAME.sub(word, value)


@dataclass(frozen=True)
class Part:
    """One service of the file."""

    name: str
    said: dict[str, Any]

    @property
    def command(self) -> list[str]:
        return [str(word) for word in self.said["command"]]

    @property
    def environment(self) -> dict[str, str]:
        return {name: str(value) for name, value in self.said.get("environment", {}).items()}

    @property
    def mounted(self) -> dict[str, Path]:
        """Return the files of the repository that it sees, by their path in the container."""
        pairs = [one.split(":") for one in self.said.get("volumes", [])]
        return {pair[1]: ROOT / pair[0] for pair in pairs if pair[0].startswith(".")}

    @property
    def volumes(self) -> dict[str, str]:
        """Return the named volumes, by their path in the container."""
        pairs = [one.split(":") for one in self.said.get("volumes", [])]
        return {pair[1]: pair[0] for pair in pairs if not pair[0].startswith(".")}

    @property
    def secrets(self) -> list[str]:
        return list(self.said.get("secrets", []))

    @property
    def memory_bytes(self) -> int:
        text = self.said["deploy"]["resources"]["limits"]["memory"]
        return int(text[:-1]) * {"M": 1 << 20, "G": 1 << 30}[text[-1]]


def parts(**given: str) -> dict[str, Part]:
    """Return every service by its name."""
    return {name: Part(name, said) for name, said in read(**given)["services"].items()}


@dataclass
class Outside:
    """Where parts run here; `swaps` are applied to commands, settings and mounted files alike."""

    folder: Path
    swaps: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.secrets = self.folder / "secrets"
        make = ROOT / "deploy" / "make_secrets.py"
        words = ["--folder", str(self.secrets), "--trial", "localhost", "--probe", "tansy-1"]
        done = subprocess.run(
            [sys.executable, str(make), *words], check=True, capture_output=True, text=True
        )
        assert "probes_password" in done.stdout
        self.swaps["/run/secrets"] = str(self.secrets)

    def secret(self, name: str) -> str:
        return (self.secrets / name).read_text(encoding="utf-8")

    def place(self, part: Part) -> None:
        """Give *part* its volumes and the files that it mounts, as they would be here."""
        for inside in part.volumes:
            here = self.folder / part.name / inside.strip("/").replace("/", "-")
            here.mkdir(parents=True, exist_ok=True)
            self.swaps.setdefault(inside, str(here))
        for inside in part.mounted:
            here = self.folder / part.name / Path(inside).name
            here.parent.mkdir(parents=True, exist_ok=True)
            self.swaps.setdefault(inside, str(here))
        for inside, source in part.mounted.items():
            here = Path(self.swaps[inside])
            here.write_text(self.here(source.read_text(encoding="utf-8")), encoding="utf-8")
            here.chmod(0o600)

    def here(self, text: str) -> str:
        """Return *text* with our names for theirs, in one pass: the longest first."""
        theirs = sorted(self.swaps, key=len, reverse=True)
        pattern = "|".join(re.escape(one) for one in theirs)
        return re.sub(pattern, lambda found: self.swaps[found[0]], text)

    def command(self, part: Part) -> list[str]:
        return [self.here(word) for word in part.command]

    def environment(self, part: Part) -> dict[str, str]:
        return {name: self.here(value) for name, value in part.environment.items()}
