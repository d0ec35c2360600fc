"""`underlid probes`: listed, placed, and given a password."""

from __future__ import annotations

import json

from cli.running import Run


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
