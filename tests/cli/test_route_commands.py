"""`underlid user routes`, `route`, `unroute`: as typed, on a data folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from underlid.alerts.routes import RouteRules
from underlid.binmodel.bins import Bin, Setup, Shed
from underlid.cli import underlid
from underlid.rules.finding import Priority
from underlid.storage.records import Records

SECRET = "json://127.0.0.1/herd-secret"


@pytest.fixture
def records(tmp_path: Path) -> Records:
    opened = Records.open(f"sqlite:///{tmp_path / 'records.sqlite'}")
    opened.save_setup(Setup({"potting": Shed("potting")}, {"tansy": Bin("tansy", "potting")}, {}))
    opened.add_person("Ash", "keeper", "herd under the lid")
    return opened


def typed(folder: Path, *words: str, said: str = "") -> Result:
    return CliRunner().invoke(underlid, ["user", *words, "--data", str(folder)], input=said)


def test_an_address_is_added_changed_listed_and_forgotten(tmp_path: Path, records: Records) -> None:
    made = typed(tmp_path, "route", "Ash", "--label", "phone", said=f"{SECRET}\n")
    assert made.exit_code == 0, made.output
    assert "herd-secret" not in made.output
    mark = made.output.split()[-1]
    assert records.route_addresses() == {mark: SECRET}
    more = ["--least", "high", "--bin", "tansy", "--quiet", "22:00-07:00", "--wait-min", "45"]
    more += ["--digest-hour", "7", "--digest-always"]
    assert typed(tmp_path, "route", "Ash", "--change", mark, *more).exit_code == 0
    wanted = RouteRules(Priority.HIGH, (), ("tansy",), "22:00-07:00", 45, 7, True)
    assert [(one.label, one.rules) for one in records.routes()] == [("phone", wanted)]
    listed = typed(tmp_path, "routes", "--json").output
    assert json.loads(listed)[0]["of"] == "tansy"
    assert "herd-secret" not in listed
    assert typed(tmp_path, "route", "Ash", "--change", mark, "--everywhere").exit_code == 0
    assert records.route(mark).rules.bins == ()
    assert typed(tmp_path, "unroute", mark).exit_code == 0
    assert records.routes() == []
    records.close()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["route", "Robin", "--address", SECRET], "somebody who was added"),
        (["route", "Ash", "--address", "syslog://herd-secret"], "an e-mail address, or"),
        (["route", "Ash", "--address", SECRET, "--bin", "quince"], "a bin that is set up"),
        (["route", "Ash", "--address", SECRET, "--quiet", "night"], "such as 22:00-07:00"),
        (["route", "Ash", "--change", "none"], "the mark of an address"),
        (["unroute", "none"], "the mark of an address"),
    ],
)
def test_what_is_wrong_is_said_without_the_address(
    tmp_path: Path, records: Records, words: list[str], sentence: str
) -> None:
    answer = typed(tmp_path, *words)
    assert answer.exit_code == 1
    assert sentence in answer.output
    assert "herd-secret" not in answer.output
    assert records.routes() == []
    records.close()
