"""Every source that the code names is described, and says whether it was read."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from underlid.readings.channels import CHANNELS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "service" / "docs"
PACKAGE = ROOT / "service" / "underlid"
SOURCED = ("science", "rules", "binmodel", "advice")

KEY = re.compile(r"\[([a-z][a-z0-9-]*)\]")
SECTION = re.compile(r"^### (\S+)\n(.*?)(?=^##|\Z)", re.MULTILINE | re.DOTALL)
HOW_KNOWN = re.compile(r"\*?\b([Rr]ead|[Ss]econd-hand|[Ff]rom memory)\b\*?")

FILES = sorted(path for part in SOURCED for path in (PACKAGE / part).rglob("*.py"))


def strings(file: Path) -> Iterator[str]:
    """Yield the docstrings of a file, those after constants as well."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            text = node.value.value
            if isinstance(text, str):
                yield "\n".join(line for line in text.splitlines() if not is_code(line))


def is_code(line: str) -> bool:
    """Tell whether a line of a docstring is an example's code or output."""
    return line.lstrip().startswith((">>>", "...", "[", "("))


def described() -> dict[str, str]:
    """Return the text of each key in the references."""
    return dict(SECTION.findall((DOCS / "references.md").read_text(encoding="utf-8")))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.relative_to(PACKAGE).as_posix())
def test_every_key_of_a_docstring_is_described(file: Path) -> None:
    used = {key for text in strings(file) for key in KEY.findall(text)}
    assert used <= set(described())


def test_the_keys_are_found_at_all() -> None:
    used = {key for file in FILES for text in strings(file) for key in KEY.findall(text)}
    assert {"alduchov1996", "cornell-mix", "opcua-part9", "sen1968"} <= used


@pytest.mark.parametrize("key", sorted(described()))
def test_every_source_says_how_it_is_known(key: str) -> None:
    assert HOW_KNOWN.search(described()[key]), key


def test_the_science_page_names_only_sources_that_are_described() -> None:
    text = (DOCS / "science.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\[([a-z0-9-]+)\]\(references\.md#", text))
    assert named <= set(described())


def test_the_science_page_names_every_source_of_the_science() -> None:
    text = (DOCS / "science.md").read_text(encoding="utf-8")
    used = {
        key
        for file in (PACKAGE / "science").rglob("*.py")
        for part in strings(file)
        for key in KEY.findall(part)
    }
    assert {key for key in used if f"references.md#{key}" not in text} == set()


def test_the_nomenclature_has_every_channel_with_its_unit_and_range() -> None:
    text = (DOCS / "nomenclature.md").read_text(encoding="utf-8")
    for channel in CHANNELS.values():
        span = f"{channel.low:g}..{channel.high:g}".replace("-", "−")
        row = f"| `{channel.name}` | {channel.unit or '1'} | {span} |"
        assert row in text, row
