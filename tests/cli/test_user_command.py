"""`underlid user`: people and programs' tokens."""

from __future__ import annotations

import json

from cli.running import Run


def test_people_and_tokens(run: Run) -> None:
    run("user", "add", "Ash", "--passphrase", "lift the lid")
    run("user", "passphrase", "Ash", "--passphrase", "close the lid")
    assert len(run("user", "token", "scale", "--role", "keeper").output.strip()) > 30
    listed = json.loads(run("user", "list", "--json").output)
    assert {"sort": "token", "name": "scale", "role": "keeper"} in listed
    run("user", "remove", "scale", "--token")
    run("user", "remove", "Ash")
    assert json.loads(run("user", "list", "--json").output) == []
