"""The documents speak of what exists: every setting, command, rule, link and folder is checked."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from underlid.config import Settings, is_secret
from underlid.journal.entries import KINDS
from underlid.readings.values import RejectReason
from underlid.rules.finding import Condition
from underlid.setting_names import PREFIX

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "service" / "docs"
DEPLOY = sorted((ROOT / "deploy").rglob("*.md"))
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *DEPLOY, *sorted(DOCS.rglob("*.md"))]

HEADING = re.compile(r"^#{1,6} +(.+?) *$", re.MULTILINE)
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
CODE = re.compile(r"```.*?```", re.DOTALL)


def headings(page: Path) -> set[str]:
    """Return the headings of *page*, without back-quotes."""
    text = CODE.sub("", page.read_text(encoding="utf-8"))
    return {heading.replace("`", "") for heading in HEADING.findall(text)}


def anchor(heading: str) -> str:
    """Return the link target that a heading makes."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def test_every_setting_has_a_heading_its_variable_and_its_default() -> None:
    text = (DOCS / "settings.md").read_text(encoding="utf-8")
    sections = dict(re.findall(r"^### `(\w+)`\n(.*?)(?=^###? |\Z)", text, re.M | re.S))
    assert set(sections) == set(Settings.model_fields)
    for name, field in Settings.model_fields.items():
        assert f"{PREFIX}{name.upper()}" in sections[name], name
        if not is_secret(name):
            shown = str(field.default).lower() if isinstance(field.default, bool) else field.default
            assert f"`{'' if shown is None else shown}`" in sections[name] or (
                shown in ("", None) and "empty" in sections[name]
            ), name


def commands(group: click.Group, prefix: str = "") -> list[str]:
    """Return the full names of all commands below *group*."""
    names = []
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        full = f"{prefix}{name}"
        names.append(full)
        if isinstance(command, click.Group):
            names += commands(command, f"{full} ")
    return names


def test_every_command_has_a_heading_and_an_example() -> None:
    from underlid.cli import underlid

    known = headings(DOCS / "commands.md")
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    for name in commands(underlid):
        assert name in known or f"underlid {name}" in known, name
        assert f"underlid {name}" in text, f"no example of {name}"


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("rules.md", [condition.value for condition in Condition]),
        ("payloads.md", [reason.value for reason in RejectReason]),
        ("journal.md", list(KINDS)),
    ],
)
def test_every_word_of_ours_has_a_heading(page: str, words: list[str]) -> None:
    assert set(words) <= headings(DOCS / page)


@pytest.mark.parametrize(
    "topic",
    [
        "underlid/v1/{shed}/{probe}/senml",
        "underlid/v1/{shed}/{probe}/json",
        "underlid/v1/{shed}/{probe}/value/{channel}",
        "underlid/v1/{shed}/{probe}/status",
        "underlid/v1/{shed}/entry",
        "underlid/v1/{shed}/{probe}/confirm",
        "underlid/v1/{shed}/state/{bin}",
        "underlid/v1/{shed}/alert",
    ],
)
def test_every_topic_has_a_heading(topic: str) -> None:
    assert topic in headings(DOCS / "mqtt.md")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page: Path) -> None:
    text = CODE.sub("", page.read_text(encoding="utf-8"))
    for target in LINK.findall(text):
        if target.startswith(("http:", "https:", "mailto:")):
            continue
        path, _, fragment = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        assert file.exists(), f"{page.name} links to {target}"
        if fragment:
            assert fragment in {anchor(heading) for heading in headings(file)}, target


def test_the_index_names_every_page() -> None:
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    for page in DOCS.rglob("*.md"):
        name = page.relative_to(DOCS).as_posix()
        if name != "README.md":
            assert name in index, name


def test_the_top_level_is_what_it_should_be() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "requirements.lock", "Makefile",
        "service", "firmware_examples", "deploy", "tests", "docker-compose.yml",
        "underlid-data",
    }  # fmt: skip
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found <= allowed
