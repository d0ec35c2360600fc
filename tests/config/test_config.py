"""Wrong settings are refused with a sentence; secrets are never in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from underlid.config import is_secret, load, source_of
from underlid.errors import UnderlidError


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_the_environment_wins_over_the_file_and_the_file_over_the_default(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "underlid.toml").write_text("web_port = 1234\nraw_days = 30\n")
    monkeypatch.setenv("UNDERLID_WEB_PORT", "4321")
    settings = load()
    assert (settings.web_port, settings.raw_days, settings.tick_s) == (4321, 30, 60.0)
    assert source_of(settings, "web_port") == "environment"
    assert source_of(settings, "raw_days") == "file"
    assert source_of(settings, "tick_s") == "default"


def test_addresses_come_as_a_list_or_apart_by_spaces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNDERLID_NOTIFY_URLS", "json://a.example json://b.example")
    assert [one.get_secret_value() for one in load().notify_urls] == [
        "json://a.example",
        "json://b.example",
    ]
    monkeypatch.delenv("UNDERLID_NOTIFY_URLS")
    (tmp_path / "underlid.toml").write_text('notify_urls = ["json://c.example"]\n')
    assert [one.get_secret_value() for one in load().notify_urls] == ["json://c.example"]


@pytest.mark.parametrize(
    ("variable", "value", "words"),
    [
        ("UNDERLID_WEB_PORT", "abc", ["web_port", "'abc'", "integer", "UNDERLID_WEB_PORT"]),
        ("UNDERLID_TICK_S", "0", ["tick_s", "greater than or equal to 1"]),
        ("UNDERLID_WEBPORT", "1", ["UNDERLID_WEBPORT", "UNDERLID_WEB_PORT"]),
        ("UNDERLID_SETTINGS", "/nowhere.toml", ["/nowhere.toml", "settings file"]),
        ("UNDERLID_BROKER_PROTOCOL", "4", ["broker_protocol", "'3.1.1' or '5'"]),
    ],
)
def test_a_wrong_variable_is_named(
    monkeypatch: pytest.MonkeyPatch, variable: str, value: str, words: list[str]
) -> None:
    monkeypatch.setenv(variable, value)
    with pytest.raises(UnderlidError) as refused:
        load()
    for word in words:
        assert word in str(refused.value)


@pytest.mark.parametrize("text", ['web_port = "x', "web_ports = 1\n", 'web_port = "many"\n'])
def test_a_wrong_file_is_refused_with_a_sentence(tmp_path: Path, text: str) -> None:
    (tmp_path / "underlid.toml").write_text(text)
    with pytest.raises(UnderlidError, match=r"settings file|web_port"):
        load()


def test_secrets_are_known_as_such() -> None:
    assert is_secret("broker_password")
    assert is_secret("notify_urls")
    assert not is_secret("web_port")


def test_secrets_come_from_files_and_the_environment_wins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "secrets"
    folder.mkdir()
    (folder / "underlid_records_url").write_text("postgresql://underlid:herd@db/underlid\n")
    (folder / "underlid_notify_urls").write_text("json://a.example json://b.example\n")
    (folder / "somebody_elses").write_text("x")
    (tmp_path / "underlid.toml").write_text('records_url = "postgresql://file/x"\n')
    monkeypatch.setenv("UNDERLID_SECRETS", str(folder))
    settings = load()
    assert settings.records_address == "postgresql://underlid:herd@db/underlid"
    assert len(settings.notify_urls) == 2
    assert source_of(settings, "records_url") == "secrets"
    assert is_secret("records_url")
    monkeypatch.setenv("UNDERLID_RECORDS_URL", "")
    assert load().records_address.startswith("sqlite:///")


def test_a_wrong_folder_of_secrets_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNDERLID_SECRETS", str(tmp_path / "nowhere"))
    with pytest.raises(UnderlidError, match="UNDERLID_SECRETS"):
        load()
    monkeypatch.setenv("UNDERLID_SECRETS", str(tmp_path))
    (tmp_path / "underlid_record_url").write_text("x")
    with pytest.raises(UnderlidError, match=r"underlid_record_url.*UNDERLID_RECORDS_URL"):
        load()
