"""`underlid bins`: listed, changed, shown and removed."""

from __future__ import annotations

import json

from cli.running import Run


def test_bins_are_listed_changed_and_removed(run: Run) -> None:
    run("bins", "shed", "boiler", "--name", "Boiler room")
    run("bins", "save", "borage", "--shed", "boiler", "--kind", "wooden-box", "--herd-kg", "0.7")
    run("bins", "save", "borage", "--limit", "hot_warn_c=24")
    bins = {one["id"]: one for one in json.loads(run("bins", "list", "--json").output)}
    assert bins["borage"]["kind"] == "wooden-box"
    assert bins["borage"]["herd_kg"] == 0.7
    assert bins["borage"]["limits"] == {"hot_warn_c": 24.0}
    assert bins["tansy"]["probes"] == ["tansy-1"]
    assert "borage" in run("bins", "list").output
    run("bins", "remove", "borage")
    assert "borage" not in run("bins", "list").output


def test_a_bin_is_shown_with_what_it_has_taught(run: Run) -> None:
    shown = run("bins", "show", "tansy").output
    assert "looked for" in shown
    assert "time_constant_h" in shown
    assert "A bed of this kind and size follows" in shown
    state = json.loads(run("bins", "show", "tansy", "--json").output)
    assert state["bin"] == "tansy"
    assert state["lessons"]["lid_factor"]["learnt"] is False
