"""People, sessions, tokens and door secrets: who gets in, who does not, what is stored."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from storage.records_places import address, everything, fresh
from underlid.errors import UnderlidError
from underlid.storage.records import Person, Records, Role

pytestmark = pytest.mark.usefixtures("either_database")

ASH = Person("Ash", Role.KEEPER)
WORDS = "herd under the lid"


def test_only_the_right_passphrase_lets_in() -> None:
    with fresh() as records:
        assert records.add_person("Ash", "keeper", WORDS) == ASH
        assert records.check_passphrase("Ash", WORDS) == ASH
        for name, words in (("Ash", WORDS + " "), ("ash", WORDS), ("Robin", WORDS), ("Ash", "")):
            assert records.check_passphrase(name, words) is None
        assert records.check_passphrase("Ash", "x" * 100_000) is None
        assert records.people() == [ASH]


def test_a_new_passphrase_closes_old_sessions() -> None:
    with fresh() as records:
        records.add_person("Ash", Role.KEEPER, WORDS)
        token = records.open_session(ASH, 1000)
        records.set_passphrase("Ash", "another lid, another herd")
        assert records.session(token, 1001) is None
        assert records.check_passphrase("Ash", WORDS) is None


def test_sessions_end_when_closed_or_old_or_when_the_person_goes() -> None:
    with fresh() as records:
        records.add_person("Ash", Role.KEEPER, WORDS)
        tokens = [records.open_session(ASH, 1000) for _ in range(3)]
        assert len(set(tokens)) == 3
        assert records.session(tokens[0], 1001) == ASH
        records.close_session(tokens[0])
        assert records.session(tokens[0], 1001) is None
        assert records.session(tokens[1], 1000 + 31 * 86_400_000) is None
        records.remove_person("Ash")
        assert records.session(tokens[2], 1001) is None
        assert records.session("\ud800", 1001) is None


def test_tokens_carry_a_role_and_a_new_one_replaces_the_old() -> None:
    with fresh() as records:
        first = records.make_token("kitchen display", "reader")
        assert records.token_role(first) is Role.READER
        second = records.make_token("kitchen display", "lead")
        assert (records.token_role(first), records.token_role(second)) == (None, Role.LEAD)
        assert records.tokens() == {"kitchen display": Role.LEAD}
        records.remove_token("kitchen display")
        assert records.token_role(second) is None


def test_door_secrets_are_kept_as_sha_256() -> None:
    with fresh() as records:
        secret = records.make_probe_secret("tansy-1")
        records.set_door_secret("probes", "household")
        assert len(secret) >= 22  # 128 bits in base 64
        assert records.door_secrets() == {
            user: hashlib.sha256(text.encode()).hexdigest()
            for user, text in (("tansy-1", secret), ("probes", "household"))
        }
        assert records.make_probe_secret("tansy-1") != secret
        assert records.end_probe_secret("tansy-1")
        assert not records.end_probe_secret("tansy-1")
        assert set(records.door_secrets()) == {"probes"}
        with pytest.raises(UnderlidError, match="probe id"):
            records.make_probe_secret("tansy/#")


def test_no_secret_can_be_read_in_the_files(tmp_path: Path) -> None:
    records = Records.open(address(tmp_path))
    records.add_person("Ash", Role.KEEPER, WORDS)
    said = [WORDS, records.open_session(ASH, 1), records.make_token("t", "reader")]
    said.append(records.make_probe_secret("tansy-1"))
    records.close()
    stored = everything(tmp_path)
    assert b"argon2id" in stored
    for secret in said:
        assert secret.encode() not in stored


@pytest.mark.parametrize(
    ("name", "role", "words"),
    [
        ("", "keeper", WORDS),
        ("Ash\n", "chief", WORDS),
        ("Ro\tbin", "keeper", WORDS),
        ("Robin", "chief", WORDS),
        ("Robin", "keeper", "short"),
        ("Robin", "keeper", "x" * 257),
        ("Ash", "reader", WORDS),
    ],
)
def test_refuses_names_roles_and_passphrases_in_words(name: str, role: str, words: str) -> None:
    with fresh() as records:
        records.add_person("Ash", Role.KEEPER, WORDS)
        with pytest.raises(UnderlidError) as caught:
            records.add_person(name, role, words)
        assert words not in str(caught.value)
        assert records.people() == [ASH]


def test_only_known_people_get_a_new_passphrase() -> None:
    with fresh() as records, pytest.raises(UnderlidError, match="Add the person first"):
        records.set_passphrase("Robin", WORDS)
